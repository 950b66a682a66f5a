package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// The plumb-line method of Brown (1971): what is straight on the roof tells the
// lens's distortion. A synthetic lens whose k1 is twice the prior's uncertainty
// off, and a card in the middle of the picture, where the lens hardly shows:
// with butts and top edges as observations k1 comes back within what is told,
// and is told better than without them.
func TestStraightEdgesTellTheDistortion(t *testing.T) {
	const draws = 20
	r := rand.New(rand.NewPCG(71, 1))
	var with, without, off, normal float64
	for i := range draws {
		far := 2 * DefaultPrior(true).K1U
		if i%2 == 1 {
			far = -far
		}
		o := drawRoofBy(r, .05, func(from length.Source, u float64) float64 {
			if from == length.Product || from == length.Lens && u != DefaultPrior(true).K1U {
				return 0 // edges where the product says; of the lens k1 alone
			}
			if from == length.Lens {
				return far
			}
			return u * r.NormFloat64()
		})
		k1, u := o.problem.Solve().K1()
		bare := o.problem
		bare.Lines = nil
		_, u0 := bare.Solve().K1()
		e := k1 - o.truth.Lens.K1
		with, without, off, normal = with+u/draws, without+u0/draws, off+e*e/draws, normal+e*e/(u*u)/draws
	}
	t.Logf("k1 told to %.4f with the edges, %.4f without; off by %.4f rms of %.3f", with, without, math.Sqrt(off), 2*DefaultPrior(true).K1U)
	if with > .7*without {
		t.Errorf("k1 is told to %.4f with the edges and %.4f without: they add nothing", with, without)
	}
	if math.Sqrt(off) > .2*2*DefaultPrior(true).K1U || normal > 2 {
		t.Errorf("k1 is off by %.4f rms, %.2f of what is told in squares", math.Sqrt(off), normal)
	}
}

// The arc of a line by hand: y = 4 (1 - (x/500)²) over x from -500 to 500 has a
// chord at 0 and a middle 4 mm over it, so its parabola has -4 mm; a straight
// line has none, wherever it lies and however it runs.
func TestArcByHand(t *testing.T) {
	for _, c := range []struct{ bow, slope, want float64 }{{4, 0, -4}, {4, .02, -4}, {-1, .01, 1}, {0, .03, 0}} {
		var p [][2]float64
		v := 0.0
		for i := range 101 {
			x := 10*float64(i) - 500
			p = append(p, [2]float64{x + 70, 12 + c.slope*x + c.bow*(1-x*x/250000)})
			v += x * x / 101
		}
		// mean and slope as trendOf has them
		m := 0.0
		for _, q := range p {
			m += q[1] / 101
		}
		tr := trend{at: m, slope: c.slope, mid: 70, length: 1000}
		if got := tr.arc(p, v); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("bow %g, slope %g: arc of %.4f mm, want %g", c.bow, c.slope, got, c.want)
		}
	}
}
