package cache

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// Nobody without the secret makes an entry that is believed, and nobody removes
// those of another user by reading.
func TestOnlyEntriesOfOneSecretAreBelieved(t *testing.T) {
	dir := t.TempDir()
	a := open(t, dir, "one", DefaultLimit)
	b, err := Open(dir, Options{Secret: bytes.Repeat([]byte("b"), secretSize), Program: "one", Limit: DefaultLimit})
	if err != nil {
		t.Fatal(err)
	}
	key := Key("photo")
	if err := a.Put(key, result{"forged", nil}); err != nil {
		t.Fatal(err)
	}
	if b.Get(key, new(result)) {
		t.Fatal("an entry of another secret was read")
	}
	forged, err := os.ReadFile(a.path(key))
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Put(key, result{"own", nil}); err != nil {
		t.Fatal(err)
	}
	var got result
	if !a.Get(key, &got) || got.Name != "forged" || !b.Get(key, &got) || got.Name != "own" {
		t.Errorf("two users do not have an entry each: %+v", got)
	}

	// The same bytes, planted where b looks.
	write(t, b.path(key), string(forged))
	if b.Get(key, &got) {
		t.Errorf("a planted entry was believed: %+v", got)
	}
	if _, err := os.Stat(b.path(key)); !os.IsNotExist(err) {
		t.Error("the planted entry is still there")
	}
}

// Each part of an entry is vouched for: it cannot be told of another key,
// program or format.
func TestTheMACVouchesForTheHeader(t *testing.T) {
	s := open(t, t.TempDir(), "one", DefaultLimit)
	key := Key("photo")
	if err := s.Put(key, result{"a", nil}); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(s.path(key))
	if err != nil {
		t.Fatal(err)
	}
	line, body, _ := bytes.Cut(whole, []byte("\n"))
	var h header
	if err := json.Unmarshal(line, &h); err != nil {
		t.Fatal(err)
	}
	if h.Format != format || h.Program != "one" || h.Key != key || len(h.MAC) != 64 {
		t.Errorf("header %+v", h)
	}
	for what, change := range map[string]func(s *Store, key *string, h *header){
		"key":             func(_ *Store, key *string, h *header) { *key = Key("other"); h.Key = *key },
		"program":         func(s *Store, _ *string, h *header) { s.program, h.Program = "two", "two" },
		"format":          func(_ *Store, _ *string, h *header) { h.Format = "coursegauge-cache/1" },
		"no MAC":          func(_ *Store, _ *string, h *header) { h.MAC = "" },
		"a MAC of a part": func(s *Store, key *string, h *header) { h.MAC = s.mac("name", *key) },
	} {
		of, k, changed := &Store{root: s.root, secret: s.secret, program: s.program}, key, h
		change(of, &k, &changed)
		text, err := json.Marshal(changed)
		if err != nil {
			t.Fatal(err)
		}
		if of.decode(k, append(append(text, '\n'), body...), new(result)) == nil {
			t.Errorf("%s: believed", what)
		}
	}
	if err := s.decode(key, whole, new(result)); err != nil {
		t.Error(err)
	}
}

func TestOpenNeedsASecret(t *testing.T) {
	for n, ok := range map[int]bool{0: false, secretSize - 1: false, secretSize: true} {
		dir := filepath.Join(t.TempDir(), "cache")
		if _, err := Open(dir, Options{Secret: make([]byte, n)}); (err == nil) != ok {
			t.Errorf("a secret of %d bytes: %v", n, err)
		}
	}
}

func TestReadSecret(t *testing.T) {
	for _, c := range []struct {
		name  string
		make  func(path string) error
		error string // "" when the secret is good
	}{
		{"none yet", func(string) error { return nil }, ""},
		{"good", func(p string) error { return os.WriteFile(p, make([]byte, 32), 0o600) }, ""},
		{"read-only", func(p string) error { return os.WriteFile(p, make([]byte, 32), 0o400) }, ""},
		{"group may read", func(p string) error { return os.WriteFile(p, make([]byte, 32), 0o640) }, "mode 0640"},
		{"others may read", func(p string) error { return os.WriteFile(p, make([]byte, 32), 0o604) }, "mode 0604"},
		{"short", func(p string) error { return os.WriteFile(p, make([]byte, 31), 0o600) }, "32 bytes"},
		{"long", func(p string) error { return os.WriteFile(p, make([]byte, 33), 0o600) }, "32 bytes"},
		{"empty", func(p string) error { return os.WriteFile(p, nil, 0o600) }, "32 bytes"},
		{"folder", func(p string) error { return os.Mkdir(p, 0o700) }, "no regular file"},
		{"pipe", func(p string) error { return syscall.Mkfifo(p, 0o600) }, "no regular file"},
		{"link", func(p string) error {
			if err := os.WriteFile(p+"-2", make([]byte, 32), 0o600); err != nil {
				return err
			}
			return os.Symlink(p+"-2", p)
		}, "no regular file"},
		{"dangling link", func(p string) error { return os.Symlink("nowhere", p) }, "no regular file"},
		{"of another user", func(p string) error {
			if os.Geteuid() != 0 {
				t.Skip("giving a file away needs root")
			}
			if err := os.WriteFile(p, make([]byte, 32), 0o600); err != nil {
				return err
			}
			return os.Chown(p, 12345, 0)
		}, "another user (12345)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "cache.key")
			if err := c.make(path); err != nil {
				t.Fatal(err)
			}
			secret, err := ReadSecret(path)
			if c.error != "" {
				if err == nil || !strings.Contains(err.Error(), c.error) {
					t.Errorf("error %v, want %q", err, c.error)
				}
				return
			}
			if err != nil || len(secret) != 32 {
				t.Fatalf("%d bytes, %v", len(secret), err)
			}
			if again, err := ReadSecret(path); err != nil || !bytes.Equal(secret, again) {
				t.Errorf("read again it is %x (%v), before %x", again, err, secret)
			}
		})
	}
}

// A secret is made once, for its user alone, by however many processes at once.
func TestSecretIsMadeOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "settings", "coursegauge")
	path := filepath.Join(dir, "cache.key")
	got := make([][]byte, 16)
	var group sync.WaitGroup
	for i := range got {
		group.Go(func() {
			secret, err := ReadSecret(path)
			if err != nil {
				t.Error(err)
			}
			got[i] = secret
		})
	}
	group.Wait()
	for _, g := range got {
		if !bytes.Equal(g, got[0]) || bytes.Equal(g, make([]byte, secretSize)) {
			t.Fatalf("secrets %x and %x", g, got[0])
		}
	}
	found, err := os.ReadDir(dir)
	if err != nil || len(found) != 1 {
		t.Errorf("beside the secret there is %v (%v)", found, err)
	}
	for p, want := range map[string]os.FileMode{path: 0o600, dir: 0o700} {
		if info, err := os.Stat(p); err != nil || info.Mode().Perm() != want {
			t.Errorf("%s has mode %v (%v)", p, info.Mode(), err)
		}
	}
	other := filepath.Join(t.TempDir(), "cache.key")
	if secret, err := ReadSecret(other); err != nil || bytes.Equal(secret, got[0]) {
		t.Errorf("two secrets are the same (%v)", err)
	}
}
