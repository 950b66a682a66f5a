package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// eventually waits for a condition that another process brings about.
func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for range 3000 {
		if holds() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("waited in vain for %s", what)
}

// The browser is started with a file that nobody else can read; the secret is
// in the file alone, and the file goes when the browser has come, or at the end.
func TestReviewHidesItsAddress(t *testing.T) {
	t.Parallel()
	dir, _ := reviewFolder(t)
	for _, c := range []struct {
		name, variable string
		comes          bool // the browser
	}{{"session", "XDG_RUNTIME_DIR", true}, {"cache", "XDG_CACHE_HOME", true}, {"no browser comes", "XDG_RUNTIME_DIR", false}} {
		t.Run(c.name, func(t *testing.T) {
			base, path := t.TempDir(), t.TempDir()
			told := filepath.Join(path, "told")
			// What a browser is given: the words, the modes and the file.
			writeFile(t, filepath.Join(path, "xdg-open"), []byte("#!/bin/sh\n"+
				`printf '%s\n' "$*" "$(stat -c %a "$1")" "$(stat -c %a "$(dirname "$1")")" "$(cat "$1")" > '`+told+`.new'; mv '`+told+`.new' '`+told+"'\n"))
			if err := os.Chmod(filepath.Join(path, "xdg-open"), 0o755); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(binary, "review", dir)
			cmd.Env = append(os.Environ(), "PATH="+path+":"+os.Getenv("PATH"), "XDG_RUNTIME_DIR=", c.variable+"="+base)
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			ended := false
			defer func() {
				if !ended {
					_ = cmd.Process.Kill()
					_ = cmd.Wait()
				}
			}()
			line, _ := bufio.NewReader(out).ReadString('\n')
			address := strings.TrimSpace(strings.TrimPrefix(line, "review: "))
			secret := strings.Split(address+"////", "/")[3]
			if len(secret) != 32 {
				t.Fatalf("said %q", line)
			}
			eventually(t, "the browser to be started", func() bool { _, err := os.Stat(told); return err == nil })
			words := strings.SplitN(string(mustRead(t, told)), "\n", 4)
			if len(words) != 4 || strings.Contains(words[0], secret) || !strings.HasPrefix(words[0], base+"/") {
				t.Fatalf("the browser was started with %q", words[0])
			}
			if words[1] != "600" || words[2] != "700" {
				t.Errorf("modes %s in a folder of %s", words[1], words[2])
			}
			if !strings.Contains(words[3], `content="0; url=`+address+`"`) {
				t.Errorf("the file is %q", words[3])
			}
			left := func() int {
				entries, err := os.ReadDir(base)
				if err != nil {
					t.Fatal(err)
				}
				return len(entries)
			}
			if c.comes {
				page := filepath.Join(t.TempDir(), "again.html") // the same file, for a browser of ours
				writeFile(t, page, []byte(words[3]))
				b := startBrowser(t)
				b.home = address
				b.open("file://" + page)
				for b.loaded = false; !b.loaded; { // until it has led on
					b.note(b.next())
				}
				b.until("the report", `document.querySelector("#state")?.textContent.startsWith("Ready.")`)
				eventually(t, "the file to be deleted", func() bool { return left() == 0 })
			}
			if err := cmd.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
			_ = cmd.Wait()
			ended = true
			if n := left(); n != 0 {
				t.Errorf("%d entries are left", n)
			}
		})
	}
}
