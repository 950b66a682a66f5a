// Package cache keeps what was made of a photo, so that it need not be made
// again: one file an entry, with a header that tells format, program and key and
// vouches for all of the entry by an HMAC. An entry that is damaged, cut short,
// of another format, of another program or made without the secret is removed and
// counts as absent.
//
// Nothing depends on an entry: whatever is missing is computed again. So
// entries are not flushed to the disk one by one, any number of processes may
// share a folder, and the folder may be removed at any time.
//
// The secret is the user's own, see ReadSecret: whoever else may write to a folder
// that is shared can remove entries, and cannot make any that are believed. It
// also goes into the names of the entries, so that users with different secrets
// do not remove each other's.
//
// A folder is only used when it is marked as ours, and there only regular files
// whose names have the form of an entry are opened, counted or removed. No link
// is followed. See folder.go.
package cache

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"slices"
	"sync/atomic"
	"time"
)

// format is the name and the version of an entry.
const format = "coursegauge-cache/2"

// DefaultLimit is how large a folder may become, bytes.
const DefaultLimit = 4 << 30

// Store is a folder of entries. The nil Store keeps nothing.
type Store struct {
	root    *os.Root
	secret  []byte
	program string
	limit   int64
	written atomic.Int64 // since the folder was last trimmed
}

// Options say how a folder is used.
type Options struct {
	Secret  []byte // makes entries believed; none or a short one is refused
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
	MAC     string `json:"mac"` // HMAC-SHA256 of the fields above and of the bytes after the line
}

// Open makes the folder when it is not there. A folder with content that is not
// ours gives ErrForeign, and nothing in it is touched.
func Open(dir string, o Options) (*Store, error) {
	if len(o.Secret) < secretSize {
		return nil, fmt.Errorf("the secret has %d bytes; %d are needed", len(o.Secret), secretSize)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	s := &Store{root: root, secret: o.Secret, program: o.Program, limit: o.Limit}
	if err := s.claim(o.Usual); err != nil {
		root.Close()
		return nil, err
	}
	return s, nil
}

// Key tells apart what depends on nothing but the parts.
func Key(parts ...string) string { return digest(sha256.New(), parts) }

// mac is what only holders of the secret can make of the parts.
func (s *Store) mac(parts ...string) string { return digest(hmac.New(sha256.New, s.secret), parts) }

func digest(h hash.Hash, parts []string) string {
	for _, p := range parts {
		fmt.Fprintf(h, "%d:", len(p))
		io.WriteString(h, p) //nolint:errcheck // a hash takes everything
	}
	return hex.EncodeToString(h.Sum(nil))
}

// entryName is where the entry of a key lies in the folder.
func (s *Store) entryName(key string) string {
	name := s.mac("name", key)
	return name[:2] + "/" + name[2:]
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
		_ = s.root.Remove(s.entryName(key)) // one that cannot be removed is replaced when the result is kept again
		return false
	}
	now := time.Now()
	_ = s.root.Chtimes(s.entryName(key), now, now) // the least lately used go first
	return true
}

func (s *Store) read(key string) ([]byte, error) {
	f, err := s.open(s.entryName(key))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() > mostEntry {
		return nil, fmt.Errorf("%s: longer than %d bytes", s.entryName(key), mostEntry)
	}
	return io.ReadAll(io.LimitReader(f, mostEntry))
}

func (s *Store) decode(key string, data []byte, v any) error {
	line, body, _ := bytes.Cut(data, []byte("\n"))
	var h header
	if err := json.Unmarshal(line, &h); err != nil {
		return err
	}
	if want := s.header(key, body); !hmac.Equal([]byte(h.MAC), []byte(want.MAC)) || h != want {
		return errors.New("damaged, or not an entry of ours")
	}
	return gob.NewDecoder(bytes.NewReader(body)).Decode(v)
}

func (s *Store) header(key string, body []byte) header {
	return header{format, s.program, key, s.mac(format, s.program, key, string(body))}
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
	if err := s.place(s.entryName(key), append(line, '\n'), body.Bytes()); err != nil {
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
