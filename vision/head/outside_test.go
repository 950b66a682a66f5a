package head

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

// drawn is a roof of grey granules with bright, round, flat heads on it, seen
// by a camera: what every method must agree on. All lengths are mm.
type drawn struct {
	frame   plane.Frame
	picture gocv.Mat
	heads   [][2]float64
	radius  float64
	bright  float64 // grey level of the heads; the roof's middle is 85
}

const (
	drawnWide, drawnHigh = 900, 700 // px
	granule              = 1.2      // mm
	enlarge              = 16
)

// draw samples the scene on 4 x 4 points a pixel.
func draw(t *testing.T, r *rand.Rand, tilt, bright float64) *drawn {
	t.Helper()
	down := plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}
	turn := plane.Rodrigues(plane.Vec{tilt, 0, 0})
	f := plane.Frame{Lens: plane.Lens{F: 2950, Cx: (drawnWide - 1) / 2., Cy: (drawnHigh - 1) / 2.}, R: down.Then(&turn), T: plane.Vec{0, 0, 1100}}
	d := &drawn{frame: f, radius: 4.8 + .8*r.Float64(), bright: bright}
	for i := range 8 {
		d.heads = append(d.heads, [2]float64{-105 + 70*float64(i%4) + 8*r.Float64(), -45 + 80*float64(i/4) + 8*r.Float64()})
	}
	grains := map[[2]int]float64{}
	tone := func(x, y float64) float64 {
		for _, h := range d.heads {
			if math.Hypot(x-h[0], y-h[1]) < d.radius {
				return d.bright
			}
		}
		k := [2]int{int(math.Floor(x / granule)), int(math.Floor(y / granule))}
		g, ok := grains[k]
		if !ok {
			g = 85 + 22*r.NormFloat64()
			grains[k] = g
		}
		return g
	}
	d.picture = gocv.NewMatWithSize(drawnHigh, drawnWide, gocv.MatTypeCV8UC3)
	t.Cleanup(func() { d.picture.Close() })
	pix, err := d.picture.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	for v := range drawnHigh {
		for u := range drawnWide {
			sum := 0.0
			for s := range 16 {
				x, y := f.OnPlane(float64(u)+float64(s%4)/4-.375, float64(v)+float64(s/4)/4-.375, 0)
				sum += tone(x, y) / 16
			}
			for c := range 3 {
				pix[3*(v*drawnWide+u)+c] = byte(min(max(sum+2*r.NormFloat64(), 0), 255))
			}
		}
	}
	if err := gocv.GaussianBlur(d.picture, &d.picture, image.Point{}, .7, .7, gocv.BorderReplicate); err != nil {
		t.Fatal(err)
	}
	return d
}

// round is what a method says of a head, mm on the roof.
type round struct{ x, y, diameter float64 }

// byEllipse fits an ellipse to the head's outline in the photo at half the
// contrast (OpenCV's FitEllipse, after Fitzgibbon and Fisher 1995) and lays its
// axes on the roof.
func (d *drawn) byEllipse(t *testing.T, h [2]float64) round {
	t.Helper()
	u, v := d.frame.Project(h[0], h[1], 0)
	const half = 26
	box := image.Rect(int(u)-half, int(v)-half, int(u)+half, int(v)+half)
	cut := d.picture.Region(box)
	defer cut.Close()
	gray := gocv.NewMat()
	defer gray.Close()
	if err := gocv.CvtColor(cut, &gray, gocv.ColorBGRToGray); err != nil {
		t.Fatal(err)
	}
	// the binding keeps whole pixels of contour and ellipse: enlarged, they are small
	if err := gocv.Resize(gray, &gray, image.Point{}, enlarge, enlarge, gocv.InterpolationLinear); err != nil {
		t.Fatal(err)
	}
	gocv.Threshold(gray, &gray, float32(85+d.bright)/2, 255, gocv.ThresholdBinary)
	blobs := gocv.FindContours(gray, gocv.RetrievalExternal, gocv.ChainApproxNone)
	defer blobs.Close()
	best, area := -1, 0.0
	for i := range blobs.Size() {
		if a := gocv.ContourArea(blobs.At(i)); a > area {
			best, area = i, a
		}
	}
	if best < 0 {
		t.Fatalf("no outline at (%.0f, %.0f)", u, v)
	}
	e := gocv.FitEllipse(blobs.At(best))
	back := func(a, from int) float64 { return (float64(a)+1)/enlarge - .5 + float64(from) } // cut off, so half a pixel more
	x, y := d.frame.OnPlane(back(e.Center.X, box.Min.X), back(e.Center.Y, box.Min.Y), 0)
	long := float64(max(e.Width, e.Height)) / enlarge
	return round{x, y, long / d.frame.ScaleAt(x, y, 0)}
}

