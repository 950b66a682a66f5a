package judge

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// TestConformity holds the examples of JCGM 106:2012 (numbers from memory and
// recomputed, not read in the guide).
func TestConformity(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		// One limit: V <= -5.40, measured -5.47, u 0.05: Phi(1.40), printed 0.92.
		{"one limit", below(length.New(-5.47, 0.05), -5.40), 0.91924},
		// Speed over 100 at 2 %: acting at 107 is right with 99.9 % and more.
		{"speed at 107", above(length.New(107, 2.14), 100), 0.99946},
		{"speed at the least value to act on", above(length.New(106.59, 0.02*106.59), 100), 0.999},
		// A guard band of 1.6449 u leaves 5 % at its edge; of 2 u, 2.3 %.
		{"guard band of 1.6449 u", outside(length.New(10-1.6449, 1), -90, 10), 0.05},
		{"guard band of 2 u", outside(length.New(8, 1), -90, 10), 0.02275},
		// Two limits: Phi((10-9.5)/0.5) - Phi((9-9.5)/0.5) = 0.68269 inside.
		{"two limits", 1 - outside(length.New(9.5, 0.5), 9, 10), 0.68269},
		{"exact, inside", outside(length.New(9.5, 0), 9, 10), 0},
		{"exact, on the limit", outside(length.New(10, 0), 9, 10), 0},
		{"exact, outside", outside(length.New(8.9, 0), 9, 10), 1},
	} {
		if math.Abs(c.got-c.want) > 1e-5 {
			t.Errorf("%s: %.6f, want %.5f", c.name, c.got, c.want)
		}
	}
	if p := below(length.New(5.5, 0.05), 4); p <= 0 || p > 1e-190 {
		t.Errorf("a far tail comes out as %g", p)
	}
}

// TestBothBelow compares the probability of two events with draws, at every
// degree of correlation, and with the product where there is none.
func TestBothBelow(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const draws = 40000
	for _, rho := range []float64{-0.95, -0.5, 0, 0.5, 0.95, 1} {
		for range 4 {
			d, y := length.MM(50+3*r.NormFloat64()), length.MM(190+3*r.NormFloat64())
			const ud, uy, limit, top = 2.0, 1.5, 50.8, 192.0
			D := length.New(d, length.MM(ud*math.Sqrt(1-rho*rho))).WithShared([]float64{ud * rho})
			Y := length.New(y, 0).WithShared([]float64{uy})
			n := 0
			for range draws {
				z := r.NormFloat64()
				x := float64(d) + ud*(rho*z+math.Sqrt(1-rho*rho)*r.NormFloat64())
				if x < limit && float64(y)+uy*z < top {
					n++
				}
			}
			p, seen := bothBelow(D, limit, Y, top), float64(n)/draws
			if math.Abs(p-seen) > 4*math.Sqrt(p*(1-p)/draws)+1e-3 {
				t.Errorf("correlation %.2f: told %.4f, seen %.4f", rho, p, seen)
			}
			if product := below(D, limit) * below(Y, top); rho == 0 && math.Abs(p-product) > 1e-9 {
				t.Errorf("no correlation: %.12f, product %.12f", p, product)
			}
		}
	}
}
