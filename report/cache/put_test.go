package cache

import (
	"bytes"
	"encoding/gob"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The folder is trimmed when more than a sixteenth of its limit was written since
// the last time, not with every entry.
func TestTrimmedNowAndThen(t *testing.T) {
	kept := make([]byte, 10_000)
	var body bytes.Buffer
	if err := gob.NewEncoder(&body).Encode(kept); err != nil {
		t.Fatal(err)
	}
	limit := 16 * int64(body.Len()) // so that one entry is a sixteenth
	s := open(t, t.TempDir(), "one", limit)
	old := s.path(Key("old"))
	for n := range 6 {
		write(t, old, strings.Repeat("x", int(limit)+1)) // more than the folder may hold
		age(t, old, 24*time.Hour)
		if err := s.Put(Key(fmt.Sprint(n)), kept); err != nil {
			t.Fatal(err)
		}
		_, err := os.Stat(old)
		if trimmed := os.IsNotExist(err); trimmed != (n%2 == 1) {
			t.Fatalf("after entry %d: trimmed %v", n, trimmed)
		}
	}
}

// Trimming goes down to seven eighths of the limit.
func TestTrimmedToSevenEighths(t *testing.T) {
	s := open(t, t.TempDir(), "one", 8000)
	for i := range 81 {
		path := s.path(Key(fmt.Sprint(i)))
		write(t, path, strings.Repeat("x", 100))
		age(t, path, time.Duration(100-i)*time.Hour)
	}
	if err := s.Trim(); err != nil {
		t.Fatal(err)
	}
	if entries, total, err := s.entries(); err != nil || len(entries) != 70 || total != 7000 {
		t.Errorf("%d entries of %d bytes are left (%v)", len(entries), total, err)
	}
}

// Of all that can happen to a file, only that another process has removed it is
// no error.
func TestIgnoreGone(t *testing.T) {
	gone := &fs.PathError{Op: "open", Path: "x", Err: syscall.ENOENT}
	denied := &fs.PathError{Op: "open", Path: "x", Err: syscall.EACCES}
	if err := ignoreGone(gone); err != nil {
		t.Error(err)
	}
	if err := ignoreGone(denied); !errors.Is(err, syscall.EACCES) {
		t.Error(err)
	}
}

// Entries and the mark are plain files that others may read.
func TestModes(t *testing.T) {
	before := syscall.Umask(0o022)
	t.Cleanup(func() { syscall.Umask(before) })
	dir := filepath.Join(t.TempDir(), "new", "cache")
	s := open(t, dir, "one", DefaultLimit)
	if err := s.Put(Key("a"), result{}); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(filepath.Dir(dir), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		want := fs.FileMode(0o644)
		if d.IsDir() {
			want = fs.ModeDir | 0o755
		}
		if info.Mode() != want {
			t.Errorf("%s has mode %v, want %v", path, info.Mode(), want)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// An entry that cannot be put into its place leaves nothing behind.
func TestFailedPutLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, "one", DefaultLimit)
	for what, in := range map[string]func(path string) error{
		"a folder in the entry's place":             func(path string) error { return os.MkdirAll(filepath.Join(path, "mine"), 0o755) },
		"a file in the place of the entry's folder": func(path string) error { return os.WriteFile(filepath.Dir(path), nil, 0o644) },
	} {
		key := Key(what)
		if err := in(s.path(key)); err != nil {
			t.Fatal(err)
		}
		if err := s.Put(key, result{}); err == nil {
			t.Errorf("%s: put", what)
		}
		if s.Get(key, new(result)) {
			t.Errorf("%s: read", what)
		}
	}
	for name := range content(t, dir) {
		if strings.Contains(name, "unfinished") {
			t.Errorf("%s is left", name)
		}
	}
	if err := s.Put(Key("function"), func() {}); err == nil {
		t.Error("something that cannot be written was put")
	}
}

// What was abandoned is removed, all of it, also when the folder is small.
func TestAbandonedIsRemoved(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, "one", DefaultLimit)
	for i := range 4 {
		path := filepath.Join(dir, []string{"", "ab"}[i%2], fmt.Sprintf(".unfinished-%d", i))
		write(t, path, "half")
		age(t, path, abandoned+time.Minute)
	}
	if err := s.Trim(); err != nil {
		t.Fatal(err)
	}
	if left := content(t, dir); len(left) != 1 {
		t.Errorf("left: %v", left)
	}
}

// What was read lately stays longer than what was not.
func TestReadingCountsAsUse(t *testing.T) {
	s := open(t, t.TempDir(), "one", DefaultLimit)
	key := Key("a")
	if err := s.Put(key, result{"a", nil}); err != nil {
		t.Fatal(err)
	}
	age(t, s.path(key), 48*time.Hour)
	if !s.Get(key, new(result)) {
		t.Fatal("not read")
	}
	info, err := os.Stat(s.path(key))
	if err != nil || time.Since(info.ModTime()) > time.Hour {
		t.Errorf("used last at %v (%v)", info.ModTime(), err)
	}
}
