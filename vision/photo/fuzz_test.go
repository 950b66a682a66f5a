package photo

import (
	"bytes"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"testing"
)

// FuzzFacts throws TIFF bodies at the guard and what it lets through at the
// library. Run it with little address space (ulimit -v 6000000): memory that a
// large machine has to give hides a count that was believed.
func FuzzFacts(f *testing.F) {
	for _, body := range hostile() {
		if len(body) < 8192 {
			f.Add(body)
		}
	}
	for _, file := range []string{"derived-offset-plus0530.jpg", "gps-dms-little-endian.jpg", "phone-gps-bad-makernote-offset.jpg"} {
		f.Add(jpegEXIF(readFile(f, exifDir, file)))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		s := sift(body)
		if len(s.body) > maxSifted {
			t.Fatalf("%d bytes let through", len(s.body))
		}
		if s.body != nil {
			if _, err := decode(s.body); err != nil {
				t.Fatalf("the library refuses what the guard lets through: %v", err)
			}
			if again := sift(s.body); !bytes.Equal(again.body, s.body) || again.problem != "" {
				t.Fatalf("sifting twice changes the body: %q", again.problem)
			}
		}
		checkFacts(t, readBody(body))
	})
}

// FuzzHeader compares the sizes read here with those of Go's own decoders,
// which read the same headers in their own way.
func FuzzHeader(f *testing.F) {
	photo, drawing := jpegOf(f, scene(16, 8)), pngOf(f, scene(16, 8))
	f.Add(photo)
	f.Add(drawing)
	f.Add(insert(photo, app1(camera(nil, nil, nil)), []byte{0xFF, 0xFF, 0xFF}))
	f.Add(frame(markerSOF2, 40000, 40000, 8, 3))
	f.Add(resized(drawing, 40000, 40000))
	f.Add([]byte("\x00\x00\x00\x18ftypheic"))
	f.Fuzz(func(t *testing.T, b []byte) {
		checkFacts(t, ReadFacts(b))
		h, err := ReadHeader(b)
		if err != nil {
			return
		}
		if h.Width <= 0 || h.Height <= 0 {
			t.Fatalf("size %d x %d", h.Width, h.Height)
		}
		_ = formatOf(b).sound(b, h) // must end, whatever it answers
		c, format, err := image.DecodeConfig(bytes.NewReader(b))
		if err == nil && (c.Width != h.Width || c.Height != h.Height || format != h.Format) {
			t.Fatalf("%+v, but Go's decoder reads %s %d x %d", h, format, c.Width, c.Height)
		}
	})
}
