package photo

import (
	"bytes"
	"image"
	"image/color"
	"strings"
	"sync"
	"testing"

	"coursegauge/vision/photo/heif"

	"gocv.io/x/gocv"
)

// smooth is a scene without fine detail, in which no two corners look alike: any
// coding keeps its levels to a few units, and a wrong turn is off by far more.
func smooth(w, h int) gocv.Mat {
	m := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
	for y := range h {
		for x := range w {
			for c, v := range []int{255 * x / w, 255 * y / h, 255 * (w - x + 2*y) / (w + 2*h)} {
				m.SetUCharAt(y, 3*x+c, uint8(v))
			}
		}
	}
	return m
}

func encoded(t testing.TB, ending string, m gocv.Mat, params ...int) []byte {
	t.Helper()
	if len(params) == 0 {
		params = []int{gocv.IMWriteJpegQuality, 95} // one must be given; other formats pass it over
	}
	b, err := gocv.IMEncodeWithParams(gocv.FileExt(ending), m, params)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	return bytes.Clone(b.GetBytes())
}

// meanDifference of the levels of two pictures; 255 when they differ in size.
func meanDifference(a, b gocv.Mat) float64 {
	if a.Cols() != b.Cols() || a.Rows() != b.Rows() || a.Type() != b.Type() {
		return 255
	}
	return gocv.NormWithMats(a, b, gocv.NormL1) / float64(3*a.Cols()*a.Rows())
}

// turned is the picture as it is to be seen in an orientation.
func turned(t *testing.T, m gocv.Mat, orientation int) gocv.Mat {
	t.Helper()
	u, err := upright(m.Clone(), orientation)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = u.Close() })
	return u
}

// Every way to turn and mirror, alone and together, with the EXIF tag silent,
// agreeing and contradicting: the container is followed, once. The turns are
// those of ISO/IEC 23008-12:2022, 6.5.10 (to the left) and 6.5.12 (0: top and
// bottom change places), written as orientations of CIPA DC-008.
func TestHEICTurnsOnce(t *testing.T) {
	m := smooth(120, 72)
	defer m.Close()
	c := encodeHEVC(t, encoded(t, ".png", m))
	for name, want := range map[string]struct {
		properties  [][]byte
		orientation int
	}{
		"nothing":                       {nil, 1},
		"a turn":                        {[][]byte{irot(1)}, 8},
		"two turns":                     {[][]byte{irot(2)}, 3},
		"three turns":                   {[][]byte{irot(3)}, 6},
		"top and bottom":                {[][]byte{imir(0)}, 4},
		"left and right":                {[][]byte{imir(1)}, 2},
		"a turn, then left and right":   {[][]byte{irot(1), imir(1)}, 7},
		"a turn, then top and bottom":   {[][]byte{irot(1), imir(0)}, 5},
		"left and right, then a turn":   {[][]byte{imir(1), irot(1)}, 5},
		"top and bottom, then a turn":   {[][]byte{imir(0), irot(1)}, 7},
		"three turns, left and right":   {[][]byte{irot(3), imir(1)}, 5},
		"two turns, top and bottom":     {[][]byte{irot(2), imir(0)}, 2},
		"three turns, top and bottom":   {[][]byte{irot(3), imir(0)}, 7},
		"two turns, and left and right": {[][]byte{irot(2), imir(1)}, 4},
	} {
		for _, tag := range []uint16{0, 1, 6, 3} {
			items := []itemOf{c.item(want.properties...)}
			if tag > 0 {
				items = append(items, exifItem(camera([]field{shortField(0x0112, tag)}, nil, nil), 6*int(tag&1)))
			}
			p := mustDecode(t, heicOf(items...))
			if p.Facts.Orientation != want.orientation {
				t.Errorf("%s, tag %d: orientation %d, want %d", name, tag, p.Facts.Orientation, want.orientation)
			}
			if d := meanDifference(colours(t, p), turned(t, m, want.orientation)); d > 3 {
				t.Errorf("%s, tag %d: %d x %d pixels differ by %.1f levels", name, tag, p.Width(), p.Height(), d)
			}
		}
	}
}

