package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"coursegauge/report/regular"
)

// readLimit is how long one file may take to be read, far more than any storage
// needs that is still there.
const readLimit = 2 * time.Minute

// errLate is the answer to what did not end in time.
var errLate = errors.New("took more than")

// inTime does something that a file system may never answer. When the context
// ends, or the time is over, it is left to itself: no call of the system can be
// taken back.
func inTime[T any](ctx context.Context, limit time.Duration, what string, do func(context.Context) (T, error)) (T, error) {
	type answer struct {
		v   T
		err error
	}
	bounded, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	got := make(chan answer, 1)
	go func() {
		v, err := do(bounded)
		got <- answer{v, err}
	}()
	var none T
	select {
	case a := <-got:
		return a.v, a.err
	case <-bounded.Done():
		if ctx.Err() != nil {
			return none, ctx.Err()
		}
		return none, fmt.Errorf("%s %w %.0f s", what, errLate, limit.Seconds())
	}
}

// openRegular opens a regular file of bearable size. One that another program
// holds is waited for until the context ends.
func openRegular(ctx context.Context, path string) (*os.File, error) {
	f, err := regular.Open(path)
	for errors.Is(err, regular.ErrHeld) && ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-time.After(50 * time.Millisecond):
			f, err = regular.Open(path)
		}
	}
	if errors.Is(err, regular.ErrOther) {
		return nil, err
	}
	if err != nil {
		return nil, fmt.Errorf("the file cannot be opened: %w", cause(err))
	}
	info, err := f.Stat()
	switch {
	case err != nil:
		err = fmt.Errorf("the file cannot be opened: %w", cause(err))
	case info.Size() > maxFile:
		err = fmt.Errorf("the file has %d MB; a photo has less than %d", info.Size()>>20, maxFile>>20)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// readFrom reads something of a folder that inspect wrote. Storage that does not
// answer ends it as Ctrl-C does.
func readFrom[T any](ctx context.Context, do func() (T, error)) (T, error) {
	v, err := inTime(ctx, readLimit, "reading it", func(context.Context) (T, error) { return do() })
	if err != nil && ctx.Err() != nil {
		err = errStopped
	}
	return v, err
}

// readFile reads a regular file of bearable size.
func readFile(path string) ([]byte, error) {
	return inTime(context.Background(), readLimit, "reading the file", func(ctx context.Context) ([]byte, error) {
		f, err := openRegular(ctx, path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		data, err := io.ReadAll(io.LimitReader(f, maxFile))
		if err != nil {
			return nil, fmt.Errorf("the file cannot be read: %w", cause(err))
		}
		return data, nil
	})
}

// hashFile is the SHA-256 of a regular file of bearable size, in hexadecimal.
func hashFile(ctx context.Context, path string, limit time.Duration) (string, error) {
	return inTime(ctx, limit, "reading the file", func(ctx context.Context) (string, error) {
		f, err := openRegular(ctx, path)
		if err != nil {
			return "", err
		}
		defer f.Close()
		h := sha256.New()
		if _, err := io.Copy(h, untilDone{ctx, io.LimitReader(f, maxFile)}); err != nil {
			return "", fmt.Errorf("the file cannot be read: %w", cause(err))
		}
		return hex.EncodeToString(h.Sum(nil)), nil
	})
}

// untilDone reads no further when the context has ended.
type untilDone struct {
	ctx context.Context
	io.Reader
}

func (u untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.Reader.Read(p)
}

func hashText(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}
