package ledger

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzDamage overwrites some bytes of a ledger anywhere: whatever is asked of it
// then answers or says one line, and a file that cannot be opened is left as it is.
func FuzzDamage(f *testing.F) {
	whole, err := os.ReadFile(firstSchema)
	if err != nil {
		f.Fatal(err)
	}
	for at := 0; at < len(whole); at += len(whole) / 40 {
		f.Add(uint32(at), []byte{0xff, 0, 0x81, 0x7f, 0xff, 0xff, 0xff, 0xff, 3})
	}
	f.Add(uint32(16), []byte{0, 1}) // the page size
	f.Add(uint32(28), []byte{0xff, 0xff, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, at uint32, with []byte) {
		data := bytes.Clone(whole)
		copy(data[int(at)%len(data):], with)
		path := filepath.Join(t.TempDir(), "l")
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(path)
		if err != nil {
			told(t, err)
			if after, _ := os.ReadFile(path); !bytes.Equal(after, data) {
				t.Error("a file that cannot be opened was changed")
			}
			return
		}
		defer l.Close()
		ctx := context.Background()
		_, err = l.List(ctx)
		told(t, err)
		_, err = l.Crews(ctx)
		told(t, err)
		_, err = l.Of(ctx, "north", Span{})
		told(t, err)
		told(t, l.Export(ctx, io.Discard))
		_, err = l.Add(ctx, invented(50, 2, "north"))
		told(t, err)
	})
}

// told fails for an error that is not one line of the ledger's.
func told(t *testing.T, err error) {
	t.Helper()
	var of *Error
	if err != nil && (!errors.As(err, &of) || strings.Contains(err.Error(), "\n")) {
		t.Errorf("%T %v", err, err)
	}
}
