package length_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// TestEndGauge is example H.1 of JCGM 100:2008: a 50 mm end gauge against a
// standard, l = lS + d - lS (dalpha theta + alphaS dtheta). The guide's own
// result is 50.000838 mm with a combined standard uncertainty of 32 nm, of
// which 25, 9.7, 2.9 and 16.6 nm come from the standard, the comparison, the
// expansion coefficients and the temperatures.
//
// The inputs enter as a program would feed them: the reading's own part as
// own uncertainty, what two gauges of one comparator would share as shared
// effects. Terms with a zero sensitivity (alphaS, theta) add nothing to first
// order.
func TestEndGauge(t *testing.T) {
	const (
		lS         = 50.000623 // mm
		uStandard  = 25e-6     // mm
		difference = 215e-6    // mm
		alphaS     = 11.5e-6   // per degree
		theta      = -0.1      // degrees
		uDAlpha    = 0.58e-6
		uDTheta    = 0.029
	)
	uDifference := math.Sqrt(5.8*5.8+3.9*3.9+6.7*6.7) * 1e-6
	standard := length.New(lS, 0).WithShared([]float64{uStandard, 0, 0})
	reading := length.New(difference, length.MM(uDifference)).
		WithShared([]float64{0, -lS * theta * uDAlpha, -lS * alphaS * uDTheta})
	gauge := standard.Add(reading)

	if got := gauge.Value(); math.Abs(float64(got)-50.000838) > 1e-9 {
		t.Errorf("length %.9f mm, the guide gives 50.000838", got)
	}
	if u := float64(gauge.U()) * 1e6; math.Abs(u-32) > 0.5 {
		t.Errorf("combined standard uncertainty %.3f nm, the guide gives 32", u)
	}
	for i, want := range []float64{25, 2.9, 16.6} { // as printed in the guide's table H.1
		if got := math.Abs(gauge.Shared()[i]) * 1e6; math.Abs(got-want) > 0.1 {
			t.Errorf("part %d is %.3f nm, the guide gives %.1f", i, got, want)
		}
	}
	if got := float64(gauge.Own()) * 1e6; math.Abs(got-9.7) > 0.05 {
		t.Errorf("comparison part %.3f nm, the guide gives 9.7", got)
	}

	// A second gauge against the same standard in the same bath: of the
	// difference only the two readings' own parts remain.
	second := standard.Add(length.New(300e-6, length.MM(uDifference)).WithShared(reading.Shared()))
	if got, want := float64(second.Sub(gauge).U()), math.Sqrt2*uDifference; math.Abs(got-want) > 1e-12 {
		t.Errorf("difference of two gauges has u = %g mm, want %g", got, want)
	}
}

// TestCorrelation draws the inputs of two lengths many times and compares the
// scatter of their difference, sum and negation with the told uncertainty.
func TestCorrelation(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const draws = 20000
	for range 10 {
		a, b := random(r), random(r)
		var sub, add spread
		for range draws {
			z := []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
			x, y := draw(a, z, r.NormFloat64()), draw(b, z, r.NormFloat64())
			sub.take(x - y)
			add.take(x + y)
		}
		// The standard deviation of 20000 draws scatters by 1/sqrt(2 n) = 0.5 %.
		for name, c := range map[string]struct {
			told length.Measured
			seen spread
		}{"sub": {a.Sub(b), sub}, "add": {a.Add(b), add}, "neg": {a.Neg().Sub(b.Neg()), sub}, "abs": {a.Sub(b).Abs(), sub}} {
			if got, want := c.seen.sd(), float64(c.told.U()); math.Abs(got/want-1) > 0.025 {
				t.Errorf("%s: scatter %.4f, told %.4f", name, got, want)
			}
		}
		if d := a.Sub(a.Plus(5)); math.Abs(float64(d.Value())+5) > 1e-9 || math.Abs(float64(d.U())-math.Sqrt2*float64(a.Own())) > 1e-12 {
			t.Errorf("a length less itself keeps shared parts: %v", d)
		}
		if w := a.Widen(length.Height, 3); w.U() <= a.U() || w.Value() != a.Value() {
			t.Errorf("Widen(3) of u %v gives u %v", a.U(), w.U())
		}
	}
}

func random(r *rand.Rand) length.Measured {
	m := length.New(length.MM(100*r.NormFloat64()), length.MM(r.Float64()))
	return m.WithShared([]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
}

// draw is one possible true value of m, given the shared inputs z and its own e.
func draw(m length.Measured, z []float64, e float64) float64 {
	v := float64(m.Value()) + float64(m.Own())*e
	for i, s := range m.Shared() {
		v += s * z[i]
	}
	return v
}

type spread struct{ n, sum, squares float64 }

func (s *spread) take(v float64) { s.n++; s.sum += v; s.squares += v * v }
func (s *spread) sd() float64 {
	mean := s.sum / s.n
	return math.Sqrt(s.squares/s.n - mean*mean)
}
