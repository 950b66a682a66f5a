package photo

import (
	"image"
	"math"
	"testing"

	"coursegauge/vision/card"

	"gocv.io/x/gocv"
)

const roofPhoto = "../../testdata/photos/laminated-metric/roof-002.jpg"

// cornersOf locates the printed card.
func cornersOf(t *testing.T, b []byte) map[int][2]float64 {
	t.Helper()
	p := mustDecode(t, b)
	s, err := card.Find(p.Gray, card.Standard)
	if err != nil {
		t.Fatal(err)
	}
	at := map[int][2]float64{}
	for _, c := range s.Corners {
		at[c.ID] = [2]float64{c.X, c.Y}
	}
	return at
}

// farthest is the largest distance between corners of one number.
func farthest(t *testing.T, a, b map[int][2]float64) float64 {
	t.Helper()
	most, shared := 0.0, 0
	for id, p := range a {
		if q, ok := b[id]; ok {
			most, shared = max(most, math.Hypot(p[0]-q[0], p[1]-q[1])), shared+1
		}
	}
	if shared < 40 {
		t.Fatalf("only %d corners are seen in both", shared)
	}
	return most
}

// A place of the scene is at the same pixel whatever the file's format: the
// corners of the card agree to 0.3 px at worst, a third of what a photo's heads
// are located to. A shift by one pixel, by half a pixel of a chroma grid, or a
// wrong turn would show.
func TestFormatsAgreeOnPlaces(t *testing.T) {
	const limit = .3 // px
	p := mustDecode(t, readFile(t, roofPhoto))
	upright := colours(t, p)
	original := encoded(t, ".jpg", upright) // upright, without EXIF
	want := cornersOf(t, original)
	side := image.Pt(1344, 1008) // a ninth of the photo
	var tiles []coded
	for y := range 3 {
		for x := range 3 {
			r := image.Rect(x*side.X, y*side.Y, (x+1)*side.X, (y+1)*side.Y)
			tile := upright.Region(r)
			tiles = append(tiles, encodeHEVC(t, encoded(t, ".jpg", tile)))
			_ = tile.Close()
		}
	}
	for name, b := range map[string][]byte{
		"HEIC":             heifEnc(t, original, ".jpg"),
		"HEIC of tiles":    heicOf(gridOf(tiles, 3, 3*side.X, 3*side.Y)...),
		"progressive JPEG": encoded(t, ".jpg", upright, gocv.IMWriteJpegQuality, 92, gocv.IMWriteJpegProgressive, 1),
		"PNG":              encoded(t, ".png", upright, gocv.IMWritePngCompression, 1),
		"WebP":             encoded(t, ".webp", upright, gocv.IMWriteWebpQuality, 90),
		"TIFF":             encoded(t, ".tiff", upright),
	} {
		d := farthest(t, want, cornersOf(t, b))
		t.Logf("%s: %.3f px at worst", name, d)
		if d > limit {
			t.Errorf("%s: a corner of the card is %.2f px off, want at most %.1f", name, d, limit)
		}
	}
	turned := cornersOf(t, insert(original, app1(camera([]field{shortField(0x0112, 6)}, nil, nil))))
	d := farthest(t, turned, cornersOf(t, heicOf(gridOf(tiles, 3, 3*side.X, 3*side.Y, irot(3))...)))
	t.Logf("turned HEIC and turned JPEG: %.3f px at worst", d)
	if d > limit {
		t.Errorf("turned: a corner of the card is %.2f px off, want at most %.1f", d, limit)
	}
}
