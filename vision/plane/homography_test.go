package plane

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gocv.io/x/gocv"
)

// tablePlane is the homography of the worked example below: plane mm to px.
// The example is computed, not measured: a card of 180 x 120 mm, its corners
// good to 0.3 px an axis, a point good to 1.0 px an axis; first-order
// covariance after Criminisi, Reid and Zisserman (BMVC 1997; Image and Vision
// Computing 17(8), 1999), checked there by 4000 draws.
var tablePlane = Homography{H: [9]float64{4.0, .10, 600, -.05, 3.80, 500, 1e-5, 1.2e-4, 1}}

const tableCorner, tablePoint = .3, 1.0

// fourCorners are the card's outer corners, seen without noise.
func fourCorners() []Corner {
	return seen(tablePlane, [][2]float64{{0, 0}, {180, 0}, {180, 120}, {0, 120}})
}

// gridOfCorners is 7 x 5 points, 30 mm apart.
func gridOfCorners() []Corner {
	var at [][2]float64
	for j := range 5 {
		for i := range 7 {
			at = append(at, [2]float64{float64(30 * i), float64(30 * j)})
		}
	}
	return seen(tablePlane, at)
}

func seen(h Homography, at [][2]float64) []Corner {
	out := make([]Corner, len(at))
	for i, p := range at {
		u, v := h.ToPicture(p[0], p[1])
		out[i] = Corner{X: p[0], Y: p[1], U: u, V: v, Sigma: tableCorner}
	}
	return out
}

// shaken adds the noise that the corners tell of.
func shaken(pts []Corner, r *rand.Rand) []Corner {
	out := append([]Corner(nil), pts...)
	for i := range out {
		out[i].U += out[i].Sigma * r.NormFloat64()
		out[i].V += out[i].Sigma * r.NormFloat64()
	}
	return out
}

func TestHomographyPutsPointsInThePicture(t *testing.T) {
	// the images of the example's points, to the three decimals printed there
	for _, c := range []struct{ x, y, u, v float64 }{
		{0, 0, 600, 500}, {180, 0, 1317.628, 490.118}, {180, 120, 1310.766, 931.903},
		{0, 120, 603.312, 942.429}, {90, 60, 958.238, 717.687}, {630, 60, 3084.361, 687.222},
	} {
		h, err := FitHomography(fourCorners())
		if err != nil {
			t.Fatal(err)
		}
		if u, v := h.ToPicture(c.x, c.y); math.Abs(u-c.u) > 6e-4 || math.Abs(v-c.v) > 6e-4 {
			t.Errorf("(%g, %g) mm lies at (%.4f, %.4f) px, want (%.3f, %.3f)", c.x, c.y, u, v, c.u, c.v)
		}
		if x, y, _, _ := h.ToPlane(c.u, c.v, 0); math.Hypot(x-c.x, y-c.y) > 1e-3 {
			t.Errorf("(%g, %g) px lies at (%.4f, %.4f) mm, want (%g, %g)", c.u, c.v, x, y, c.x, c.y)
		}
	}
}

// tableRows are the six rows of the example: standard uncertainties in mm.
var tableRows = []struct {
	name                         string
	corners                      func() []Corner
	x, y                         float64
	fromHX, fromHY, totalX, totY float64
	pointX, pointY, drawX, drawY float64
}{
	{"four corners, on the card", fourCorners, 90, 60, .072, .048, .263, .276, .253, .271, .259, .272},
	{"four corners, 380 mm", fourCorners, 380, 60, .587, .140, .640, .306, .254, .272, .635, .302},
	{"four corners, 630 mm", fourCorners, 630, 60, 2.151, .249, 2.166, .370, .256, .273, 2.159, .365},
	{"grid, on the card", gridOfCorners, 90, 60, .017, .016, .253, .272, .253, .271, .257, .274},
	{"grid, 380 mm", gridOfCorners, 380, 60, .271, .068, .372, .281, .254, .272, .373, .280},
	{"grid, 630 mm", gridOfCorners, 630, 60, .950, .125, .984, .300, .256, .273, .989, .305},
}

func TestHomographyUncertaintyTable(t *testing.T) {
	near := func(t *testing.T, what string, got, want, tolerance float64) {
		t.Helper()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: %.4f mm, want %.3f", what, got, want)
		}
	}
	for _, c := range tableRows {
		t.Run(c.name, func(t *testing.T) {
			h, err := FitHomography(c.corners())
			if err != nil {
				t.Fatal(err)
			}
			u, v := tablePlane.ToPicture(c.x, c.y)
			_, _, hx, hy := h.ToPlane(u, v, 0)
			_, _, tx, ty := h.ToPlane(u, v, tablePoint)
			px, py := math.Sqrt(tx*tx-hx*hx), math.Sqrt(ty*ty-hy*hy)
			const half = 6e-4 // half of the last printed decimal, and a little
			near(t, "x from the homography", hx, c.fromHX, half)
			near(t, "y from the homography", hy, c.fromHY, half)
			near(t, "x from the point", px, c.pointX, half)
			near(t, "y from the point", py, c.pointY, half)
			near(t, "x in all", tx, c.totalX, half)
			near(t, "y in all", ty, c.totY, half)
		})
	}
}

