package bag

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// stalled answers some reads, then none, as a file on a server that is gone.
type stalled struct {
	first io.Reader
	ask   chan struct{} // closed when it no longer answers
	gone  chan struct{}
}

func (s *stalled) Read(p []byte) (int, error) {
	if n, err := s.first.Read(p); err == nil {
		return n, nil
	}
	close(s.ask)
	<-s.gone
	return 0, io.EOF
}

// A read that is not answered ends a copy, and so does Ctrl-C while it waits.
func TestCopyOfWhatDoesNotAnswer(t *testing.T) {
	was := noAnswer
	defer func() { noAnswer = was }()
	for _, c := range []struct {
		name string
		wait time.Duration
		stop bool
		want error
	}{
		{"no answer", time.Millisecond, false, errNoAnswer},
		{"stopped", time.Hour, true, context.Canceled},
	} {
		noAnswer = c.wait
		ctx, cancel := context.WithCancel(context.Background())
		s := &stalled{strings.NewReader("some bytes"), make(chan struct{}), make(chan struct{})}
		if c.stop {
			go func() { <-s.ask; cancel() }()
		}
		var b strings.Builder
		if _, err := copyTo(ctx, &b, s); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
		if c.stop && b.String() != "some bytes" {
			t.Errorf("%s: %q", c.name, b.String())
		}
		close(s.gone)
		cancel()
	}
}

// A pipe or a device in the place of a bag does not block, also at the end of a link.
func TestBagsThatAreNone(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe.zip")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{pipe, "/dev/zero", "/dev/null"} {
		if s, err := Open(path); err == nil || !strings.Contains(err.Error(), "no regular file") {
			t.Errorf("%s: %v, %v", path, s, err)
		}
	}
}
