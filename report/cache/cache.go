// Package cache keeps what was made of a photo, so that it need not be made
// again: one file an entry, named by its key, with a header that tells format,
// program and the hash of what follows. An entry that is damaged, cut short,
// of another format or of another program is removed and counts as absent.
//
// Nothing depends on an entry: whatever is missing is computed again. So
// entries are not flushed to the disk one by one, any number of processes may
// share a folder, and the folder may be removed at any time.
//
// A folder is only used when it is marked as ours, and there only regular files
// whose names have the form of an entry are opened, counted or removed. No link
// is followed. See folder.go.
package cache

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"sync/atomic"
	"time"
)

// Format is the name and the version of an entry.
const Format = "coursegauge-cache/1"

// DefaultLimit is how large a folder may become, bytes.
const DefaultLimit = 4 << 30

// Store is a folder of entries. The nil Store keeps nothing.
type Store struct {
	root    *os.Root
	program string
	limit   int64
	written atomic.Int64 // since the folder was last trimmed
}

// Options say how a folder is used.
type Options struct {
	Program string // the exact build: entries of another one are not used
	Limit   int64  // the most bytes that the folder may hold
	// Usual tells that the folder is the program's own place, not one that the
	// user named: entries without a mark there are ours.
	Usual bool
}

// header is the first line of an entry, JSON.
type header struct {
	Format  string `json:"format"`
	Program string `json:"program"`
	Key     string `json:"key"`
	SHA256  string `json:"sha256"` // of the bytes after the line
}

// Open makes the folder when it is not there. A folder with content that is not
// ours gives ErrForeign, and nothing in it is touched.
func Open(dir string, o Options) (*Store, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	s := &Store{root: root, program: o.Program, limit: o.Limit}
	if err := s.claim(o.Usual); err != nil {
		root.Close()
		return nil, err
	}
	return s, nil
}

// Key is the name of an entry that depends on nothing but the parts.
func Key(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Get reads the entry of a key into v; false when there is none that is sound.
func (s *Store) Get(key string, v any) bool {
	if s == nil {
		return false
	}
	data, err := s.read(key)
	if err != nil {
		return false
	}
	if s.decode(key, data, v) != nil {
		_ = s.root.Remove(entryName(key)) // one that cannot be removed is replaced when the result is kept again
		return false
	}
	now := time.Now()
	_ = s.root.Chtimes(entryName(key), now, now) // the least lately used go first
	return true
}

func (s *Store) read(key string) ([]byte, error) {
	f, err := s.open(entryName(key))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() > mostEntry {
		return nil, fmt.Errorf("%s: longer than %d bytes", entryName(key), mostEntry)
	}
	return io.ReadAll(io.LimitReader(f, mostEntry))
}

func (s *Store) decode(key string, data []byte, v any) error {
	line, body, _ := bytes.Cut(data, []byte("\n"))
	var h header
	if err := json.Unmarshal(line, &h); err != nil {
		return err
	}
	if want := s.header(key, body); h != want {
		return fmt.Errorf("header %+v, want %+v", h, want)
	}
	return gob.NewDecoder(bytes.NewReader(body)).Decode(v)
}

func (s *Store) header(key string, body []byte) header {
	sum := sha256.Sum256(body)
	return header{Format, s.program, key, hex.EncodeToString(sum[:])}
}

// Put keeps v under a key, replacing what was there.
func (s *Store) Put(key string, v any) error {
	if s == nil {
		return nil
	}
	var body bytes.Buffer
	if err := gob.NewEncoder(&body).Encode(v); err != nil {
		return err
	}
	line, err := json.Marshal(s.header(key, body.Bytes()))
	if err != nil {
		return err
	}
	if err := s.place(entryName(key), append(line, '\n'), body.Bytes()); err != nil {
		return err
	}
	if s.written.Add(int64(body.Len())) > s.limit/16 {
		s.written.Store(0)
		return s.Trim()
	}
	return nil
}

// Trim removes the least lately used entries until the folder holds at most its
// limit, and what processes that were killed left unfinished.
func (s *Store) Trim() error {
	if s == nil {
		return nil
	}
	entries, total, err := s.entries()
	if err != nil || total <= s.limit {
		return err
	}
	slices.SortFunc(entries, func(a, b entry) int { return a.used.Compare(b.used) })
	for _, e := range entries {
		if total <= s.limit-s.limit/8 { // room for a while
			break
		}
		if err := s.root.Remove(e.name); err != nil && !os.IsNotExist(err) {
			return err
		}
		total -= e.size
	}
	return nil
}
