package regular

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := os.WriteFile(at("file"), []byte("text"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(at("pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	socket, err := net.Listen("unix", at("socket"))
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	for name, to := range map[string]string{"link": "file", "link to a pipe": "pipe", "link to a socket": "socket", "link to a device": "/dev/zero", "gone": "nowhere", "round": "round"} {
		if err := os.Symlink(to, at(name)); err != nil {
			t.Fatal(err)
		}
	}
	for name, want := range map[string]error{
		"file": nil, "link": nil,
		"pipe": ErrOther, "socket": ErrOther, "link to a pipe": ErrOther, "link to a socket": ErrOther, "link to a device": ErrOther, ".": ErrOther,
		"gone": os.ErrNotExist, "round": syscall.ELOOP, "none": os.ErrNotExist,
	} {
		f, err := Open(at(name))
		if !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", name, err, want)
		}
		if want == nil {
			if data, err := Read(at(name), 4); err != nil || string(data) != "text" {
				t.Errorf("%s: read %q, %v", name, data, err)
			}
			f.Close()
		}
	}
	if _, err := Read(at("file"), 3); err == nil {
		t.Error("more bytes than allowed were read")
	}
}

// A file that is held by a lease, as file servers do, is not waited for.
func TestHeld(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := unix.FcntlInt(f.Fd(), unix.F_SETLEASE, unix.F_WRLCK); err != nil {
		t.Skipf("no leases here: %v", err)
	}
	if _, err := Open(path); !errors.Is(err, ErrHeld) {
		t.Errorf("%v, want %v", err, ErrHeld)
	}
}
