package page

import (
	"encoding/base64"
	"html/template"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// decoded reads a picture the way it stands in the page.
func decoded(t *testing.T, src template.HTMLAttr) image.Image {
	t.Helper()
	text := strings.TrimSuffix(strings.TrimPrefix(string(src), `src="data:image/jpeg;base64,`), `"`)
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	m, err := gocv.IMDecode(b, gocv.IMReadColor)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	img, err := m.ToImage()
	if err != nil {
		t.Fatal(err)
	}
	return img
}

func TestShrunk(t *testing.T) {
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(10, 60, 200, 0), 3024, 4032, gocv.MatTypeCV8UC3) // B, G, R
	defer m.Close()
	data, err := shrunk(m, pictureSize, pictureBytes)
	if err != nil {
		t.Fatal(err)
	}
	img := decoded(t, source("src", data))
	if s := img.Bounds().Size(); s != image.Pt(1280, 960) {
		t.Errorf("size %v, want 1280 x 960", s)
	}
	got := color.RGBAModel.Convert(img.At(800, 600)).(color.RGBA)
	for i, d := range []int{int(got.R) - 200, int(got.G) - 60, int(got.B) - 10} {
		if d < -6 || d > 6 {
			t.Errorf("channel %d is %d off: %v", i, d, got)
		}
	}
	grey := gocv.NewMatWithSize(4, 4, gocv.MatTypeCV8UC1)
	defer grey.Close()
	if _, err := shrunk(grey, 4, 1000); err == nil {
		t.Error("a picture of one channel was accepted")
	}
}

// Granules are the worst that a picture can hold; even noise keeps to its bytes.
func TestShrunkKeepsToItsBytes(t *testing.T) {
	m := gocv.NewMatWithSize(3024, 4032, gocv.MatTypeCV8UC3)
	defer m.Close()
	pixels, err := m.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 4))
	for i := range pixels {
		pixels[i] = uint8(60 + r.IntN(90))
	}
	if err := gocv.Blur(m, &m, image.Pt(3, 3)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ size, most int }{{pictureSize, pictureBytes}, {thumbSize, thumbBytes}, {refusedSize, refusedBytes}} {
		data, err := shrunk(m, c.size, c.most)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > c.most {
			t.Errorf("%d px: %d bytes, at most %d", c.size, len(data), c.most)
		}
	}
}

func TestOnRoof(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		x, y := length.MM(r.Float64()*600-200), length.MM(r.Float64()*400-150)
		gx, gy, ok := onRoof(scenePlace, scenePlace(x, y), 0, 0)
		if !ok || math.Hypot(float64(gx-x), float64(gy-y)) > 0.01 {
			t.Fatalf("(%v, %v) came back as (%v, %v), %v", x, y, gx, gy, ok)
		}
	}
	flat := func(x, y length.MM) vision.Point { return vision.Point{X: float64(x)} }
	if _, _, ok := onRoof(flat, vision.Point{X: 3, Y: 4}, 0, 0); ok {
		t.Error("a mapping without an inverse gave a place")
	}
}

// Three dots on the roof, an inch apart along and up the slope, come out at
// the close-up's scale with up the slope upwards.
func TestRectified(t *testing.T) {
	const x, y = 120, 150
	want := []struct {
		u, v  float64
		paint color.RGBA
	}{{0, 0, color.RGBA{255, 0, 0, 0}}, {25.4, 0, color.RGBA{0, 255, 0, 0}}, {0, 25.4, color.RGBA{0, 0, 255, 0}}}
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(0, 0, 0, 0), sceneHeight, sceneWidth, gocv.MatTypeCV8UC3)
	defer m.Close()
	for _, d := range want {
		p := scenePlace(x+length.MM(d.u), y+length.MM(d.v))
		if err := gocv.Circle(&m, image.Pt(int(math.Round(p.X)), int(math.Round(p.Y))), 5, d.paint, -1); err != nil {
			t.Fatal(err)
		}
	}
	p, err := photo.Of(m)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	jpeg, err := rectified(p, scenePlace, x, y)
	if err != nil {
		t.Fatal(err)
	}
	small, err := View{JPEG: jpeg, Size: closeW * closeScale, Most: 60_000}.Shrink()
	if err != nil {
		t.Fatal(err)
	}
	img := decoded(t, source("src", small))
	if s := img.Bounds().Size(); s != image.Pt(closeW*closeScale, closeH*closeScale) {
		t.Fatalf("size %v", s)
	}
	for i, d := range want {
		gx, gy := centroid(img, i)
		wx, wy := (closeW/2+d.u)*closeScale-0.5, (closeH/2-d.v)*closeScale-0.5
		// Dots are painted at whole pixels: half a pixel of the photo, 1 px here, and the same for JPEG.
		if math.Hypot(gx-wx, gy-wy) > 2 {
			t.Errorf("dot %d at %.1f, %.1f; want %.1f, %.1f", i, gx, gy, wx, wy)
		}
	}
}

// centroid of what is strong in one channel (0 red, 1 green, 2 blue) and weak in the others.
func centroid(img image.Image, channel int) (x, y float64) {
	var sx, sy, n float64
	b := img.Bounds()
	for j := b.Min.Y; j < b.Max.Y; j++ {
		for i := b.Min.X; i < b.Max.X; i++ {
			r, g, bl, _ := img.At(i, j).RGBA()
			c := []uint32{r, g, bl}
			if c[channel] > 0x8000 && c[(channel+1)%3] < 0x6000 && c[(channel+2)%3] < 0x6000 {
				sx, sy, n = sx+float64(i), sy+float64(j), n+1
			}
		}
	}
	return sx / n, sy / n
}

func TestPercentClaimsNoCertainty(t *testing.T) {
	for p, want := range map[float64]string{0: "under 1 %", 0.004: "under 1 %", 0.18: "18 %", 0.5: "50 %", 0.9999: "over 99 %", 1: "over 99 %"} {
		if got := percent(p); got != want {
			t.Errorf("percent(%v) = %q, want %q", p, got, want)
		}
	}
}
