package plane

import (
	"math"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo"
)

// edgeX is where each row of a grey picture crosses the middle between dark
// (left) and bright (right), by the sum of what is dark: exact for any blur
// that is symmetric.
func edgeX(m gocv.Mat, row, from, to int) float64 {
	dark, bright := float64(m.GetUCharAt(row, from)), float64(m.GetUCharAt(row, to))
	x := float64(from) - .5
	for c := from; c <= to; c++ {
		x += (bright - float64(m.GetUCharAt(row, c))) / (bright - dark)
	}
	return x
}

// An edge is drawn at a known place between two pixels, by the share of each
// pixel that it covers; the view must show it at the same place of the roof,
// reduced or not. This holds the convention that whole numbers are the middles
// of pixels, in the picture, its reductions and the view.
func TestViewKeepsAnEdgeInPlace(t *testing.T) {
	for _, c := range []struct {
		name     string
		f, ppm   float64 // px of focal length at 1000 mm: f/1000 px a millimetre in the photo
		edgePx   float64
		w, limit float64
	}{
		{"same scale", 1000, 1, 300.30, 600, .02},
		{"finer view", 1000, 3, 300.30, 600, .02},
		{"photo three times finer", 3000, 1, 900.70, 1800, .02},
		{"photo four times finer", 4000, 1, 1203.45, 2400, .02},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, h := int(c.w), 400
			edged := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
			defer edged.Close()
			pix, err := edged.DataPtrUint8()
			if err != nil {
				t.Fatal(err)
			}
			for i := range pix {
				// the pixel reaches from x-.5 to x+.5; what lies right of the edge is bright
				share := min(max(float64(i/3%w)+.5-c.edgePx, 0), 1)
				pix[i] = uint8(40 + 160*share + .5)
			}
			f := lookingAt(Lens{F: c.f, Cx: (c.w - 1) / 2, Cy: 199.5}, Vec{}, 1000, 0, 0, 0, Stack{})
			edge, _ := f.OnPlane(c.edgePx, 199.5, 0)
			p := taken(t, edged)
			// a sampled edge lies right on average over where its samples fall
			const phases = 8
			sum := 0.0
			for k := range phases {
				v := View{Frame: &f, PPM: c.ppm, X0: edge - 40.2 - float64(k)/phases/c.ppm, Y1: 10, W: int(80 * c.ppm), H: int(20 * c.ppm)}
				m, err := v.Picture(p)
				if err != nil {
					t.Fatal(err)
				}
				x, _ := v.ToRoof(edgeX(m, v.H/2, 5, v.W-6), float64(v.H/2))
				sum += x / phases
				_ = m.Close()
			}
			if math.Abs(sum-edge) > c.limit {
				t.Errorf("the edge at %.3f mm shows at %.3f mm", edge, sum)
			}
		})
	}
}

// Between the points of its grid a view interpolates its mapping; the limits
// are those that grid promises, a lens of k1 = .034 included.
func TestViewMapsAreExactEnough(t *testing.T) {
	for _, c := range []struct{ tilt, distance, limit float64 }{{25, 1200, .03}, {35, 1000, .1}} {
		f := lookingAt(Lens{F: 3000, Cx: 2015.5, Cy: 1511.5, K1: .034}, Vec{50, 60, 5}, c.distance, c.tilt*math.Pi/180, 0, .2, laminated())
		v := View{Frame: &f, PPM: 1, X0: -500, Y1: 400, W: 1000, H: 700, Z: 6}
		mx, my := make([]float32, v.W*v.H), make([]float32, v.W*v.H)
		v.maps(mx, my, 0, 4031, 3023)
		worst := 0.0
		for r := range v.H {
			for col := range v.W {
				x, y := v.ToPicture(float64(col), float64(r))
				if x < 0 || x > 4031 || y < 0 || y > 3023 {
					continue
				}
				worst = max(worst, math.Hypot(x-float64(mx[r*v.W+col]), y-float64(my[r*v.W+col])))
			}
		}
		t.Logf("%g degrees from %g mm: %.4f px", c.tilt, c.distance, worst)
		if worst > c.limit {
			t.Errorf("seen at %g degrees from %g mm the mapping is up to %.4f px off, want %g", c.tilt, c.distance, worst, c.limit)
		}
	}
}

// What the photo does not show is 0, and only that.
func TestViewIsBlankBeyondThePhoto(t *testing.T) {
	grey := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(90, 90, 90, 0), 200, 300, gocv.MatTypeCV8UC3)
	defer grey.Close()
	f := lookingAt(Lens{F: 1000, Cx: 149.5, Cy: 99.5}, Vec{}, 1000, 0, 0, 0, Stack{})
	v := View{Frame: &f, PPM: 1, X0: -199.5, Y1: 149.5, W: 400, H: 300}
	p := taken(t, grey)
	m, err := v.Picture(p)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	for r := range v.H {
		for c := range v.W {
			x, y := v.ToPicture(float64(c), float64(r))
			got := m.GetVecbAt(r, c)[1]
			switch {
			case x < 0 || x > 299 || y < 0 || y > 199:
				if got != 0 {
					t.Fatalf("pixel (%d, %d) lies beyond the photo and is %d", c, r, got)
				}
			case x > 3 && x < 296 && y > 3 && y < 196:
				if got != 90 {
					t.Fatalf("pixel (%d, %d) lies in the photo and is %d", c, r, got)
				}
			}
		}
	}
}

// taken is a picture of pixels.
func taken(t *testing.T, m gocv.Mat) *photo.Picture {
	t.Helper()
	p, err := photo.Of(m)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.Close() })
	return p
}

// A picture that holds no 32-bit floats is an error, not a map without places.
func TestFloats(t *testing.T) {
	m := gocv.NewMatWithSize(2, 3, gocv.MatTypeCV8UC1)
	defer m.Close()
	if got, err := floats(m); err == nil {
		t.Errorf("%d floats of a grey picture", len(got))
	}
	f := gocv.NewMatWithSize(2, 3, gocv.MatTypeCV32F)
	defer f.Close()
	if got, err := floats(f); err != nil || len(got) != 6 {
		t.Errorf("%d floats, %v", len(got), err)
	}
}
