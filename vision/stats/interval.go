// Package stats holds the statistics of the whole program: intervals of shares
// and their differences, p charts, quantiles, and the normal distribution and its
// kin. It knows nothing of nails and pictures. All intervals of shares are for a
// random sample; photos of neighbouring pieces are none, and whoever shows an
// interval says so.
package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a 95 % confidence interval for a share, 0 to 1.
type Interval struct{ Low, High float64 }

// Wilson is the score interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927,
// 209-212; method 3 of R. G. Newcombe, Stat. Med. 17, 1998, 857-872). Without
// any observation it says nothing: 0 to 1.
func Wilson(k, n int) Interval { return WilsonOf(float64(k), float64(n)) }

// WilsonOf is Wilson for counts that were divided by a design effect, where
// neighbouring observations resemble each other and count for less.
func WilsonOf(k, n float64) Interval {
	if n <= 0 {
		return Interval{0, 1}
	}
	p := k / n
	middle := (p + z95*z95/(2*n)) / (1 + z95*z95/n)
	half := z95 / (1 + z95*z95/n) * math.Sqrt(p*(1-p)/n+z95*z95/(4*n*n))
	i := Interval{max(0, middle-half), min(1, middle+half)}
	if k == 0 { // rounding must not leave a trace of a share where none was seen
		i.Low = 0
	}
	if k == n {
		i.High = 1
	}
	return i
}

// Exact is the interval of C. J. Clopper and E. S. Pearson, Biometrika 26,
// 1934, 404-413; it holds at least 95 % of the time.
func Exact(k, n int) Interval {
	i := Interval{0, 1}
	if n <= 0 {
		return i
	}
	if k > 0 {
		i.Low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(.025)
	}
	if k < n {
		i.High = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(.975)
	}
	return i
}

// NoneSeen is the exact one-sided 95 % upper bound when none of n was so: the
// share at which seeing none still has a probability of 5 %.
func NoneSeen(n int) float64 {
	if n <= 0 {
		return 1
	}
	return 1 - math.Pow(.05, 1/float64(n))
}
