package photo

import (
	"bytes"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"testing"

	_ "golang.org/x/image/tiff"
	_ "golang.org/x/image/webp"
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
	for _, s := range samples(f) {
		if len(s.b) < 16384 {
			f.Add(s.b)
		}
	}
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
		if h.Format == formatHEIC {
			return // Go has no decoder of it; FuzzHEIC looks at it
		}
		c, format, err := image.DecodeConfig(bytes.NewReader(b))
		if err == nil && (c.Width != h.Width || c.Height != h.Height || format != h.Format) {
			t.Fatalf("%+v, but Go's decoder reads %s %d x %d", h, format, c.Width, c.Height)
		}
	})
}

// FuzzHEIC throws files at the reader of HEIF's index. What it lets through
// points into the file, is one picture a tile, and is no larger than it says.
func FuzzHEIC(f *testing.F) {
	c := coded{hvcC: hvcCOf(spsOf(96, 64)), data: nalOf(0x28, 1, 0x80, 1, 2, 3), w: 96, h: 64}
	exif := exifItem(camera([]field{shortField(0x0112, 6)}, nil, nil)[:1100], 6)
	f.Add(heicOf(c.item(irot(3), imir(1)), exif))
	f.Add(heicOf(append(gridOf([]coded{c, c, c, c}, 2, 190, 120, irot(1)), exif)...))
	f.Add(heicOf(itemOf{kind: "av01", properties: [][]byte{ispe(9, 9)}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		checkFacts(t, ReadFacts(b))
		if len(heicEXIF(b)) > len(b) {
			t.Fatal("more EXIF than file")
		}
		if !startsHEIC(b) {
			return
		}
		if o := heicOrientation(b); o < 1 || o > 8 {
			t.Fatalf("orientation %d", o)
		}
		h, err := heicHeader(b)
		if err != nil || h.within(0) != nil || soundHEIC(b, h) != nil {
			return
		}
		p, err := readHEIC(b)
		if err != nil {
			t.Fatal(err)
		}
		pixels := 0
		for _, id := range append(p.item.tiles, p.id) {
			if item := p.index.items[id]; item != nil && item.kind == "hvc1" {
				tile := heic{index: p.index, item: item}
				if !tile.readGeometry() {
					t.Fatal("a tile without size is let through")
				}
				pixels += tile.w * tile.h
			}
		}
		if p.item.kind == "grid" && pixels > 4*h.Width*h.Height {
			t.Fatalf("%d pixels of tiles for %d x %d", pixels, h.Width, h.Height)
		}
	})
}

// FuzzSPS reads parameter sets bit by bit.
func FuzzSPS(f *testing.F) {
	f.Add(spsOf(4032, 3024))
	f.Add(spsOf(8, 8))
	f.Add([]byte{0x42, 1, 1, 3, 0x70, 0, 0, 3, 0, 0x90})
	f.Fuzz(func(t *testing.T, unit []byte) {
		if nalType(unit) < 0 {
			return
		}
		if w, h, ok := spsSize(unit); ok && (w < 1 || h < 1 || w > 1<<17 || h > 1<<17) {
			t.Fatalf("%d x %d", w, h)
		}
	})
}
