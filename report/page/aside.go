package page

import (
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// AsideName begins the names of the folders in which reports are made. One that
// nobody has locked is removed when the next report is made.
const AsideName = ".report-"

// grace is how old a folder must be before it counts as left behind: its owner
// may not have got to locking it yet.
const grace = time.Minute

// aside is a hidden folder for what is not finished. Its owner holds a lock on
// it, so that one which a killed process left can be told and removed.
type aside struct {
	dir  string
	lock *os.File
}

func newAside(in string) (*aside, error) {
	dir, err := os.MkdirTemp(in, AsideName)
	if err != nil {
		return nil, err
	}
	lock, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	// A file system without locks still works; only sweeping is then left to people.
	_ = syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	sweep(in)
	return &aside{dir, lock}, nil
}

func (a *aside) remove() error {
	defer a.lock.Close()
	return os.RemoveAll(a.dir)
}

// sweep removes the folders that nobody holds any more.
func sweep(in string) {
	entries, err := os.ReadDir(in)
	if err != nil {
		return
	}
	for _, e := range entries {
		if !e.IsDir() || len(e.Name()) <= len(AsideName) || e.Name()[:len(AsideName)] != AsideName {
			continue
		}
		if info, err := e.Info(); err != nil || time.Since(info.ModTime()) < grace {
			continue
		}
		removeIfLeft(filepath.Join(in, e.Name()))
	}
}

func removeIfLeft(dir string) {
	f, err := os.Open(dir)
	if err != nil {
		return
	}
	defer f.Close()
	if syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil {
		_ = os.RemoveAll(dir)
	}
}
