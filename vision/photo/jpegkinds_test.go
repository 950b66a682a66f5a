package photo

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"strings"
	"testing"

	"gocv.io/x/gocv"
)

// fourColours is a JPEG of four components in four scans, each coded as the grey
// picture of its own: with the standard tables both are the same bits.
func fourColours(t *testing.T, planes [4]*image.Gray, adobe bool) []byte {
	t.Helper()
	out := []byte{0xFF, markerSOI}
	if adobe { // version, flags (2), transform: none
		out = append(out, segmentOf(markerAPPE, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, 0))...)
	}
	for i, plane := range planes {
		photo := jpegOf(t, plane)
		for s := range segments(photo) {
			switch {
			case i == 0 && isFrame(s.marker):
				data := append(bytes.Clone(s.data[:5]), 4)
				for c := range byte(4) {
					data = append(data, c+1, 0x11, 0)
				}
				out = append(out, segmentOf(s.marker, data)...)
			case i == 0 && s.marker != markerSOS && s.marker != markerEOI:
				out = append(out, segmentOf(s.marker, s.data)...)
			case s.marker == markerSOS:
				out = append(out, segmentOf(markerSOS, []byte{1, byte(i + 1), 0, 0, 63, 0})...)
				at := bytes.Index(photo, segmentOf(markerSOS, s.data)) + 4 + len(s.data)
				out = append(out, photo[at:len(photo)-2]...)
			}
		}
	}
	return append(out, 0xFF, markerEOI)
}

// Files with inks carry them inverted (255: no ink), as is told by the marker
// that must be there.
func TestJPEGOfInks(t *testing.T) {
	const w, h = 64, 48
	var planes [4]*image.Gray
	for i := range planes {
		planes[i] = image.NewGray(image.Rect(0, 0, w, h))
	}
	want := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
	defer want.Close()
	for y := range h {
		for x := range w {
			ink := [4]int{255 * x / w, 255 * y / h, 255 - 255*x/w, 255 - 60*y/h}
			for i, v := range ink {
				planes[i].SetGray(x, y, color.Gray{uint8(v)})
			}
			for c := range 3 { // what is left of white light behind an ink and black
				want.SetUCharAt(y, 3*x+2-c, uint8(ink[c]*ink[3]/255))
			}
		}
	}
	p := mustDecode(t, fourColours(t, planes, true))
	if d := meanDifference(p.Mat, want); d > 4 {
		t.Errorf("pixels differ by %.1f levels", d)
	}
	checkRefusal(t, "inks that are not told", fourColours(t, planes, false), "does not tell how")
}

func TestProgressiveJPEG(t *testing.T) {
	m := smooth(120, 72)
	defer m.Close()
	b := encoded(t, ".jpg", m, gocv.IMWriteJpegQuality, 95, gocv.IMWriteJpegProgressive, 1)
	if !bytes.Contains(b, []byte{0xFF, markerSOF2, 0}) {
		t.Fatal("the encoder made no progressive JPEG")
	}
	p := mustDecode(t, b)
	if d := meanDifference(p.Mat, m); d > 3 {
		t.Errorf("pixels differ by %.1f levels", d)
	}
}

// Files that hold several JPEGs: two views (MPO, CIPA DC-007), or a picture and
// its gain map (ISO 21496-1). The first is the photo; a smaller one behind it,
// also one that is cut, does no harm.
func TestFirstOfSeveralJPEGs(t *testing.T) {
	m := smooth(120, 72)
	defer m.Close()
	exif := app1(camera([]field{shortField(0x0112, 6)}, nil, nil))
	views := segmentOf(0xE2, append([]byte("MPF\x00"), tiffOf(le, map[uint32][]field{8: {longField(0xB001, 2)}}, nil)[:64]...))
	gain := app1([]byte(strings.Repeat(" ", 9)))
	first := encoded(t, ".jpg", m)
	small := smooth(30, 18)
	defer small.Close()
	second := encoded(t, ".jpg", small)
	for name, b := range map[string][]byte{
		"two views":         append(insert(first, exif, views), first...),
		"gain map":          append(insert(first, exif, gain, views), second...),
		"gain map, cut":     append(insert(first, exif, views), second[:200]...),
		"thumbnail in EXIF": insert(first, app1(append(camera([]field{shortField(0x0112, 6)}, nil, nil), second...))),
	} {
		p := mustDecode(t, b)
		if p.Facts.Orientation != 6 {
			t.Errorf("%s: orientation %d", name, p.Facts.Orientation)
		}
		if d := meanDifference(p.Mat, turned(t, m, 6)); d > 3 {
			t.Errorf("%s: %d x %d pixels differ by %.1f levels", name, p.Width(), p.Height(), d)
		}
	}
}

// What is no photo is named.
func TestNamesOfOtherFiles(t *testing.T) {
	ftyp := func(brand, also string) []byte { return boxOf("ftyp", []byte(brand), u32(0), []byte(also)) }
	for _, c := range []struct {
		want string
		b    []byte
	}{
		{"the file is a video", ftyp("qt  ", "qt  ")}, // beside a live photo
		{"the file is a video", ftyp("mp42", "isom")},
		{"the file is a video", []byte("RIFF\x00\x00\x00\x00AVI LIST")},
		{"an AVIF picture", ftyp("avif", "mif1")},
		{"a series of HEIC pictures", ftyp("hevc", "msf1")},
		{"a raw file", ftyp("crx ", "crx ")},
		{"a raw file", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00")},
	} {
		checkRefusal(t, fmt.Sprintf("%.16q", c.b), c.b, c.want)
	}
}
