package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
	"sync"
	"testing"

	"gocv.io/x/gocv"
)

func mustDecode(t *testing.T, b []byte) *Picture {
	t.Helper()
	p, err := Decode(b, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.Close() })
	return p
}

// colours is a picture in colour.
func colours(t *testing.T, p *Picture) gocv.Mat {
	t.Helper()
	m, err := p.BGR()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = m.Close() })
	return m
}

// outsideDigit is a grey copy of a reference photo with the digit, which
// differs from file to file, painted over.
func outsideDigit(t *testing.T, m gocv.Mat) gocv.Mat {
	t.Helper()
	grey := gocv.NewMat()
	t.Cleanup(func() { _ = grey.Close() })
	if err := gocv.CvtColor(m, &grey, gocv.ColorBGRToGray); err != nil {
		t.Fatal(err)
	}
	if err := gocv.Rectangle(&grey, image.Rect(225, 145, 375, 305), color.RGBA{}, -1); err != nil {
		t.Fatal(err)
	}
	return grey
}

// correlation is Pearson's coefficient of the grey levels of two pictures of
// one size.
func correlation(t *testing.T, a, b gocv.Mat) float64 {
	t.Helper()
	if a.Cols() != b.Cols() || a.Rows() != b.Rows() {
		return 0
	}
	out := gocv.NewMat()
	defer out.Close()
	mask := gocv.NewMat()
	defer mask.Close()
	if err := gocv.MatchTemplate(a, b, &out, gocv.TmCcoeffNormed, mask); err != nil {
		t.Fatal(err)
	}
	return float64(out.GetFloatAt(0, 0))
}

// The eight published files show one picture; their description asks for a
// correlation of 0.99 outside the digit, and a wrong turn gives 0.48 at most.
func TestEightOrientationsOnePicture(t *testing.T) {
	reference := mustDecode(t, readFile(t, orientationDir, "Landscape_2.jpg"))
	want := outsideDigit(t, colours(t, reference))
	for n := 1; n <= 8; n++ {
		p := mustDecode(t, readFile(t, orientationDir, fmt.Sprintf("Landscape_%d.jpg", n)))
		if p.Facts.Orientation != n {
			t.Errorf("Landscape_%d: orientation %d", n, p.Facts.Orientation)
		}
		if p.Width() != 600 || p.Height() != 450 {
			t.Errorf("Landscape_%d: upright %d x %d, want 600 x 450", n, p.Width(), p.Height())
			continue
		}
		if stored := (n >= 5) == (p.Header.Width == 450); !stored {
			t.Errorf("Landscape_%d: stored %d x %d", n, p.Header.Width, p.Header.Height)
		}
		if r := correlation(t, outsideDigit(t, colours(t, p)), want); r < 0.99 {
			t.Errorf("Landscape_%d: correlation %.4f, want at least 0.99", n, r)
		}
	}
}

// Where pixel (0, 0) of the stored picture is seen, by CIPA DC-008, tag
// 0x0112, and where (w-1, 0) is, which tells the mirrored ones apart.
func TestUprightMovesCorners(t *testing.T) {
	const w, h = 5, 3
	for n, want := range map[int][2]image.Point{
		1: {{0, 0}, {w - 1, 0}}, 2: {{w - 1, 0}, {0, 0}},
		3: {{w - 1, h - 1}, {0, h - 1}}, 4: {{0, h - 1}, {w - 1, h - 1}},
		5: {{0, 0}, {0, w - 1}}, 6: {{h - 1, 0}, {h - 1, w - 1}},
		7: {{h - 1, w - 1}, {h - 1, 0}}, 8: {{0, w - 1}, {0, 0}},
	} {
		m := gocv.Zeros(h, w, gocv.MatTypeCV8UC3)
		m.SetUCharAt(0, 0, 100)       // blue of the first pixel
		m.SetUCharAt(0, 3*(w-1), 200) // blue of the last in the row
		m, err := upright(m, n)
		if err != nil {
			t.Fatal(err)
		}
		for i, level := range []byte{100, 200} {
			if got := m.GetUCharAt(want[i].Y, 3*want[i].X); got != level {
				t.Errorf("orientation %d: level %d at %v, want %d", n, got, want[i], level)
			}
		}
		_ = m.Close()
	}
}

func TestDecodeFacts(t *testing.T) {
	b := readFile(t, exifDir, "derived-offset-plus0530.jpg")
	p := mustDecode(t, b)
	if want := fmt.Sprintf("%x", sha256.Sum256(b)); p.SHA256 != want {
		t.Errorf("SHA-256 %s, want %s", p.SHA256, want)
	}
	if p.Facts.Taken != "2026-03-29T02:30:00+05:30" || p.Width() != 400 || p.Height() != 300 || p.Header.Width != 300 {
		t.Errorf("facts %+v of %d x %d, header %+v", p.Facts, p.Width(), p.Height(), p.Header)
	}
}

