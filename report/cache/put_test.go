package cache

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The folder is trimmed when a sixteenth of its limit was written since the last
// time, not with every entry.
func TestTrimmedNowAndThen(t *testing.T) {
	const limit = 160_000
	dir := t.TempDir()
	s := open(t, dir, "one", limit)
	old := s.path(Key("old"))
	plant := func() { // more than the folder may hold
		t.Helper()
		write(t, old, strings.Repeat("x", limit+1))
		age(t, old, 24*time.Hour)
	}
	isThere := func() bool { _, err := os.Stat(old); return err == nil }
	n := 0
	put := func(size int) {
		t.Helper()
		n++
		if err := s.Put(Key(fmt.Sprint(n)), make([]byte, size)); err != nil {
			t.Fatal(err)
		}
	}
	plant()
	for range 2 {
		for range 3 {
			put(3000) // three are under 10,000
			if !isThere() {
				t.Fatalf("trimmed after %d", n)
			}
		}
		put(3000)
		if isThere() {
			t.Fatalf("not trimmed after %d", n)
		}
		plant()
	}
}

// Entries and the mark are plain files that others may read.
func TestModes(t *testing.T) {
	before := syscall.Umask(0o022)
	t.Cleanup(func() { syscall.Umask(before) })
	dir := t.TempDir()
	s := open(t, dir, "one", DefaultLimit)
	if err := s.Put(Key("a"), result{}); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == dir {
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
