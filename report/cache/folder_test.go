package cache

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func age(t *testing.T, path string, by time.Duration) {
	t.Helper()
	then := time.Now().Add(-by)
	if err := os.Chtimes(path, then, then); err != nil {
		t.Fatal(err)
	}
}

// content is every file of a folder with its text.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		out[rel] = d.Type().String()
		if d.Type().IsRegular() {
			data, err := os.ReadFile(path)
			out[rel] = string(data)
			return err
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

var anEntry = Key("an entry")[:2] + "/" + Key("an entry")[2:]

// A folder is used when it is new, empty or marked; without a mark, entries
// alone are enough in the usual place, where releases before this one kept them.
func TestOpen(t *testing.T) {
	type files map[string]string
	for _, c := range []struct {
		name   string
		files  files
		dirs   []string
		links  files // name to target
		usual  bool
		wanted bool
	}{
		{name: "empty", wanted: true},
		{name: "empty, usual", usual: true, wanted: true},
		{name: "marked", files: files{tagName: tag}, wanted: true},
		{name: "marked, with files of others", files: files{tagName: tag, "notes.txt": "mine"}, wanted: true},
		{name: "another process is marking it", files: files{".unfinished-17": ours[:9]}, wanted: true},
		{name: "another process is marking it, usual", files: files{".unfinished-17": ours[:9]}, usual: true, wanted: true},
		{name: "a document", files: files{"notes.txt": "mine"}},
		{name: "a document, usual", files: files{"notes.txt": "mine"}, usual: true},
		{name: "a document two folders down, usual", files: files{"ab/notes.txt": "mine"}, usual: true},
		{name: "a folder", dirs: []string{"letters"}},
		{name: "an empty folder, usual", dirs: []string{"letters"}, usual: true},
		{name: "a folder three down, usual", dirs: []string{"ab/" + anEntry[3:]}, usual: true},
		{name: "a folder called as what is unfinished", dirs: []string{".unfinished-17"}},
		{name: "a folder below called as what is unfinished, usual", dirs: []string{"ab/.unfinished-17"}, usual: true},
		{name: "hidden", files: files{".profile": "mine"}},
		{name: "nearly the name of what is unfinished", files: files{".unfinished-17a": "mine"}},
		{name: "entries without a mark", files: files{anEntry: "kept"}},
		{name: "entries without a mark, usual", files: files{anEntry: "kept", "ab/.unfinished-17": ""}, usual: true, wanted: true},
		{name: "an entry in the top folder, usual", files: files{anEntry[3:]: "kept"}, usual: true},
		{name: "upper case, usual", files: files{strings.ToUpper(anEntry): "mine"}, usual: true},
		{name: "one digit too many, usual", files: files{anEntry + "0": "mine"}, usual: true},
		{name: "one digit too few, usual", files: files{anEntry[:len(anEntry)-1]: "mine"}, usual: true},
		{name: "the mark of another program", files: files{tagName: ours[:43] + "\n# Cache of something else\n"}},
		{name: "the mark of another program, usual", files: files{tagName: ours[:43] + "\n# Cache of something else\n"}, usual: true},
		{name: "half a mark", files: files{tagName: ours[:len(ours)-1]}},
		{name: "the mark is a folder", dirs: []string{tagName}},
		{name: "the mark is a link", files: files{}, links: files{tagName: "../tag"}},
		{name: "a link, usual", links: files{"ab": "../elsewhere"}, usual: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			top := t.TempDir()
			dir := filepath.Join(top, "cache")
			write(t, filepath.Join(top, "tag"), tag)
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			for name, text := range c.files {
				write(t, filepath.Join(dir, name), text)
			}
			for _, name := range c.dirs {
				if err := os.MkdirAll(filepath.Join(dir, name), 0o755); err != nil {
					t.Fatal(err)
				}
			}
			for name, to := range c.links {
				if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
			before := content(t, dir)
			_, err := Open(dir, Options{Secret: mine, Program: "one", Limit: 1, Usual: c.usual})
			after := content(t, dir)
			if !c.wanted {
				if !errors.Is(err, ErrForeign) {
					t.Errorf("error %v, want %v", err, ErrForeign)
				}
				if !maps.Equal(before, after) {
					t.Errorf("the folder holds %q, before %q", after, before)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(after[tagName], "Signature: 8a477f597d28d172789f06886806bc55\n# Results of coursegauge") {
				t.Errorf("the mark is %q", after[tagName])
			}
			delete(after, tagName)
			delete(before, tagName)
			if !maps.Equal(before, after) {
				t.Errorf("beside the mark it holds %q, before %q", after, before)
			}
		})
	}
	t.Run("a file", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "file")
		write(t, path, "mine")
		if _, err := Open(path, Options{Secret: mine}); err == nil {
			t.Error("a file was opened as a folder")
		}
	})
}

// Trimming counts and removes entries and what was abandoned, and nothing else,
// however old and large that is.
func TestTrimTouchesEntriesAlone(t *testing.T) {
	top := t.TempDir()
	dir := filepath.Join(top, "cache")
	const limit = 8000
	s := open(t, dir, "one", limit)
	foreign := []string{
		"film.mp4", "letters/a.txt", "ab/film.mp4", "ab/" + strings.Repeat("a", 61), "ab/" + strings.Repeat("a", 63), "ab/" + strings.Repeat("g", 62),
		"abc/" + strings.Repeat("a", 62), "AB/" + strings.Repeat("a", 62), strings.Repeat("a", 62), "ab/cd/" + strings.Repeat("a", 62),
		"ab/.unfinished-", "ab/.unfinished-film", ".unfinished-film", "x.unfinished-1", "ab/.unfinished-1-a",
	}
	for _, name := range foreign {
		write(t, filepath.Join(dir, name), strings.Repeat("x", 5000))
		age(t, filepath.Join(dir, name), 1000*time.Hour)
	}
	outside := filepath.Join(top, "outside")
	write(t, filepath.Join(outside, strings.Repeat("b", 62)), strings.Repeat("x", 5000))
	age(t, filepath.Join(outside, strings.Repeat("b", 62)), 1000*time.Hour)
	for name, to := range map[string]string{"cd": outside, "ab/" + strings.Repeat("c", 62): filepath.Join(outside, strings.Repeat("b", 62))} {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	before := content(t, top)

	var entries []string
	for i := range 9 {
		key := Key(fmt.Sprint(i))
		entries = append(entries, filepath.Join("cache", s.entryName(key)))
		write(t, s.path(key), strings.Repeat("y", 1000))
		age(t, s.path(key), time.Duration(100-i)*time.Hour)
	}
	abandonedFiles := []string{"ab/.unfinished-1", ".unfinished-2"}
	for _, name := range abandonedFiles {
		write(t, filepath.Join(dir, name), "half")
		age(t, filepath.Join(dir, name), abandoned+time.Minute)
	}
	write(t, filepath.Join(dir, "ab/.unfinished-3"), "half")
	write(t, filepath.Join(dir, ".unfinished-4"), "half")
	age(t, filepath.Join(dir, ".unfinished-4"), abandoned-time.Minute)
	if err := s.Trim(); err != nil {
		t.Fatal(err)
	}
	after := content(t, top)
	// 9,000 bytes are over the limit; down to seven eighths of it, 7,000, are kept.
	for i, name := range entries {
		if _, kept := after[name]; kept != (i >= 2) {
			t.Errorf("entry %d is kept: %v", i, kept)
		}
		delete(after, name)
	}
	for _, name := range []string{"cache/ab/.unfinished-3", "cache/.unfinished-4"} {
		if after[name] != "half" {
			t.Errorf("%s of a process at work is gone", name)
		}
		delete(after, name)
	}
	for name := range before {
		if after[name] != before[name] {
			t.Errorf("%s is gone or changed", name)
		}
	}
	for name := range after {
		if _, ok := before[name]; !ok {
			t.Errorf("%s is left", name)
		}
	}
}

// At its limit a folder is left alone.
func TestTrimAtTheLimit(t *testing.T) {
	s := open(t, t.TempDir(), "one", 2000)
	for _, name := range []string{"a", "b"} {
		write(t, s.path(Key(name)), strings.Repeat("y", 1000))
	}
	if err := s.Trim(); err != nil {
		t.Fatal(err)
	}
	if _, total, err := s.entries(); err != nil || total != 2000 {
		t.Errorf("%d bytes are left (%v)", total, err)
	}
}

// What lies in an entry's place and is no regular file is neither read, followed
// nor waited for; keeping the result again replaces it.
func TestOnlyRegularFilesAreRead(t *testing.T) {
	for name, plant := range map[string]func(path, whole string) error{
		"a link to a sound entry": func(path, whole string) error { return os.Symlink(whole, path) },
		"a dangling link":         func(path, _ string) error { return os.Symlink("nowhere", path) },
		"a link to itself":        func(path, _ string) error { return os.Symlink(filepath.Base(path), path) },
		"a pipe":                  func(path, _ string) error { return syscall.Mkfifo(path, 0o644) },
		"a link to a pipe": func(path, whole string) error {
			if err := syscall.Mkfifo(whole+"-pipe", 0o644); err != nil {
				return err
			}
			return os.Symlink(whole+"-pipe", path)
		},
		"a folder in its place that is a link": func(path, whole string) error {
			if err := os.Remove(filepath.Dir(path)); err != nil {
				return err
			}
			beside := filepath.Join(filepath.Dir(whole), filepath.Base(path))
			if err := os.Rename(whole, beside); err != nil {
				return err
			}
			return os.Symlink(filepath.Dir(beside), filepath.Dir(path))
		},
	} {
		t.Run(name, func(t *testing.T) {
			top := t.TempDir()
			s := open(t, filepath.Join(top, "cache"), "one", DefaultLimit)
			key := Key("photo")
			if err := s.Put(key, result{"a", nil}); err != nil {
				t.Fatal(err)
			}
			whole := filepath.Join(top, "elsewhere", "whole")
			if err := os.Mkdir(filepath.Dir(whole), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Rename(s.path(key), whole); err != nil {
				t.Fatal(err)
			}
			if err := plant(s.path(key), whole); err != nil {
				t.Fatal(err)
			}
			before := content(t, filepath.Dir(whole))
			if s.Get(key, new(result)) {
				t.Error("it was read")
			}
			err := s.Put(key, result{"b", nil})
			var got result
			if linked := strings.Contains(name, "folder"); linked != (err != nil) || linked == s.Get(key, &got) {
				t.Errorf("put: %v; then %+v", err, got)
			}
			if after := content(t, filepath.Dir(whole)); !maps.Equal(before, after) {
				t.Errorf("elsewhere there is %q now, before %q", after, before)
			}
		})
	}
}

// An entry that is too long to be one is not read into memory.
func TestLongEntry(t *testing.T) {
	s := open(t, t.TempDir(), "one", DefaultLimit)
	for size, readable := range map[int64]bool{mostEntry: true, mostEntry + 1: false} {
		key := Key(fmt.Sprint(size))
		write(t, s.path(key), "")
		if err := os.Truncate(s.path(key), size); err != nil {
			t.Fatal(err)
		}
		data, err := s.read(key)
		if (err == nil) != readable || readable && int64(len(data)) != size {
			t.Errorf("%d bytes: read %d, %v", size, len(data), err)
		}
	}
}
