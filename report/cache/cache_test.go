package cache

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

type result struct {
	Name string
	Data []byte
}

var mine = bytes.Repeat([]byte("m"), secretSize)

func open(t *testing.T, dir, program string, limit int64) *Store {
	t.Helper()
	s, err := Open(dir, Options{Secret: mine, Program: program, Limit: limit})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// path is where an entry lies.
func (s *Store) path(key string) string { return filepath.Join(s.root.Name(), s.entryName(key)) }

func TestKeptAndReadAgain(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, "one", DefaultLimit)
	key := Key("photo", "settings")
	var got result
	if s.Get(key, &got) {
		t.Fatal("something came out of an empty folder")
	}
	if err := s.Put(key, result{"a", []byte{1, 2, 3}}); err != nil {
		t.Fatal(err)
	}
	if !open(t, dir, "one", DefaultLimit).Get(key, &got) || got.Name != "a" || len(got.Data) != 3 {
		t.Errorf("read %+v", got)
	}
	if open(t, dir, "two", DefaultLimit).Get(key, &got) {
		t.Error("another program read the entry")
	}
	var none *Store
	if err := none.Put(key, result{}); err != nil || none.Get(key, &got) || none.Trim() != nil {
		t.Error("the store that keeps nothing kept something")
	}
}

func TestKeysTellPartsApart(t *testing.T) {
	seen := map[string][]string{}
	for _, parts := range [][]string{{}, {""}, {"", ""}, {"ab", "c"}, {"a", "bc"}, {"abc"}, {"1:a"}, {"1", "a"}} {
		if other, ok := seen[Key(parts...)]; ok {
			t.Errorf("%q and %q have one key", parts, other)
		}
		seen[Key(parts...)] = parts
	}
}

// Every byte that is changed, and every length that is cut, is found out: the
// entry counts as absent and is removed.
func TestDamageIsFoundOut(t *testing.T) {
	s := open(t, t.TempDir(), "one", DefaultLimit)
	key := Key("photo")
	if err := s.Put(key, result{"a", []byte("pixels")}); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(s.path(key))
	if err != nil {
		t.Fatal(err)
	}
	bad := func(what string, data []byte) {
		if err := os.WriteFile(s.path(key), data, 0o644); err != nil {
			t.Fatal(err)
		}
		var got result
		if s.Get(key, &got) {
			t.Fatalf("%s: read %+v", what, got)
		}
		if _, err := os.Stat(s.path(key)); !os.IsNotExist(err) {
			t.Fatalf("%s: the damaged entry is still there", what)
		}
	}
	for i := range whole {
		flipped := append([]byte(nil), whole...)
		flipped[i] ^= 0x10
		bad(fmt.Sprintf("byte %d flipped", i), flipped)
		bad(fmt.Sprintf("cut at byte %d", i), whole[:i])
	}
	other := Key("another photo") // a whole entry under a wrong name
	if err := os.MkdirAll(filepath.Dir(s.path(other)), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.path(other), whole, 0o644); err != nil {
		t.Fatal(err)
	}
	if s.Get(other, new(result)) {
		t.Error("the entry of one photo was read as that of another")
	}
}

func TestBoundedOldestGoFirst(t *testing.T) {
	dir := t.TempDir()
	const limit = 100_000
	s := open(t, dir, "one", limit)
	key := func(i int) string { return Key(fmt.Sprint(i)) }
	for i := range 100 {
		if err := s.Put(key(i), result{Data: make([]byte, 5000)}); err != nil {
			t.Fatal(err)
		}
		old := time.Now().Add(time.Duration(i-1000) * time.Minute)
		if err := os.Chtimes(s.path(key(i)), old, old); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		s.Get(key(0), new(result)) // used all the time
	}
	left := filepath.Join(dir, "00", ".unfinished-1")
	if err := os.MkdirAll(filepath.Dir(left), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(left, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	old := time.Now().Add(-2 * time.Hour)
	if err := os.Chtimes(left, old, old); err != nil {
		t.Fatal(err)
	}
	if err := s.Trim(); err != nil {
		t.Fatal(err)
	}
	_, total, err := s.entries()
	if err != nil || total > limit || total < limit/2 {
		t.Errorf("%d bytes are kept (%v), the limit is %d", total, err, limit)
	}
	for i, want := range map[int]bool{0: true, 1: false, 50: false, 98: true, 99: true} {
		if got := s.Get(key(i), new(result)); got != want {
			t.Errorf("entry %d is there: %v, want %v", i, got, want)
		}
	}
	if _, err := os.Stat(left); !os.IsNotExist(err) {
		t.Error("what a killed process left is still there")
	}
}

func TestManyAtOnce(t *testing.T) {
	dir := t.TempDir()
	var group sync.WaitGroup
	for w := range 8 {
		s := open(t, dir, "one", 50_000)
		group.Go(func() {
			for i := range 50 {
				want := result{fmt.Sprint(i), make([]byte, 2000)}
				if err := s.Put(Key(want.Name), want); err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
				var got result
				if s.Get(Key(want.Name), &got) && got.Name != want.Name {
					t.Errorf("writer %d: read %q, want %q", w, got.Name, want.Name)
				}
			}
		})
	}
	group.Wait()
}