// The fit itself, drawn 4000 times, must scatter as the example's draws do: the
// standard error of a spread from 4000 draws is 1/sqrt(8000) = 1.1 %, here from
// both sides, so 4 x 1.6 % is allowed and a thousandth for print.
func TestHomographyScattersAsTheTableSays(t *testing.T) {
	const draws = 4000
	for i, c := range tableRows {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(7, uint64(i)))
			u, v := tablePlane.ToPicture(c.x, c.y)
			pts := c.corners()
			var sx, sy float64
			for range draws {
				h, ok := fit(shaken(pts, r))
				if !ok {
					t.Fatal("no fit")
				}
				x, y, _, _ := h.ToPlane(u+tablePoint*r.NormFloat64(), v+tablePoint*r.NormFloat64(), tablePoint)
				sx, sy = sx+(x-c.x)*(x-c.x)/draws, sy+(y-c.y)*(y-c.y)/draws
			}
			if got := math.Sqrt(sx); math.Abs(got-c.drawX) > .064*c.drawX+.001 {
				t.Errorf("x scatters by %.3f mm, want %.3f", got, c.drawX)
			}
			if got := math.Sqrt(sy); math.Abs(got-c.drawY) > .064*c.drawY+.001 {
				t.Errorf("y scatters by %.3f mm, want %.3f", got, c.drawY)
			}
		})
	}
}

// Squares of normalised errors must follow chi-square: over n independent draws
// their sum has mean n and variance 2n, so it must lie within 4.5 sqrt(2n).
// (Two-sided normal tail: 7e-6 a check.)
func TestHomographyErrorsAreChiSquare(t *testing.T) {
	const draws = 1000
	r := rand.New(rand.NewPCG(11, 5))
	u, v := tablePlane.ToPicture(380, 60)
	pts := gridOfCorners()
	var sx, sy, chi float64
	for range draws {
		h, err := FitHomography(shaken(pts, r))
		if err != nil {
			t.Fatal(err)
		}
		x, y, ux, uy := h.ToPlane(u+.5*r.NormFloat64(), v+.5*r.NormFloat64(), .5)
		sx += (x - 380) * (x - 380) / (ux * ux)
		sy += (y - 60) * (y - 60) / (uy * uy)
		chi += h.Chi / draws
	}
	limit := 4.5 * math.Sqrt(2*draws)
	if math.Abs(sx-draws) > limit || math.Abs(sy-draws) > limit {
		t.Errorf("sums of squares %.0f and %.0f over %d draws, want each within %.0f of it", sx, sy, draws, limit)
	}
	// chi-square over its 62 degrees of freedom, mean of the draws; a fit that
	// dropped good corners would lower it
	if math.Abs(chi-1) > 4.5*math.Sqrt(2./62/draws) {
		t.Errorf("residuals: chi-square a degree of freedom is %.4f on average, want 1", chi)
	}
}

