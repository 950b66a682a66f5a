package main

import (
	"bytes"
	big "encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// stalledFolder is a folder with one file, whose reading is never answered: a file
// system of its own that knows no more of FUSE (linux/fuse.h) than that. asked is
// closed when somebody has begun to read.
func stalledFolder(t *testing.T, file string) (dir string, asked chan struct{}) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("a file system of its own needs root")
	}
	dev, err := os.OpenFile("/dev/fuse", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("no file system of its own can be made here: %v", err)
	}
	dir, asked = filepath.Join(t.TempDir(), "stalled"), make(chan struct{})
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("stalled", dir, "fuse", syscall.MS_NOSUID, fmt.Sprintf("fd=%d,rootmode=40000,user_id=0,group_id=0", dev.Fd())); err != nil {
		dev.Close()
		t.Skipf("no file system of its own can be mounted here: %v", err)
	}
	ended := make(chan struct{})
	t.Cleanup(func() {
		_ = syscall.Unmount(dir, syscall.MNT_FORCE|syscall.MNT_DETACH)
		<-ended
	})
	go func() {
		defer close(ended)
		defer dev.Close()
		serveStalled(int(dev.Fd()), file, asked)
	}()
	return dir, asked
}

// serveStalled answers what leads to the file, and never what reads it. Pages are read
// ahead and in the background (FUSE_ASYNC_READ), so that whoever waits for one can be
// killed, as it is with file servers.
func serveStalled(fd int, file string, asked chan struct{}) {
	const lookup, forget, getattr, open, read, initial, opendir = 1, 2, 3, 14, 15, 26, 27
	request := make([]byte, 1<<17)
	for {
		n, err := syscall.Read(fd, request)
		if err == syscall.EINTR || err == syscall.ENOENT {
			continue
		}
		if err != nil || n < 40 {
			return // unmounted
		}
		node, body := big.LittleEndian.Uint64(request[16:]), request[40:n]
		var out bytes.Buffer
		var fault syscall.Errno
		put := func(v ...any) {
			for _, x := range v {
				_ = big.Write(&out, big.LittleEndian, x)
			}
		}
		attributes := func(node uint64) { // struct fuse_attr
			mode := uint32(syscall.S_IFDIR | 0o755)
			if node > 1 {
				mode = syscall.S_IFREG | 0o644
			}
			put(node, uint64(4096), uint64(8), [3]uint64{}, [3]uint32{}, mode, uint32(1), [3]uint32{}, uint32(4096), uint32(0))
		}
		switch big.LittleEndian.Uint32(request[4:]) {
		case initial: // struct fuse_init_out of version 7.23
			put(uint32(7), uint32(31), uint32(1<<17), uint32(1), uint16(0), uint16(0), uint32(4096), uint32(1), uint16(0), uint16(0), [8]uint32{})
		case lookup: // struct fuse_entry_out
			if string(bytes.TrimRight(body, "\x00")) != file {
				fault = syscall.ENOENT
				break
			}
			put(uint64(2), uint64(0), uint64(60), uint64(60), uint32(0), uint32(0))
			attributes(2)
		case getattr: // struct fuse_attr_out
			put(uint64(60), uint32(0), uint32(0))
			attributes(node)
		case open, opendir: // struct fuse_open_out
			put(uint64(1), uint32(0), uint32(0))
		case read:
			select {
			case <-asked:
			default:
				close(asked)
			}
			continue
		case forget:
			continue
		default:
			fault = syscall.ENOSYS
		}
		var answer bytes.Buffer // struct fuse_out_header
		_ = big.Write(&answer, big.LittleEndian, struct {
			Size   uint32
			Fault  int32
			Unique [8]byte
		}{uint32(16 + out.Len()), -int32(fault), [8]byte(request[8:16])})
		answer.Write(out.Bytes())
		if _, err := syscall.Write(fd, answer.Bytes()); err != nil && err != syscall.ENOENT {
			return
		}
	}
}

// The first Ctrl-C ends a command whose folder lies on storage that has stopped to answer.
func TestStopWhileAFolderStalls(t *testing.T) {
	for _, named := range [][]string{
		{"merge", "DIR", "--out", "out"},
		{"review", "DIR", "--no-open"},
		{"record", "make", "DIR", "--out", "record"},
		{"ledger", "add", "DIR", "--ledger", "work.ledger"},
		{"trial", "judge", "DIR", "--tape", "1mm"},
	} {
		t.Run(strings.Join(named[:2], " "), func(t *testing.T) {
			stalled, asked := stalledFolder(t, "inspection.json")
			dir := t.TempDir()
			args := slices.Clone(named)
			args[slices.Index(args, "DIR")] = stalled
			r := stoppedAt(t, dir, syscall.SIGINT, func(*lockedBuffer) bool {
				select {
				case <-asked:
					return true
				default:
					return false
				}
			}, args...)
			r.said(t, exitStopped)
			if left := filesIn(t, dir); len(left) > 0 {
				t.Errorf("%q are left", left)
			}
		})
	}
}
