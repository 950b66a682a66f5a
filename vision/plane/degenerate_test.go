package plane

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Lines that hold next to nothing leave everything else told, and no less
// truly: of two points, of points at two ends only (no arc can be told from
// them), of one place said twice.
func TestLinesThatTellLittle(t *testing.T) {
	for _, c := range []struct {
		name  string
		lines []int // in the order of lay
		keep  func(pts [][2]float64) [][2]float64
	}{
		{"a butt of two points", []int{2}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[0], p[len(p)-1]} }},
		{"a top edge of two points", []int{3}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[0], p[len(p)-1]} }},
		{"all butts and tops of two points", []int{0, 1, 2, 3, 4, 5, 6, 7}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[0], p[len(p)-1]} }},
		{"a butt of three points at two places", []int{2}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[0], p[0], p[len(p)-1]} }},
		{"a butt of one place", []int{2}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[9], p[9]} }},
		{"a joint of one place", []int{10}, func(p [][2]float64) [][2]float64 { return [][2]float64{p[9], p[9]} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := drawRoof(rand.New(rand.NewPCG(91, 2)), .02)
			for _, i := range c.lines {
				o.problem.Lines[i].Pts = c.keep(o.problem.Lines[i].Pts)
			}
			s := o.problem.Solve()
			if !s.Finite() {
				t.Fatal("the adjustment came out with something that is no number")
			}
			f, u := s.Focal()
			if !(u > 0 && u < .02*f) || math.Abs(f-o.truth.Lens.F) > 3*u {
				t.Errorf("focal length %.0f ± %.0f px, want %.0f", f, u, o.truth.Lens.F)
			}
			q, want := o.aboveButt(0, -600, 165)
			if got, u := q(&s.Frame), math.Sqrt(sumOf(s.Effects(q))); !(u > 0) || math.Abs(got-want) > 2*u {
				t.Errorf("a head is %.2f ± %.2f mm above the butt, want %.2f", got, u, want)
			}
		})
	}
}

// What is no number anywhere in the input shows in the answer.
func TestNoNumberIsTold(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		o := drawRoof(rand.New(rand.NewPCG(92, 1)), .02)
		if !o.problem.Solve().Finite() {
			t.Fatal("a sound roof does not come out with numbers")
		}
		o.problem.Lines[2].Pts[5][1] = v
		if o.problem.Solve().Finite() {
			t.Errorf("a butt with a point at %g comes out as if it were sound", v)
		}
	}
}

// A card that was measured with a rule tells lengths near it better than one
// that was not, of which the print is only as true as printers are: by half
// where the card alone tells them. The product's own lengths tell the scale
// where the edges are seen, and leave less to gain.
func TestMeasuringThePrintPays(t *testing.T) {
	o := drawRoof(rand.New(rand.NewPCG(93, 1)), .02)
	told := func(scale float64, lines int, from, to, y float64) float64 {
		p := o.problem
		p.Prior.CardScale = scale
		p.Lines = p.Lines[:lines]
		u, v := o.truth.Project(to, y, o.truth.Stack.At(0))
		u0, v0 := o.truth.Project(from, y, o.truth.Stack.At(0))
		return math.Sqrt(sumOf(p.Solve().Effects(func(f *Frame) float64 {
			z := f.Stack.At(0)
			x, _ := f.OnPlane(u, v, z)
			x0, _ := f.OnPlane(u0, v0, z)
			return x - x0
		})))
	}
	const ruled = .0016 // a steel rule on 10 in, see calibrate/print
	for _, c := range []struct {
		name        string
		lines       int // the first of lay's
		from, to, y float64
		pays        float64 // the least ratio
	}{
		{"a foot beside the card, no edges", 0, -152, 152, -330, 1.25},
		{"a foot beside the card, butts and top edges", 10, -152, 152, -330, 1.1},
		{"a foot beside the card, a whole piece besides", 13, -152, 152, -330, 1.1},
	} {
		guessed, measured := told(DefaultPrior(true).CardScale, c.lines, c.from, c.to, c.y), told(ruled, c.lines, c.from, c.to, c.y)
		t.Logf("%s: %.2f mm with a print that nobody measured, %.2f mm with one that was", c.name, guessed, measured)
		if guessed < c.pays*measured {
			t.Errorf("%s: measuring the print does not pay: %.3f mm against %.3f", c.name, guessed, measured)
		}
	}
}
