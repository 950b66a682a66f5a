package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/head"
)

// TestOneBox: on simulated boxes the heads vouch for each other, the stated
// uncertainty still covers the error, and an odd head keeps its own diameter.
func TestOneBox(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var before, after, covered, n float64
	for range 400 {
		box := 9 + 3*r.Float64()
		bias := boxBias * r.NormFloat64()
		p := &pass{}
		var truth []float64
		for range 8 {
			d, u := box+boxScatter*r.NormFloat64(), .2+.3*r.Float64()
			truth = append(truth, d)
			p.found = append(p.found, foundHead{Look: head.Look{Diameter: d + bias + u*r.NormFloat64(), DiamU: math.Hypot(u, boxBias)}})
		}
		for i := range p.found {
			e := p.found[i].Diameter - truth[i]
			before += e * e
		}
		p.oneBox()
		for i := range p.found {
			e := p.found[i].Diameter - truth[i]
			after += e * e
			if n++; math.Abs(e) <= 1.96*p.found[i].DiamU {
				covered++
			}
		}
	}
	if after > .5*before {
		t.Errorf("mean square %.3f after, %.3f before: the heads do not help each other", after/n, before/n)
	}
	if c := covered / n; c < .93 || c > .985 {
		t.Errorf("U95 covers %.3f of the errors", c)
	}
	p := &pass{}
	for _, d := range []float64{10, 10.1, 9.9, 10, 7} {
		p.found = append(p.found, foundHead{Look: head.Look{Diameter: d, DiamU: .3}})
	}
	if p.oneBox(); p.found[4].Diameter != 7 || p.found[4].DiamU != .3 {
		t.Errorf("a head of another box came out as %.2f ± %.2f", p.found[4].Diameter, p.found[4].DiamU)
	}
}
