package judge

import (
	"math"

	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// below is the probability that the true length is under the limit. A length
// without uncertainty is compared as it is.
//
// A distance to a joint is judged by below as well, although a draw under zero
// would be a joint on the other side: the more uncertain a distance, the
// nearer the answer comes to a half, never back to nought. So a poor
// measurement can not make a head clear.
func below(m length.Measured, limit length.MM) float64 {
	d, u := float64(limit-m.Value()), float64(m.U())
	if u == 0 {
		return truth(d > 0)
	}
	return stats.Normal(d / u)
}

// above is the probability that the true length is over the limit.
func above(m length.Measured, limit length.MM) float64 { return below(m.Neg(), -limit) }

// outside is the probability that the true length is under low or over high
// (JCGM 106:2012, 7.4: one minus the conformance probability of two limits).
func outside(m length.Measured, low, high length.MM) float64 {
	return below(m, low) + above(m, high)
}

// bothBelow is the probability that d is under its limit while y is under top,
// with the correlation of the two: the integral over y of its density times
// the probability of d given y.
func bothBelow(d length.Measured, limit length.MM, y length.Measured, top length.MM) float64 {
	uy, ud := float64(y.U()), float64(d.U())
	if uy == 0 || ud == 0 {
		return below(d, limit) * below(y, top)
	}
	slope := covariance(d, y) / (uy * ud) // the coefficient of correlation
	rest := length.MM(ud * math.Sqrt(math.Max(0, 1-slope*slope)))
	upper := math.Min(8, float64(top-y.Value())/uy)
	const lower, steps = -8.0, 400
	if upper <= lower {
		return 0
	}
	// Simpson's rule in units of y's uncertainty; 8 of them leave out 1e-15.
	sum, h := 0.0, (upper-lower)/steps
	for i := range steps + 1 {
		z := lower + h*float64(i)
		given := length.New(d.Value()+length.MM(slope*ud*z), rest)
		sum += simpson(i, steps) * stats.NormalDensity(z) * below(given, limit)
	}
	return math.Min(1, sum*h/3)
}

func simpson(i, steps int) float64 {
	switch {
	case i == 0 || i == steps:
		return 1
	case i%2 == 1:
		return 4
	}
	return 2
}

// covariance comes from the inputs that the two lengths share.
func covariance(a, b length.Measured) float64 {
	sum := 0.0
	for i := range min(len(a.Shared()), len(b.Shared())) {
		sum += a.Shared()[i] * b.Shared()[i]
	}
	return sum
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