// The size behind the turn means the turned picture (written by libheif 1.15).
func TestHEICSizeBehindTheTurn(t *testing.T) {
	m := smooth(120, 72)
	defer m.Close()
	c := encodeHEVC(t, encoded(t, ".png", m))
	item := c.item()
	item.properties = [][]byte{boxOf("hvcC", c.hvcC), irot(1), ispe(72, 120)}
	p := mustDecode(t, heicOf(item))
	if d := meanDifference(colours(t, p), turned(t, m, 8)); d > 3 || p.Header.Width != 120 {
		t.Errorf("stored %d wide, pixels differ by %.1f levels", p.Header.Width, d)
	}
}

// tilesOf cuts a picture into coded tiles, the last of each row and column padded.
func tilesOf(t testing.TB, m gocv.Mat, side int) (tiles []coded, columns int) {
	t.Helper()
	columns = (m.Cols() + side - 1) / side
	rows := (m.Rows() + side - 1) / side
	padded := gocv.NewMat()
	defer padded.Close()
	if err := gocv.CopyMakeBorder(m, &padded, 0, rows*side-m.Rows(), 0, columns*side-m.Cols(), gocv.BorderReplicate, color.RGBA{}); err != nil {
		t.Fatal(err)
	}
	for y := range rows {
		for x := range columns {
			tile := padded.Region(image.Rect(x*side, y*side, (x+1)*side, (y+1)*side))
			tiles = append(tiles, encodeHEVC(t, encoded(t, ".png", tile)))
			_ = tile.Close()
		}
	}
	return tiles, columns
}

// Phones store a grid of tiles, turned as a whole, with EXIF and a second
// picture beside it.
func TestHEICGrid(t *testing.T) {
	m := smooth(150, 100)
	defer m.Close()
	tiles, columns := tilesOf(t, m, 64)
	items := gridOf(tiles, columns, 150, 100, irot(3))
	exif := exifItem(camera([]field{shortField(0x0112, 6), asciiField(0x0110, "Example Phone 1")}, []field{asciiField(0x9003, "2026:05:01 16:20:05")}, nil), 6)
	items[2].pieces, exif.pieces = 2, 3
	p := mustDecode(t, heicOf(append(items, exif, tiles[0].item())...))
	if d := meanDifference(colours(t, p), turned(t, m, 6)); d > 3 {
		t.Errorf("%d x %d pixels differ by %.1f levels", p.Width(), p.Height(), d)
	}
	name, err := heif.Decoder()
	if err != nil || !strings.HasPrefix(name, "libheif 1.") {
		t.Errorf("decoder %q, %v", name, err)
	}
	want := Facts{Orientation: 6, Decoder: name, Device: "Example Phone 1", Taken: "2026-05-01T16:20:05"}
	if p.Facts != want {
		t.Errorf("facts %+v, want %+v", p.Facts, want)
	}
}

// Ten bits a sample come as eight.
func TestHEICOfTenBits(t *testing.T) {
	m := smooth(128, 64)
	defer m.Close()
	deep := gocv.NewMat()
	defer deep.Close()
	if err := m.ConvertToWithParams(&deep, gocv.MatTypeCV16UC3, 257, 0); err != nil {
		t.Fatal(err)
	}
	p := mustDecode(t, heicOf(encodeHEVC(t, encoded(t, ".png", deep), "-b", "10").item()))
	if d := meanDifference(colours(t, p), m); d > 3 {
		t.Errorf("pixels differ by %.1f levels", d)
	}
}