// What Decode says of every file of the reference set: "" is a picture.
func TestDecodeReferenceFiles(t *testing.T) {
	want := map[string]string{
		"count-max-uint32.jpg":               "before its frame header",
		"cut-at-128b.jpg":                    "none of JPEG",
		"date-all-zero.jpg":                  "",
		"date-year-2216-no-scan.jpg":         "before its frame header",
		"derived-cut-inside-ifd0.jpg":        "before its frame header",
		"derived-exififd-huge-offset.jpg":    "",
		"derived-exififd-points-to-ifd0.jpg": "",
		"derived-exififd-wrong-type.jpg":     "",
		"derived-offset-blank.jpg":           "",
		"derived-offset-minus0800.jpg":       "",
		"derived-offset-plus0530.jpg":        "",
		"gps-dms-little-endian.jpg":          "",
		"gps-south.jpg":                      "",
		"huge-tag-count.jpg":                 "before its frame header",
		"ifd-infinite-loop.jpg":              "",
		"ifd-points-back.jpg":                "",
		"issue-614.jpg":                      "",
		"makernote-bad-format.jpg":           "",
		"no-date-935b.jpg":                   "before its frame header",
		"phone-gps-bad-makernote-offset.jpg": "",
		"segment-length-wrong-357b.jpg":      "before its frame header",
		"soi-destroyed-613b.jpg":             "none of JPEG",
		"tiff-magic-and-offsets-wrong.jpg":   "cut short or damaged", // a marker amid its coded data swallows the end
		"tiff-magic-wrong-613b.jpg":          "cut short",
	}
	for _, e := range readExpected(t) {
		checkRefusal(t, e.File, readFile(t, exifDir, e.File), want[e.File])
	}
}

// checkRefusal decodes b and compares the refusal; "" asks for a picture.
func checkRefusal(t *testing.T, name string, b []byte, want string) {
	t.Helper()
	p, err := Decode(b, Options{})
	if err == nil {
		_ = p.Close()
		if want != "" {
			t.Errorf("%s: decoded, want a refusal with %q", name, want)
		}
		return
	}
	var u *Unreadable
	if !errors.As(err, &u) || u.Advice == "" || strings.ContainsAny(err.Error(), "\n\r") {
		t.Errorf("%s: %#v is not a one-line Unreadable with advice", name, err)
		return
	}
	if want == "" || !strings.Contains(u.Detail, want) {
		t.Errorf("%s: refused with %q, want %q", name, u.Detail, want)
	}
}

// frame is a JPEG of headers only, as large as it claims.
func frame(marker byte, w, h, precision int, components byte) []byte {
	data := []byte{byte(precision), byte(h >> 8), byte(h), byte(w >> 8), byte(w), components}
	for i := range components {
		data = append(data, i+1, 0x11, 0)
	}
	b := insert([]byte{0xFF, markerSOI}, segmentOf(marker, data), segmentOf(markerSOS, []byte{1, 1, 0, 0, 63, 0}))
	return append(b, 0x12, 0x34, 0xFF, markerEOI)
}

// resized is a PNG whose IHDR claims another size, its checksum right.
func resized(photo []byte, w, h uint32) []byte {
	ihdr := bytes.Clone(photo[16 : 16+ihdrLength])
	binary.BigEndian.PutUint32(ihdr, w)
	binary.BigEndian.PutUint32(ihdr[4:], h)
	return bytes.Join([][]byte{photo[:8], chunkOf(chunkIHDR, ihdr), photo[33:]}, nil)
}

// damaged is b with one bit of the byte at i turned over.
func damaged(b []byte, i int) []byte {
	out := bytes.Clone(b)
	out[i] ^= 1
	return out
}