func TestHomographyAgreesWithOpenCV(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for i := range 20 {
		turn := Rodrigues(Vec{.4 * r.NormFloat64(), .4 * r.NormFloat64(), 3 * r.Float64()})
		f := Frame{Lens: Lens{F: 3000, Cx: 2015.5, Cy: 1511.5}, R: turn, T: Vec{100 * r.NormFloat64(), 80 * r.NormFloat64(), 1200}}
		src, dst := gocv.NewMatWithSize(54, 1, gocv.MatTypeCV64FC2), gocv.NewMatWithSize(54, 1, gocv.MatTypeCV64FC2)
		from, _ := src.DataPtrFloat64()
		to, _ := dst.DataPtrFloat64()
		var pts []Corner
		for k := range 54 {
			x, y := 25.4*float64(k%9-4), 25.4*(float64(k/9)-2.5)
			u, v := f.Project(x, y, 0)
			u, v = u+.1*r.NormFloat64(), v+.1*r.NormFloat64()
			from[2*k], from[2*k+1], to[2*k], to[2*k+1] = x, y, u, v
			pts = append(pts, Corner{X: x, Y: y, U: u, V: v, Sigma: .1})
		}
		mask := gocv.NewMat()
		theirs := gocv.FindHomography(src, dst, gocv.HomographyMethodAllPoints, 3, &mask, 2000, .995)
		h, ok := fit(pts)
		if !ok {
			t.Fatal("no fit")
		}
		for _, p := range [][2]float64{{0, 0}, {127, 88}, {-127, 88}, {400, -100}} {
			u, v := h.ToPicture(p[0], p[1])
			w := theirs.GetDoubleAt(2, 0)*p[0] + theirs.GetDoubleAt(2, 1)*p[1] + theirs.GetDoubleAt(2, 2)
			a := (theirs.GetDoubleAt(0, 0)*p[0] + theirs.GetDoubleAt(0, 1)*p[1] + theirs.GetDoubleAt(0, 2)) / w
			b := (theirs.GetDoubleAt(1, 0)*p[0] + theirs.GetDoubleAt(1, 1)*p[1] + theirs.GetDoubleAt(1, 2)) / w
			// OpenCV stops after ten steps: 1e-3 px is far under the corners' noise
			if math.Hypot(u-a, v-b) > 1e-3 {
				t.Errorf("camera %d: (%g, %g) mm lies at (%.5f, %.5f) px, OpenCV says (%.5f, %.5f)", i, p[0], p[1], u, v, a, b)
			}
		}
		for _, m := range []gocv.Mat{src, dst, mask, theirs} {
			_ = m.Close()
		}
	}
}

// Twelve of 35 corners off by 3 to 60 px: all of them are named, and the rest
// gives what it gives alone.
func TestHomographyLeavesOutWrongCorners(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 30 {
		pts := shaken(gridOfCorners(), r)
		wrong := map[int]bool{}
		for _, i := range r.Perm(len(pts))[:12] {
			a, d := 2*math.Pi*r.Float64(), 3+57*r.Float64()
			pts[i].U, pts[i].V = pts[i].U+d*math.Cos(a), pts[i].V+d*math.Sin(a)
			wrong[i] = true
		}
		var good []Corner
		for i, p := range pts {
			if !wrong[i] {
				good = append(good, p)
			}
		}
		h, err := FitHomography(pts)
		if err != nil {
			t.Fatal(err)
		}
		named := 0
		for _, i := range h.Dropped {
			if wrong[i] {
				named++
			}
		}
		if named != 12 || len(h.Dropped) > 13 {
			t.Errorf("dropped %v; want the twelve wrong ones and at most one more", h.Dropped)
		}
		alone, _ := fit(good)
		a, b := h.ToPicture(90, 60)
		c, d := alone.ToPicture(90, 60)
		if math.Hypot(a-c, b-d) > .15 {
			t.Errorf("the card's middle moved by %.2f px", math.Hypot(a-c, b-d))
		}
	}
}

// Corners three times as noisy as they say make the covariance grow nine times.
func TestHomographyBelievesItsResiduals(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 8))
	pts := gridOfCorners()
	for i := range pts {
		pts[i].U += 3 * tableCorner * r.NormFloat64()
		pts[i].V += 3 * tableCorner * r.NormFloat64()
	}
	h, err := FitHomography(pts)
	if err != nil {
		t.Fatal(err)
	}
	u, v := tablePlane.ToPicture(90, 60)
	_, _, ux, _ := h.ToPlane(u, v, 0)
	// .017 mm is the table's; chi over 62 degrees of freedom scatters by 9 %
	if ux < .017*3*.7 || ux > .017*3*1.3 {
		t.Errorf("x is said to be known to %.3f mm; three times .017 is right", ux)
	}
}

func TestHomographyRefuses(t *testing.T) {
	line := seen(tablePlane, [][2]float64{{0, 0}, {10, 10}, {20, 20}, {30, 30}, {40, 40}, {50, 50}, {60, 60}, {70, 70}, {80, 80}})
	bad := fourCorners()
	bad[2].Sigma = 0
	lost := fourCorners()
	lost[1].U = math.NaN()
	for _, c := range []struct {
		name, want string
		pts        []Corner
	}{
		{"none", "0 corners; at least 4", nil},
		{"three", "3 corners; at least 4", fourCorners()[:3]},
		{"a line", "on one line", line},
		{"one place", "on one line or at one place", []Corner{bad[0], bad[0], bad[0], bad[0]}},
		{"no uncertainty", "corner 2", bad},
		{"not a number", "corner 1", lost},
	} {
		if _, err := FitHomography(c.pts); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
}

func BenchmarkFitHomography(b *testing.B) {
	pts := shaken(gridOfCorners(), rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		if _, err := FitHomography(pts); err != nil {
			b.Fatal(err)
		}
	}
}
