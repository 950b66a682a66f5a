// Package commit puts several files of a folder into place at once: after
// whatever ended the program, all of them are the old ones or all are the new
// ones.
//
// The new files are written into a hidden folder. That folder gets the name
// Folder by one rename, the commit point; then its files are moved into place. A
// Folder that is found was left between the two: Recover finishes the move, and
// whoever reads the files calls it first.
package commit

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
)

// names are the files that are put into place. A folder from somebody else that
// holds others is not ours.
var names = []string{"fasteners.csv", "inspection.json", "report.html"}

// Folder holds files that are committed and not all in their place.
const Folder = ".committed"

// Staged is a folder of new files for another folder of the same file system.
type Staged struct {
	into, dir string
	names     []string
}

// Stage makes the hidden folder within aside, for files that go into the folder
// into.
func Stage(into, aside string) (*Staged, error) {
	dir, err := os.MkdirTemp(aside, ".staged-")
	if err != nil {
		return nil, err
	}
	return &Staged{into: into, dir: dir}, nil
}

// Path is where the new file of that name is to be written, whole and flushed,
// before Commit.
func (s *Staged) Path(name string) string {
	s.names = append(s.names, name)
	return filepath.Join(s.dir, name)
}

// Discard removes what is not committed.
func (s *Staged) Discard() { _ = os.RemoveAll(s.dir) }

// Commit puts all files into place. An error before the commit point leaves the
// old files; one after it is told by Unfinished, and Recover goes on.
func (s *Staged) Commit() error {
	if err := Recover(s.into); err != nil {
		return err
	}
	for _, name := range s.names {
		info, err := os.Lstat(filepath.Join(s.into, name))
		if err == nil && info.IsDir() {
			return &fs.PathError{Op: "replace", Path: filepath.Join(s.into, name), Err: syscall.EISDIR}
		}
	}
	if err := flush(s.dir); err != nil {
		return err
	}
	if err := os.Rename(s.dir, filepath.Join(s.into, Folder)); err != nil {
		return err
	}
	if err := flush(s.into); err != nil {
		return err
	}
	return Recover(s.into)
}

// Unfinished is an error after the commit point.
type Unfinished struct{ error }

func (u Unfinished) Unwrap() error { return u.error }

// Recover moves the files of a commit that was cut short into place. Without one
// it does nothing.
func Recover(into string) error {
	dir := filepath.Join(into, Folder)
	info, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return nil
	}
	if err == nil && !info.IsDir() {
		err = fmt.Errorf("%s is no folder", Folder)
	}
	if err != nil {
		return Unfinished{err}
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		return ignoreGone(err)
	}
	for _, f := range files {
		if !f.Type().IsRegular() || !slices.Contains(names, f.Name()) {
			return Unfinished{fmt.Errorf("%s holds %q, which is none of ours", Folder, f.Name())}
		}
	}
	for _, f := range files {
		// Another process may be doing the same.
		if err := ignoreGone(os.Rename(filepath.Join(dir, f.Name()), filepath.Join(into, f.Name()))); err != nil {
			return err
		}
	}
	if err := flush(into); err != nil { // in place before the folder is gone
		return Unfinished{err}
	}
	return ignoreGone(os.Remove(dir))
}

func ignoreGone(err error) error {
	if err == nil || errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return Unfinished{err}
}

// flush makes the names in a folder last.
func flush(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	err = f.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) { // not on this file system
		return nil
	}
	return err
}
