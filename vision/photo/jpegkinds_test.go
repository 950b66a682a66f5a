package photo

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"
	"testing"

	"gocv.io/x/gocv"
)

// planesJPEG is a JPEG of components in scans of their own, each coded as the grey
// picture that it is: with the standard tables both are the same bits. sampling
// are the factors of each (T.81, A.1.1); adobe the transform that the Adobe
// marker tells, negative without one.
func planesJPEG(t *testing.T, planes []*image.Gray, sampling []byte, adobe int) []byte {
	t.Helper()
	out := []byte{0xFF, markerSOI}
	if adobe >= 0 { // version, flags (2), transform
		out = append(out, segmentOf(markerAPPE, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, byte(adobe)))...)
	}
	for i, plane := range planes {
		photo := jpegOf(t, plane)
		for s := range segments(photo) {
			switch {
			case i == 0 && isFrame(s.marker):
				data := append(bytes.Clone(s.data[:5]), byte(len(planes)))
				for c := range planes {
					data = append(data, byte(c+1), sampling[c], 0)
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

// wave is a grey picture of gentle waves; k tells one from another.
func wave(w, h, k int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i := range m.Pix {
		x, y := float64(i%w)/float64(w), float64(i/w)/float64(h)
		m.Pix[i] = uint8(128 + 60*math.Sin(3*x+float64(k))*math.Cos(4*y-2*float64(k)*x))
	}
	return m
}

// What libjpeg's planes come to is what OpenCV's pixels do, whatever the colours'
// sampling, the turning and the sides: a last band that is not full, sides that
// end within a block, odd ones. OpenCV spreads the colours more smoothly, so they
// differ by some levels at edges.
func TestPlanesAgreeWithPixels(t *testing.T) {
	for _, c := range []struct {
		name     string
		w, h     int
		sampling []byte
		adobe    int
	}{
		{"4:2:0", 96, 64, []byte{0x22, 0x11, 0x11}, -1},
		{"4:2:0, within a block", 70, 46, []byte{0x22, 0x11, 0x11}, -1},
		{"4:2:2", 70, 46, []byte{0x21, 0x11, 0x11}, -1},
		{"4:4:0", 70, 46, []byte{0x12, 0x11, 0x11}, -1},
		{"4:4:4", 70, 46, []byte{0x11, 0x11, 0x11}, -1},
		{"4:1:1", 72, 46, []byte{0x41, 0x11, 0x11}, -1},
		{"grey", 70, 46, []byte{0x11}, -1},
		{"red, green, blue", 70, 46, []byte{0x11, 0x11, 0x11}, 0},
		{"odd sides", 71, 45, []byte{0x22, 0x11, 0x11}, -1},
	} {
		var planes []*image.Gray
		for i, f := range c.sampling {
			across, down := int(c.sampling[0]>>4)/int(f>>4), int(c.sampling[0]&15)/int(f&15)
			planes = append(planes, wave((c.w+across-1)/across, (c.h+down-1)/down, i))
		}
		b := planesJPEG(t, planes, c.sampling, c.adobe)
		for n := 1; n <= 8; n++ {
			turnedSo := insert(b, app1(camera([]field{shortField(0x0112, uint16(n))}, nil, nil)))
			p := mustDecode(t, turnedSo)
			want, err := stored(openCVPixels)(turnedSo, p.Header, n)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = want.Close() })
			if d := gocv.NormWithMats(p.Gray, want.Gray, gocv.NormInf); p.Width() != want.Width() || d > 2 {
				t.Errorf("%s, %d: %d x %d px, grey levels differ by up to %.0f", c.name, n, p.Width(), p.Height(), d)
			}
			if d := meanDifference(p.halves[0], want.halves[0]); d > 1 {
				t.Errorf("%s, %d: colours differ by %.1f levels", c.name, n, d)
			}
		}
	}
}

// Files with inks carry them inverted (255: no ink), as is told by the marker
// that must be there.
func TestJPEGOfInks(t *testing.T) {
	const w, h = 64, 48
	planes := make([]*image.Gray, 4)
	for i := range planes {
		planes[i] = image.NewGray(image.Rect(0, 0, w, h))
	}
	sampling := []byte{0x11, 0x11, 0x11, 0x11}
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
	p := mustDecode(t, planesJPEG(t, planes, sampling, 0))
	if d := meanDifference(colours(t, p), want); d > 4 {
		t.Errorf("pixels differ by %.1f levels", d)
	}
	checkRefusal(t, "inks that are not told", planesJPEG(t, planes, sampling, -1), "does not tell how")
}

func TestProgressiveJPEG(t *testing.T) {
	m := smooth(120, 72)
	defer m.Close()
	b := encoded(t, ".jpg", m, gocv.IMWriteJpegQuality, 95, gocv.IMWriteJpegProgressive, 1)
	if !bytes.Contains(b, []byte{0xFF, markerSOF2, 0}) {
		t.Fatal("the encoder made no progressive JPEG")
	}
	p := mustDecode(t, b)
	if d := meanDifference(colours(t, p), m); d > 3 {
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
		if d := meanDifference(colours(t, p), turned(t, m, 6)); d > 3 {
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
