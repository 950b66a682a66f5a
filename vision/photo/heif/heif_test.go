package heif

import (
	"errors"
	"strings"
	"testing"
)

// needLibrary skips where there is none.
func needLibrary(t *testing.T) {
	t.Helper()
	if _, err := Decoder(); err != nil {
		t.Skip(err)
	}
}

func TestDecoderTellsItsVersion(t *testing.T) {
	needLibrary(t)
	if name, _ := Decoder(); !strings.HasPrefix(name, "libheif 1.") {
		t.Errorf("decoder %q", name)
	}
}

// What is no picture is an error of one line; room of another size than the
// picture's is not written to.
func TestDecodeRefuses(t *testing.T) {
	needLibrary(t)
	ftyp := []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
	for name, c := range map[string]struct {
		file          []byte
		room          int
		width, height int
	}{
		"nothing":          {nil, 12, 2, 2},
		"text":             {[]byte("Dear crew, the photos are on the other phone."), 12, 2, 2},
		"brands alone":     {ftyp, 12, 2, 2},
		"too little room":  {ftyp, 11, 2, 2},
		"no size":          {ftyp, 0, 0, 2},
		"a negative size":  {ftyp, 12, -2, -2},
		"too much of room": {ftyp, 13, 2, 2},
	} {
		err := Decode(c.file, 1, make([]byte, c.room), c.width, c.height)
		var missing *Missing
		if err == nil || errors.As(err, &missing) || strings.ContainsAny(err.Error(), "\n\r") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestMissingTellsWhy(t *testing.T) {
	err := error(&Missing{Why: "libheif.so.1 is not here", Package: packageLibrary})
	if want := "no decoder for HEIC: libheif.so.1 is not here"; err.Error() != want {
		t.Errorf("%q, want %q", err, want)
	}
}
