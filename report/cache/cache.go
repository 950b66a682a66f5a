// Package cache keeps what was made of a photo, so that it need not be made
// again: one file an entry, named by its key, with a header that tells format,
// program and the hash of what follows. An entry that is damaged, cut short,
// of another format or of another program is removed and counts as absent.
//
// Nothing depends on an entry: whatever is missing is computed again. So
// entries are not flushed to the disk one by one, any number of processes may
// share a folder, and the folder may be removed at any time.
package cache

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"
)

// Format is the name and the version of an entry.
const Format = "coursegauge-cache/1"

// DefaultLimit is how large a folder may become, bytes.
const DefaultLimit = 4 << 30

// Store is a folder of entries. The nil Store keeps nothing.
type Store struct {
	dir     string
	program string
	limit   int64
	written atomic.Int64 // since the folder was looked over
}

// header is the first line of an entry, JSON.
type header struct {
	Format  string `json:"format"`
	Program string `json:"program"`
	Key     string `json:"key"`
	SHA256  string `json:"sha256"` // of the bytes after the line
}

// tag marks the folder as one that backups may leave out (Cache Directory
// Tagging Specification; the signature from memory).
const tag = `Signature: 8a477f597d28d172789f06886806bc55
# Results of coursegauge, kept so that photos need not be measured again.
# This folder may be removed at any time.
`

// Open makes the folder when it is not there. program names the exact build:
// entries of another one are not used. limit is the most bytes that it may hold.
func Open(dir, program string, limit int64) (*Store, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, "CACHEDIR.TAG")
	if _, err := os.Stat(path); err != nil {
		if err := os.WriteFile(path, []byte(tag), 0o644); err != nil {
			return nil, err
		}
	}
	return &Store{dir: dir, program: program, limit: limit}, nil
}

// Key is the name of an entry that depends on nothing but the parts.
func Key(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func (s *Store) path(key string) string { return filepath.Join(s.dir, key[:2], key[2:]) }

// Get reads the entry of a key into v; false when there is none that is sound.
func (s *Store) Get(key string, v any) bool {
	if s == nil {
		return false
	}
	path := s.path(key)
	data, err := os.ReadFile(path)
	if err != nil {
		return false
	}
	if s.decode(key, data, v) != nil {
		_ = os.Remove(path) // one that cannot be removed is replaced when the result is kept again
		return false
	}
	now := time.Now()
	_ = os.Chtimes(path, now, now) // the least lately used go first
	return true
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
	path := s.path(key)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	if err := place(path, append(line, '\n'), body.Bytes()); err != nil {
		return err
	}
	if s.written.Add(int64(body.Len())) > s.limit/16 {
		s.written.Store(0)
		return s.Trim()
	}
	return nil
}

const unfinished = ".unfinished-"

// place writes a file aside and renames it.
func place(path string, parts ...[]byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), unfinished)
	if err != nil {
		return err
	}
	for _, p := range parts {
		if err == nil {
			_, err = f.Write(p)
		}
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// entry is a file of the folder.
type entry struct {
	path string
	size int64
	used time.Time
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
		if err := os.Remove(e.path); err != nil && !os.IsNotExist(err) {
			return err
		}
		total -= e.size
	}
	return nil
}

func (s *Store) entries() (out []entry, total int64, err error) {
	err = filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || filepath.Dir(path) == filepath.Clean(s.dir) {
			return ignoreGone(err)
		}
		info, err := d.Info()
		if err != nil {
			return ignoreGone(err)
		}
		if strings.HasPrefix(d.Name(), unfinished) {
			if time.Since(info.ModTime()) > time.Hour {
				return ignoreGone(os.Remove(path))
			}
			return nil
		}
		out = append(out, entry{path, info.Size(), info.ModTime()})
		total += info.Size()
		return nil
	})
	return out, total, err
}

// ignoreGone is for a file that another process has removed meanwhile.
func ignoreGone(err error) error {
	if os.IsNotExist(err) {
		return nil
	}
	return err
}