// byHough finds the circle in the rectified patch that the network sees too
// (OpenCV's HoughCircles, the gradient method).
func (d *drawn) byHough(t *testing.T, p *photo.Picture, h [2]float64) (round, bool) {
	t.Helper()
	view := plane.View{Frame: &d.frame, PPM: fine, X0: h[0] - centre/fine, Y1: h[1] + centre/fine, W: side, H: side}
	patch, err := view.Picture(p)
	if err != nil {
		t.Fatal(err)
	}
	defer patch.Close()
	gray, circles := gocv.NewMat(), gocv.NewMat()
	defer gray.Close()
	defer circles.Close()
	if err := gocv.CvtColor(patch, &gray, gocv.ColorBGRToGray); err != nil {
		t.Fatal(err)
	}
	if err := gocv.GaussianBlur(gray, &gray, image.Point{}, 1, 1, gocv.BorderReplicate); err != nil {
		t.Fatal(err)
	}
	if err := gocv.HoughCirclesWithParams(gray, &circles, gocv.HoughGradient, 1, 30, 120, 10, 10, 22); err != nil {
		t.Fatal(err)
	}
	if circles.Cols() == 0 {
		return round{}, false
	}
	c := circles.GetVecfAt(0, 0)
	x, y := view.ToRoof(float64(c[0]), float64(c[1]))
	return round{x, y, 2 * float64(c[2]) / fine}, true
}

// The closer look and two published ways of finding a disc, on the same drawn
// heads, square on and at up to 30 degrees: centres and diameters agree with
// what was drawn and with each other. The limits are a third of the
// granule for the centre and about a granule for the diameter, which is what
// granules on a rim take and give.
func TestCloserLookAgainstEllipseAndHough(t *testing.T) {
	finder, err := NewFinder()
	if err != nil {
		t.Fatal(err)
	}
	defer finder.Close()
	r := rand.New(rand.NewPCG(61, 1))
	for _, c := range []struct{ degrees, bright float64 }{{0, 190}, {15, 190}, {30, 200}} {
		d := draw(t, r, c.degrees*math.Pi/180, c.bright)
		p, err := photo.Of(d.picture)
		if err != nil {
			t.Fatal(err)
		}
		var look, ellipse, hough errorsOf
		for _, h := range d.heads {
			l, err := finder.Look(p, &d.frame, h[0]+1.5, h[1]-1, 0)
			if err != nil {
				t.Fatal(err)
			}
			if l.P < .5 {
				t.Errorf("%g degrees: a drawn head counts as one with probability %.2f", c.degrees, l.P)
			}
			look.take(round{l.X, l.Y, l.Diameter}, h, d.radius)
			ellipse.take(d.byEllipse(t, h), h, d.radius)
			if q, ok := d.byHough(t, p, h); ok {
				hough.take(q, h, d.radius)
			}
		}
		p.Close()
		for _, m := range []struct {
			name string
			e    errorsOf
		}{{"closer look", look}, {"ellipse", ellipse}, {"Hough", hough}} {
			t.Logf("%g degrees, %s: %d of %d heads, centres off by %.2f mm, diameters by %.2f mm rms", c.degrees, m.name, m.e.n, len(d.heads), m.e.centre(), m.e.wide())
		}
		if e := look.centre(); e > granule/3 {
			t.Errorf("%g degrees: the closer look's centres are off by %.2f mm", c.degrees, e)
		}
		if e := look.wide(); e > granule {
			t.Errorf("%g degrees: the closer look's diameters are off by %.2f mm", c.degrees, e)
		}
		// an even disc on an even ground is where fitting an ellipse is at its best;
		// the closer look must do as well as voting for circles
		if ellipse.centre() > .1 || look.centre() > hough.centre()+.1 {
			t.Errorf("%g degrees: centres off by %.2f mm, an ellipse's by %.2f mm, voted circles' by %.2f mm", c.degrees, look.centre(), ellipse.centre(), hough.centre())
		}
	}
}

// errorsOf sums squares over heads.
type errorsOf struct {
	n           int
	place, size float64
}

func (e *errorsOf) take(got round, want [2]float64, radius float64) {
	d := math.Hypot(got.x-want[0], got.y-want[1])
	e.n++
	e.place += d * d
	e.size += (got.diameter - 2*radius) * (got.diameter - 2*radius)
}

func (e errorsOf) centre() float64 { return math.Sqrt(e.place / float64(max(e.n, 1))) }
func (e errorsOf) wide() float64   { return math.Sqrt(e.size / float64(max(e.n, 1))) }
