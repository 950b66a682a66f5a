// Package regular opens files that anybody may have put where they lie: only
// regular files, and without waiting. A pipe, a device or a socket, also at the
// end of a link, is told and left alone; a file that another program holds back
// is an error at once, which the caller may wait on.
package regular

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// ErrOther is the answer to what is no regular file.
var ErrOther = errors.New("this is no regular file")

// ErrHeld is the answer to a file that another program holds for itself (a lease).
var ErrHeld = errors.New("another program holds the file")

// Open opens a file for reading; links are followed.
func Open(path string) (*os.File, error) {
	info, err := os.Stat(path) // a device may act when it is opened
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, ErrOther
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK|syscall.O_NOCTTY, 0)
	if errors.Is(err, syscall.EAGAIN) {
		return nil, ErrHeld
	}
	if err != nil {
		return nil, err
	}
	if info, err = f.Stat(); err == nil && !info.Mode().IsRegular() { // replaced in between
		err = ErrOther
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Read reads a whole file of at most so many bytes.
func Read(path string, most int64) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(data)) > most {
		return nil, fmt.Errorf("the file has more than %d bytes", most)
	}
	return data, err
}
