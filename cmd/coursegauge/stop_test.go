package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Each of the signals that a terminal or a service sends ends a run in order:
// what is done is written.
func TestSignalsStopInOrder(t *testing.T) {
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		t.Run(s.String(), func(t *testing.T) {
			dir := t.TempDir()
			writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
			writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
			holdBack(t, filepath.Join(dir, "photos/z.jpg"))
			r := stoppedAt(t, dir, s, func(stderr *lockedBuffer) bool { return strings.Contains(stderr.String(), "[1/2] a.jpg") },
				"inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache", "--jobs", "1")
			r.said(t, exitStopped, "stopped: 1 of 2 photos done and written")
			if d := inspectionIn(t, filepath.Join(dir, "out")); len(d.Photos) != 1 {
				t.Errorf("%d photos are written", len(d.Photos))
			}
		})
	}
}

// A run that was started to outlive its terminal does.
func TestNohup(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	for i := range 3 {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/%d.jpg", i)), cardless(t, 320, 240+i))
	}
	c := exec.Command("sh", "-c", `trap "" HUP; exec "$0" "$@"`, binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache", "--jobs", "1")
	c.Dir = dir
	said, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(said)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "[1/3]") {
			if err := c.Process.Signal(syscall.SIGHUP); err != nil {
				t.Fatal(err)
			}
		}
	}
	_ = c.Wait()
	if got := c.ProcessState.ExitCode(); got != exitLook {
		t.Errorf("exit status %d", got)
	}
	if d := inspectionIn(t, filepath.Join(dir, "out")); len(d.Photos) != 3 {
		t.Errorf("%d photos are written", len(d.Photos))
	}
}

// Whoever reads what is said may stop to: the work goes on to its end.
func TestClosedPipesLoseNoWork(t *testing.T) {
	for _, closed := range []string{"standard output", "standard error", "both"} {
		t.Run(closed, func(t *testing.T) {
			dir := t.TempDir()
			writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
			for i := range 2 {
				writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/%d.jpg", i)), cardless(t, 320, 240+i))
			}
			r, w, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			r.Close() // nobody reads from the first word on
			c := exec.Command(binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache")
			c.Dir = dir
			if closed != "standard error" {
				c.Stdout = w
			}
			if closed != "standard output" {
				c.Stderr = w
			}
			err = c.Run()
			w.Close()
			if c.ProcessState == nil || c.ProcessState.ExitCode() != exitLook {
				t.Errorf("%v", err)
			}
			if got := filesIn(t, filepath.Join(dir, "out")); len(got) != 3 {
				t.Fatalf("the folder holds %q", got)
			}
			if d := inspectionIn(t, filepath.Join(dir, "out")); len(d.Photos) != 2 {
				t.Errorf("%d photos are written", len(d.Photos))
			}
		})
	}
}

// A report does not say how the folders of its maker are called, unless they lie
// beside it.
func TestReportNamesNoFolderElsewhere(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "secret-customer/photos/a.jpg"), cardless(t, 320, 240))
	for _, c := range []struct {
		out   string
		named bool
	}{
		{"secret-customer/out", true}, {"out", true}, {"secret-customer/photos/out", true}, {"secret-customer", true},
		{"reports/out", false}, {"secret-customer/reports/1/out", false}, {"secret-customer/photos/sub/out", false},
	} {
		r := runIn(t, dir, "inspect", "secret-customer/photos", "--schedule", "lot.yaml", "--out", c.out, "--no-cache")
		r.said(t, exitLook)
		report := reportOf(t, filepath.Join(dir, c.out))
		at := photosOf(filepath.Join(dir, c.out), []byte(report), "")
		found := at == filepath.Join(dir, "secret-customer/photos")
		if !c.named && (strings.Contains(report, "secret-customer") || strings.Contains(report, "../..")) {
			t.Errorf("%s: the report names a folder elsewhere", c.out)
		}
		if c.named && !found {
			t.Errorf("%s: the report leads to %s", c.out, at)
		}
		if told := strings.Contains(r.err, "need --photos"); told == c.named {
			t.Errorf("%s: told that there are no links: %v", c.out, told)
		}
	}
}

// Where there is too little memory to start, that is one line.
func TestLowMemory(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	for mb, enough := range map[int]bool{300: false, 900: false, 1200: false, 1600: false, 2000: false, 2499: false, 2500: true} {
		c := exec.Command("sh", "-c", fmt.Sprintf(`ulimit -v %d; exec "$0" "$@"`, mb<<10), binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache")
		c.Dir = dir
		var out, said strings.Builder
		c.Stdout, c.Stderr = &out, &said
		_ = c.Run()
		r := ran{c.ProcessState.ExitCode(), out.String(), said.String()}
		if enough {
			r.said(t, exitLook, "1 photo: 0 measured, 1 refused", "no_card")
			continue
		}
		r.said(t, exitFailed, fmt.Sprintf("not enough memory: the limit of address space is %d MB; at least 2500 MB are needed", mb))
		r.oneError(t)
	}
}