// What can be wrong with a HEIC, told before its pixels are decoded.
func TestHEICRefusals(t *testing.T) {
	m := smooth(128, 64)
	defer m.Close()
	c := encodeHEVC(t, encoded(t, ".png", m))
	sound := heicOf(c.item())
	tile, other := c, c
	tile.w, tile.h = 128, 64
	other.w = 256
	grid := func(w, h, columns int, tiles ...coded) []byte { return heicOf(gridOf(tiles, columns, w, h)...) }
	missing := gridOf([]coded{c, c}, 2, 256, 64)
	missing[0].tiles = missing[0].tiles[:1]
	sized := func(w, h int) []byte {
		item := c.item()
		item.properties[1] = ispe(w, h)
		return heicOf(item)
	}
	edited := func(data []byte) []byte { d := c; d.data = data; return heicOf(d.item()) }
	for _, x := range []struct {
		name, want string
		b          []byte
	}{
		{"sound", "", sound},
		{"cut in its last byte", "cut short", sound[:len(sound)-1]},
		{"cut in its index", "cut short", sound[:100]},
		{"40000 x 40000", "1600 megapixels); the limit is 120 megapixels", sized(40000, 40000)},
		{"smaller than its data", "its data 128 x 64", sized(16, 16)},
		{"larger than its data", "the data 128 x 64", sized(130, 64)},
		{"without size", "does not tell the size", sized(0, 64)},
		{"two pictures in one", "2 pictures where one belongs", edited(append(bytes.Clone(c.data), c.data...))},
		{"without a picture", "0 pictures where one belongs", edited(nil)},
		{"damaged lengths", "do not fill", edited(c.data[:len(c.data)-3])},
		{"grid", "", grid(256, 64, 2, c, c)},
		{"grid of fewer tiles", "has 1 tiles; 2 x 1 are needed", heicOf(missing...)},
		{"grid of tiles of two sizes", "differ in size", grid(256, 64, 2, c, other)},
		{"grid larger than its tiles", "do not make", grid(257, 64, 2, c, c)},
		{"grid with tiles to spare", "do not make", grid(128, 64, 2, c, c)},
		{"grid of itself", "of a kind that is not read", func() []byte {
			g := gridOf([]coded{c, c}, 2, 256, 64)
			g[0].tiles = []int{1, 1}
			return heicOf(g...)
		}()},
		{"AVIF", "AVIF", heicOf(itemOf{kind: "av01", properties: [][]byte{ispe(9, 9)}})},
		{"overlay", `kind "iovl"`, heicOf(itemOf{kind: "iovl", properties: [][]byte{ispe(9, 9)}})},
		{"no coding", "how its picture is coded", heicOf(itemOf{kind: "hvc1", data: c.data, properties: [][]byte{ispe(128, 64)}})},
	} {
		checkRefusal(t, "HEIC "+x.name, x.b, x.want)
	}
}

// A machine without the library says which package to install, on one line.
func TestHEICWithoutDecoder(t *testing.T) {
	m := smooth(128, 64)
	defer m.Close()
	b := heicOf(encodeHEVC(t, encoded(t, ".png", m)).item())
	defer func() { decodeHEIF = heif.Decode }()
	decodeHEIF = func([]byte, uint32, []byte, int, int) error {
		return &heif.Missing{Why: "not here", Package: "libheif1"}
	}
	checkRefusal(t, "without libheif", b, "this machine has no decoder for HEIC")
	if _, err := Decode(b, Options{}); err == nil || !strings.Contains(err.Error(), "apt-get install libheif1") {
		t.Errorf("%v does not name the package", err)
	}
}

// Photos that are decoded at once do not disturb each other.
func TestHEICAtOnce(t *testing.T) {
	m := smooth(128, 64)
	defer m.Close()
	c := encodeHEVC(t, encoded(t, ".png", m))
	sound, cut := heicOf(c.item()), heicOf(gridOf([]coded{c, c}, 2, 257, 64)...)
	var wg sync.WaitGroup
	for worker := range 4 {
		wg.Go(func() {
			for range 10 {
				if worker%2 == 0 {
					checkRefusal(t, "sound", sound, "")
				} else {
					checkRefusal(t, "of too few tiles", cut, "do not make")
				}
			}
		})
	}
	wg.Wait()
}
