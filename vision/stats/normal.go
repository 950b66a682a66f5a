package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// z95 is the 97.5 % point of the standard normal distribution: 95 % of it lie
// within Z95 to either side.
const z95 = 1.959963984540054

// Normal is the distribution function of the standard normal distribution.
func Normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// NormalDensity is its density.
func NormalDensity(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// Student95 is the factor of a two-sided 95 % interval with so many degrees of
// freedom. A spread that rests on less than one is as good as unknown: it has
// the factor of one.
func Student95(freedom float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(freedom, 1)}.Quantile(.975)
}

// SpreadInterval is the 95 % interval of a standard deviation s with so many
// degrees of freedom, of values from a normal distribution.
func SpreadInterval(s, freedom float64) Interval {
	c := distuv.ChiSquared{K: freedom}
	return Interval{s * math.Sqrt(freedom/c.Quantile(.975)), s * math.Sqrt(freedom/c.Quantile(.025))}
}
