package main

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"coursegauge/report/cache"
	"coursegauge/report/page"

	"golang.org/x/sys/unix"
)

// holdBack makes a file whose opening waits until the test has ended: a lease, as
// file servers take for their clients.
func holdBack(t *testing.T, path string) {
	t.Helper()
	writeFile(t, path, cardless(t, 320, 240))
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if _, err := unix.FcntlInt(f.Fd(), unix.F_SETLEASE, unix.F_WRLCK); err != nil {
		t.Skipf("no leases here: %v", err)
	}
}

// A photo on storage that does not answer any more is refused when its time is
// over; the others are measured.
func TestStalledPhotoIsRefused(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.jpg", "c.jpg"} {
		writeFile(t, filepath.Join(dir, name), cardless(t, 320, 240))
	}
	holdBack(t, filepath.Join(dir, "b.jpg"))
	in := newBatch(t, "", time.Minute)
	in.reading = time.Second
	photos := []photoFile{{path: filepath.Join(dir, "a.jpg"), name: "a.jpg"}, {path: filepath.Join(dir, "b.jpg"), name: "b.jpg"}, {path: filepath.Join(dir, "c.jpg"), name: "c.jpg"}}
	var said strings.Builder
	done, faults, err := in.measureAll(t.Context(), &terminal{out: &said, err: &said}, photos, 1)
	if err != nil || len(faults) > 0 || len(done) != 3 {
		t.Fatalf("%d done, faults %q, %v", len(done), faults, err)
	}
	for i, want := range []string{"no_card", "unreadable", "no_card"} {
		if done[i].Refusal == nil || done[i].Refusal.Reason != want {
			t.Errorf("%s: %+v, want %s", done[i].File, done[i].Refusal, want)
		}
	}
	if got, want := done[1].Refusal.Detail, "reading the file took more than 1 s"; got != want {
		t.Errorf("refused as %q, want %q", got, want)
	}
}

// lockedBuffer is written and read at once.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// stoppedAt starts a run, waits until it is told to, sends it a signal once, and
// gives what it left.
func stoppedAt(t *testing.T, dir string, s syscall.Signal, when func(stderr *lockedBuffer) bool, args ...string) ran {
	t.Helper()
	c := exec.Command(binary, args...)
	c.Dir = dir
	var out bytes.Buffer
	stderr := &lockedBuffer{}
	c.Stdout, c.Stderr = &out, stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { _ = c.Wait(); close(ended) }()
	guard := time.NewTimer(time.Minute)
	defer guard.Stop()
	for !when(stderr) {
		select {
		case <-ended:
			t.Fatalf("it ended before its time\n%s%s", out.String(), stderr.String())
		case <-guard.C:
			t.Fatalf("the moment never came\n%s", stderr.String())
		case <-time.After(5 * time.Millisecond):
		}
	}
	if err := c.Process.Signal(s); err != nil {
		t.Fatal(err)
	}
	select {
	case <-ended:
	case <-guard.C:
		_ = c.Process.Kill()
		<-ended
		t.Fatalf("it did not end\n%s", stderr.String())
	}
	return ran{c.ProcessState.ExitCode(), out.String(), stderr.String()}
}

