package cache

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// secretSize is how many random bytes a secret has.
const secretSize = 32

// ReadSecret reads the secret of the user from the file at path, which is made
// when it is not there. One that others can read or write is no secret: the error
// says what is wrong with it.
func ReadSecret(path string) ([]byte, error) {
	secret, err := readSecret(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return secret, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	if err := makeSecret(path); err != nil {
		return nil, err
	}
	return readSecret(path)
}

func readSecret(path string) ([]byte, error) {
	before, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !before.Mode().IsRegular() {
		return nil, errNotRegular
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if err := private(info); err != nil {
		return nil, err
	}
	secret, err := io.ReadAll(io.LimitReader(f, secretSize+1))
	if err == nil && len(secret) != secretSize {
		err = fmt.Errorf("it has not the %d bytes of a secret; remove it", secretSize)
	}
	return secret, err
}

// private makes sure that nobody else can read or change a file.
func private(info fs.FileInfo) error {
	if of, ok := info.Sys().(*syscall.Stat_t); ok && int(of.Uid) != os.Geteuid() {
		return fmt.Errorf("it belongs to another user (%d)", of.Uid)
	}
	if !info.Mode().IsRegular() || info.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("other users may use it (mode %04o); chmod 600", info.Mode().Perm())
	}
	return nil
}

// makeSecret puts a new secret at path, whole. Of several processes that do so at
// once the first one's stays.
func makeSecret(path string) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".cache-key-") // of mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	secret := make([]byte, secretSize)
	rand.Read(secret) //nolint:errcheck // it never fails
	_, err = f.Write(secret)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	err = os.Link(f.Name(), path)
	switch {
	case errors.Is(err, fs.ErrExist):
		return nil
	case errors.Is(err, syscall.EPERM), errors.Is(err, syscall.ENOTSUP), errors.Is(err, syscall.ENOSYS):
		return os.Rename(f.Name(), path) // a file system without links
	}
	return err
}
