package vision

import (
	"math"
	"testing"
)

// The rise's uncertainty against the mixture worked out by hand:
// u² + Σ p ((mean - rise)² + u_class²) over the classes that are not the
// likeliest.
func TestRiseFollowsTheDrive(t *testing.T) {
	p := func(flush, over, under, cocked float64) map[DriveClass]float64 {
		return map[DriveClass]float64{Flush: flush, Overdriven: over, Underdriven: under, Cocked: cocked}
	}
	for _, c := range []struct {
		name          string
		p             map[DriveClass]float64
		rise, u, want float64
	}{
		{"surely flush", p(1, 0, 0, 0), .3, .2, .2},
		{"underdriven with .03", p(.97, 0, .03, 0), .3, .2, math.Sqrt(.04 + .03*(4.45*4.45+1.69))},
		{"underdriven with .3", p(.7, 0, .3, 0), .3, .2, math.Sqrt(.04 + .3*(4.45*4.45+1.69))},
		{"surely underdriven, 5 mm out", p(0, 0, 1, 0), 5, .6, .6},
		{"perhaps flush all the same", p(.1, 0, .9, 0), 5, .6, math.Sqrt(.36 + .1*(4.7*4.7+.04))},
		{"sunk or cocked", p(.5, .25, 0, .25), .3, .2, math.Sqrt(.04 + .25*(.9*.9+.25) + .25*(1.5*1.5+.81))},
	} {
		if got := riseU(Drive{P: c.p}, c.rise, c.u); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %.4f mm, want %.4f", c.name, got, c.want)
		}
	}
}