// The first Ctrl-C writes what is done, whatever the batch is waiting for.
func TestStopWhileStorageStalls(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	holdBack(t, filepath.Join(dir, "photos/z.jpg"))
	r := stoppedAt(t, dir, syscall.SIGINT, func(stderr *lockedBuffer) bool {
		return strings.Contains(stderr.String(), "[1/2] a.jpg")
	}, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache", "--jobs", "1")
	r.said(t, exitStopped, "stopped: 1 of 2 photos done and written")
	if d := inspectionIn(t, filepath.Join(dir, "out")); len(d.Photos) != 1 || d.Photos[0].File != "a.jpg" {
		t.Errorf("%d photos are written", len(d.Photos))
	}
}

// What never answers is left when its time is over or the run is stopped.
func TestInTime(t *testing.T) {
	never := make(chan struct{})
	stopped, stop := context.WithCancel(t.Context())
	stop()
	broken := errors.New("broken")
	answers := func(v int, err error) func(context.Context) (int, error) {
		return func(context.Context) (int, error) { return v, err }
	}
	waits := func(context.Context) (int, error) { <-never; return 1, nil }
	for _, c := range []struct {
		name  string
		ctx   context.Context
		limit time.Duration
		do    func(context.Context) (int, error)
		v     int
		err   error
	}{
		{"an answer", t.Context(), time.Minute, answers(7, nil), 7, nil},
		{"an error", t.Context(), time.Minute, answers(7, broken), 7, broken},
		{"late", t.Context(), time.Millisecond, waits, 0, errLate},
		{"stopped", stopped, time.Minute, waits, 0, context.Canceled},
	} {
		if v, err := inTime(c.ctx, c.limit, "it", c.do); v != c.v || !errors.Is(err, c.err) {
			t.Errorf("%s: %d, %v", c.name, v, err)
		}
	}
	close(never)
}

// silent is a folder of results that stops to answer.
type silent struct {
	*cache.Store
	from  int // how many are answered
	calls int
	never chan struct{}
}

// answers is false, after the test, when the call was never answered.
func (s *silent) answers() bool {
	if s.calls++; s.calls <= s.from {
		return true
	}
	<-s.never
	return false
}

func (s *silent) Get(key string, v any) bool { return s.answers() && s.Store.Get(key, v) }

func (s *silent) Put(key string, v any) error {
	if !s.answers() {
		return errors.New("never answered")
	}
	return s.Store.Put(key, v)
}

// A cache that does not answer is done without.
func TestStalledCache(t *testing.T) {
	dir := t.TempDir()
	store, err := cache.Open(dir, cache.Options{Secret: make([]byte, 32), Program: "one", Limit: cache.DefaultLimit})
	if err != nil {
		t.Fatal(err)
	}
	never := make(chan struct{})
	t.Cleanup(func() { close(never) })
	for _, last := range []string{"reading", "writing"} {
		folder := &silent{Store: store, from: 2, never: never}
		var warned []error
		k := &keeper{store: folder, limit: time.Minute, warn: func(err error) { warned = append(warned, err) }}
		key := cache.Key("parts")
		k.keepParts(t.Context(), key, page.Parts{{ID: "a"}})
		if got := k.parts(t.Context(), key); len(got) != 1 || len(warned) > 0 {
			t.Fatalf("kept %v, warned %v", got, warned)
		}
		k.limit = time.Millisecond
		for range 3 {
			if last == "writing" {
				k.keepParts(t.Context(), key, page.Parts{{ID: "a"}})
			} else if got := k.parts(t.Context(), key); got != nil {
				t.Errorf("kept %v", got)
			}
		}
		if folder.calls != 3 {
			t.Errorf("%s: it was asked %d times, want once after it was silent", last, folder.calls-2)
		}
		if len(warned) != 1 || !errors.Is(warned[0], errLate) {
			t.Errorf("%s: warned %v", last, warned)
		}
	}
}

// A pipe, a socket, a device or a link to one is told, in the place of every
// file that a run reads.
func TestOtherFilesAreToldNotReadFrom(t *testing.T) {
	plants := map[string]func(path string) error{
		"a pipe": func(path string) error { return syscall.Mkfifo(path, 0o644) },
		"a link to a pipe": func(path string) error {
			if err := syscall.Mkfifo(path+"-pipe", 0o644); err != nil {
				return err
			}
			return os.Symlink(path+"-pipe", path)
		},
		"a link to a device": func(path string) error { return os.Symlink("/dev/zero", path) },
		"a socket": func(path string) error {
			l, err := net.Listen("unix", path)
			if err == nil {
				l.(*net.UnixListener).SetUnlinkOnClose(false)
				err = l.Close()
			}
			return err
		},
	}
	for _, c := range []struct {
		at, command string
		status      int
	}{
		{"photos/b.jpg", "inspect photos --schedule lot.yaml --out out --no-cache", exitLook},
		{"lot-2.yaml", "inspect photos --schedule lot-2.yaml --out out --no-cache", exitUsage},
		{"cards.json", "inspect photos --schedule lot.yaml --card cards.json --out out --no-cache", exitUsage},
		{"crews.yaml", "inspect photos --schedule lot.yaml --out out --no-cache", exitUsage},
		{"part/inspection.json", "merge part --out out", exitUsage},
		{"photos/b.jpg", "explain photos/b.jpg", exitLook},
	} {
		for what, plant := range plants {
			t.Run(what+" as "+c.at, func(t *testing.T) {
				dir, err := os.MkdirTemp("", "cg-") // a socket's path must be short
				if err != nil {
					t.Fatal(err)
				}
				t.Cleanup(func() { os.RemoveAll(dir) })
				writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
				writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
				if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, c.at)), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := plant(filepath.Join(dir, c.at)); err != nil {
					t.Fatal(err)
				}
				runIn(t, dir, strings.Fields(c.command)...).said(t, c.status, "this is no regular file")
			})
		}
	}
}
