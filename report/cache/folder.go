package cache

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"regexp"
	"strings"
	"syscall"
	"time"
)

// ErrForeign is the answer to a folder that holds something and is not marked as
// ours: what a user keeps there must not be taken for entries.
var ErrForeign = errors.New("the folder holds other files and is not a result cache")

// tagName is the file that marks the folder as ours, and as one that backups may
// leave out (Cache Directory Tagging Specification, bford.info/cachedir).
const tagName = "CACHEDIR.TAG"

// ours begins every tag that any release has written: the signature of the
// specification, then what the folder is.
const ours = `Signature: 8a477f597d28d172789f06886806bc55
# Results of coursegauge, kept`

const tag = ours + ` so that photos need not be measured again.
# This folder may be removed at any time.
`

// The names that the program makes. Entries lie in folders of two digits.
var (
	folderForm     = regexp.MustCompile(`^[0-9a-f]{2}$`)
	entryForm      = regexp.MustCompile(`^[0-9a-f]{62}$`)
	unfinishedForm = regexp.MustCompile(`^\.unfinished-[0-9]+$`)
)

// claim makes sure that the folder is ours: marked, or empty and marked now. The
// usual folder may hold entries without a mark.
//
// The content is listed before the mark is looked for: another process marks a
// folder before it puts entries there, so entries without a mark are nobody's.
func (s *Store) claim(usual bool) error {
	bare, err := s.bare()
	if err != nil {
		return err
	}
	marked, err := s.marked()
	switch {
	case err != nil:
		return err
	case marked:
		return nil
	case bare, usual && s.onlyEntries():
		return s.place(tagName, []byte(tag))
	}
	return ErrForeign
}

// marked tells whether the folder has our tag.
func (s *Store) marked() (bool, error) {
	f, err := s.open(tagName)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, errNotRegular) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	head, err := io.ReadAll(io.LimitReader(f, int64(len(ours))))
	return string(head) == ours, err
}

// bare tells whether the folder holds nothing but tags that other processes are
// about to put into place.
func (s *Store) bare() (bool, error) {
	found, err := s.list(".")
	for _, d := range found {
		if !isUnfinished(d) {
			return false, err
		}
	}
	return err == nil, err
}

// onlyEntries tells whether everything in the folder has the form of what the
// program writes there.
func (s *Store) onlyEntries() bool {
	top, err := s.list(".")
	if err != nil {
		return false
	}
	for _, d := range top {
		switch {
		case isUnfinished(d):
			continue
		case !isFolder(d):
			return false
		}
		within, err := s.list(d.Name())
		if err != nil {
			return false
		}
		for _, e := range within {
			if !isEntry(e) && !isUnfinished(e) {
				return false
			}
		}
	}
	return true
}

func isFolder(d fs.DirEntry) bool { return d.IsDir() && folderForm.MatchString(d.Name()) }
func isEntry(d fs.DirEntry) bool  { return d.Type().IsRegular() && entryForm.MatchString(d.Name()) }
func isUnfinished(d fs.DirEntry) bool {
	return d.Type().IsRegular() && unfinishedForm.MatchString(d.Name())
}

// list reads a folder, which may be gone meanwhile.
func (s *Store) list(folder string) ([]fs.DirEntry, error) {
	f, err := s.root.OpenFile(folder, os.O_RDONLY|syscall.O_DIRECTORY, 0)
	if err != nil {
		return nil, ignoreGone(err)
	}
	defer f.Close()
	return f.ReadDir(-1)
}

var errNotRegular = errors.New("no regular file")

// mostEntry is how long an entry may be, bytes; those of the largest photos have
// a tenth.
const mostEntry = 256 << 20

// open opens a regular file of the folder for reading; a link, also to the folder
// that it lies in, is none. What cannot be opened at once is not waited for.
func (s *Store) open(name string) (*os.File, error) {
	if err := s.noLinkAbove(name); err != nil {
		return nil, err
	}
	before, err := s.root.Lstat(name)
	if err != nil {
		return nil, err
	}
	if !before.Mode().IsRegular() {
		return nil, errNotRegular
	}
	f, err := s.root.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	now, err := f.Stat()
	if err == nil && !os.SameFile(before, now) { // replaced by a link in between
		err = errNotRegular
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// noLinkAbove makes sure that the folder of an entry is a folder.
func (s *Store) noLinkAbove(name string) error {
	folder, _, below := strings.Cut(name, "/")
	if !below {
		return nil
	}
	info, err := s.root.Lstat(folder)
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return fmt.Errorf("%s: %w", folder, syscall.ENOTDIR)
	}
	return nil
}

// place writes a file aside, in the top folder, and renames it.
func (s *Store) place(name string, parts ...[]byte) error {
	aside := fmt.Sprintf(".unfinished-%d", rand.Uint64())
	f, err := s.root.OpenFile(aside, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
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
		err = s.putInPlace(aside, name)
	}
	if err != nil {
		_ = s.root.Remove(aside)
	}
	return err
}

func (s *Store) putInPlace(aside, name string) error {
	if err := s.noLinkAbove(name); errors.Is(err, fs.ErrNotExist) {
		if err := s.root.Mkdir(name[:2], 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
	} else if err != nil {
		return err
	}
	return s.root.Rename(aside, name)
}

// entry is a file of the folder.
type entry struct {
	name string
	size int64
	used time.Time
}

// entries are the files that the program keeps. What a killed process left
// unfinished is removed on the way.
func (s *Store) entries() (out []entry, total int64, err error) {
	top, err := s.list(".")
	if err != nil {
		return nil, 0, err
	}
	if err := s.sweep("", top); err != nil {
		return nil, 0, err
	}
	for _, folder := range top {
		if !isFolder(folder) {
			continue
		}
		within, err := s.list(folder.Name())
		if err != nil {
			return nil, 0, err
		}
		if err := s.sweep(folder.Name()+"/", within); err != nil {
			return nil, 0, err
		}
		for _, d := range within {
			info, err := d.Info()
			if !isEntry(d) || err != nil { // or gone meanwhile
				continue
			}
			out = append(out, entry{folder.Name() + "/" + d.Name(), info.Size(), info.ModTime()})
			total += info.Size()
		}
	}
	return out, total, nil
}

// abandoned is after what time an unfinished file belongs to no process.
const abandoned = time.Hour

// sweep removes the files of one folder that were abandoned unfinished. Earlier
// releases left theirs beside the entries.
func (s *Store) sweep(folder string, found []fs.DirEntry) error {
	for _, d := range found {
		if !isUnfinished(d) {
			continue
		}
		if info, err := d.Info(); err != nil || time.Since(info.ModTime()) <= abandoned {
			continue
		}
		if err := s.root.Remove(folder + d.Name()); ignoreGone(err) != nil {
			return err
		}
	}
	return nil
}

// ignoreGone is for a file that another process has removed meanwhile.
func ignoreGone(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