func TestRefusals(t *testing.T) {
	photo, drawing := jpegOf(t, scene(64, 48)), pngOf(t, scene(64, 48))
	idat := bytes.Index(drawing, []byte(chunkIDAT))
	short := bytes.Join([][]byte{drawing[:idat-4], chunkOf(chunkIDAT, drawing[idat+4:idat+200]), chunkOf(chunkIEND, nil)}, nil)
	scan := segmentOf(markerSOS, []byte{1, 1, 0, 0, 63, 0})
	scans := append(bytes.Clone(photo[:len(photo)-2]), bytes.Repeat(scan, maxScans)...)
	scans = append(scans, 0xFF, markerEOI)
	for _, c := range []struct {
		name, want string
		b          []byte
	}{
		{"nothing", "the file is empty", nil},
		{"zero bytes", `starts with "\x00\x00`, make([]byte, 5000)},
		{"text named .jpg", `starts with "Dear crew, t"`, []byte("Dear crew, the photos are on the other phone.\n")},
		{"HEIC", "holds no index", []byte("\x00\x00\x00\x10ftypheic\x00\x00\x00\x00")},
		{"SOI alone", "before its frame header", []byte{0xFF, 0xD8, 0xFF}},
		{"JPEG without its last byte", "cut short", photo[:len(photo)-1]},
		{"JPEG cut in the scan", "cut short", photo[:len(photo)*3/4]},
		{"JPEG cut in the scan, thumbnail whole", "cut short", insert(photo[:len(photo)*3/4], app1(append(camera(nil, nil, nil), photo...)))},
		{"JPEG cut after the tables", "cut short", photo[:330]},
		{"JPEG 40000 x 40000", "40000 x 40000 pixels (1600 megapixels); the limit is 120 megapixels", frame(markerSOF0, 40000, 40000, 8, 3)},
		{"JPEG of few bytes", "take at least", frame(markerSOF0, 10000, 10000, 8, 3)},
		{"JPEG of size 0", "0 x 5 pixels", frame(markerSOF0, 0, 5, 8, 3)},
		{"JPEG CMYK", "does not tell how", frame(markerSOF0, 16, 16, 8, 4)},
		{"JPEG 12 bit", "12 bits", frame(0xC1, 16, 16, 12, 3)},
		{"JPEG lossless", "coding process 3", frame(0xC3, 16, 16, 8, 3)},
		{"JPEG arithmetic", "coding process 9", frame(0xC9, 16, 16, 8, 3)},
		{"JPEG of many scans", "65 scans; the limit is 64", scans},
		{"JPEG with its scan first", "no frame header before its first scan", insert(photo, scan)},
		{"JPEG of garbage tables", "cannot be decoded", frame(markerSOF0, 16, 16, 8, 3)},
		{"PNG signature alone", "does not begin with its header", pngSignature},
		{"PNG without its last byte", "cut short", drawing[:len(drawing)-1]},
		{"PNG cut in the data", "cut short", drawing[:len(drawing)/2]},
		{"PNG with a bit turned in the data", `chunk "IDAT"`, damaged(drawing, idat+100)},
		{"PNG with a bit turned in the header", "header of the PNG is damaged", damaged(drawing, 20)},
		{"PNG 40000 x 40000", "the limit is 120 megapixels", resized(drawing, 40000, 40000)},
		{"PNG 2^31 wide", "are read", resized(drawing, 1<<31, 1)},
		{"PNG of few bytes", "too few", resized(drawing, 10000, 10000)},
		{"PNG with half of its data", "cannot be decoded", short},
	} {
		checkRefusal(t, c.name, c.b, c.want)
	}
}

func TestPixelLimit(t *testing.T) {
	b := jpegOf(t, scene(64, 48))
	p, err := Decode(b, Options{MaxPixels: 64 * 48})
	if err != nil {
		t.Fatalf("at the limit: %v", err)
	}
	_ = p.Close()
	if _, err := Decode(b, Options{MaxPixels: 64*48 - 1}); err == nil {
		t.Error("one pixel over the limit is decoded")
	}
}

// Phones append a second picture, a film or notes behind the end.
func TestDataBehindTheEnd(t *testing.T) {
	photo := jpegOf(t, scene(64, 48))
	checkRefusal(t, "another JPEG behind", append(bytes.Clone(photo), photo[:100]...), "")
	checkRefusal(t, "zeros behind", append(bytes.Clone(photo), make([]byte, 99)...), "")
	checkRefusal(t, "text behind a PNG", append(pngOf(t, scene(9, 9)), "notes"...), "")
}

// Every kind of PNG becomes three channels of 8 bits.
func TestKindsOfPNG(t *testing.T) {
	rect := image.Rect(0, 0, 7, 5)
	palette := image.NewPaletted(rect, color.Palette{color.Black, color.White})
	for name, m := range map[string]image.Image{
		"grey": image.NewGray(rect), "grey 16": image.NewGray16(rect), "palette": palette,
		"colour 16": image.NewRGBA64(rect), "with alpha": image.NewNRGBA(rect),
	} {
		var b bytes.Buffer
		if err := png.Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		p := mustDecode(t, b.Bytes())
		if p.Gray.Type() != gocv.MatTypeCV8UC1 || p.Width() != 7 || p.Height() != 5 {
			t.Errorf("%s: type %v, %d x %d", name, p.Gray.Type(), p.Width(), p.Height())
		}
	}
}

func TestPNGTurnedByItsEXIF(t *testing.T) {
	b := pngWithEXIF(pngOf(t, scene(7, 5)), camera([]field{shortField(0x0112, 6)}, nil, nil))
	if p := mustDecode(t, b); p.Width() != 5 || p.Height() != 7 {
		t.Errorf("upright %d x %d, want 5 x 7", p.Width(), p.Height())
	}
}

// The workers of a batch decode at once: the fault of one photo must not
// become that of another.
func TestDecodeAtOnce(t *testing.T) {
	sound, broken := jpegOf(t, scene(64, 48)), frame(markerSOF0, 16, 16, 8, 3)
	var wg sync.WaitGroup
	for worker := range 4 {
		wg.Go(func() {
			for range 50 {
				if worker%2 == 0 {
					checkRefusal(t, "sound", sound, "")
				} else {
					checkRefusal(t, "broken", broken, "cannot be decoded")
				}
			}
		})
	}
	wg.Wait()
}
