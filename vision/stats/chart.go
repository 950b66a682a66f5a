package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Point is one sample of a p chart.
type Point struct {
	K, N      int
	Low, High float64 // the control limits of a sample of this size
	Exact     bool    // the limits are those of the binomial distribution
	Out       bool    // its share lies beyond them
}

// tail is the probability beyond a limit of three standard deviations, on one side.
var tail = Normal(-3)

// Chart makes a p chart of samples of whatever size: the centre line is the
// share in all of them, and the limits lie three standard deviations of a share
// of n observations to either side, cut at 0 and 1 (NIST/SEMATECH e-Handbook of
// Statistical Methods, 6.3.3.2). Where fewer than five are expected of one kind
// the normal distribution does not hold (the same, 6.3.3.2 on small samples);
// there the limits are the shares beyond which the binomial distribution leaves
// no more than the same probability, .00135, to either side.
func Chart(k, n []int) (centre float64, points []Point) {
	K, N := 0, 0
	for i := range n {
		K, N = K+k[i], N+n[i]
	}
	if N == 0 {
		return 0, nil
	}
	centre = float64(K) / float64(N)
	for i := range n {
		if n[i] > 0 {
			points = append(points, limits(k[i], n[i], centre))
		}
	}
	return centre, points
}

func limits(k, n int, p float64) Point {
	size := float64(n)
	pt := Point{K: k, N: n}
	if pt.Exact = size*min(p, 1-p) < 5; pt.Exact {
		pt.Low, pt.High = exactLimits(n, p)
	} else {
		s := 3 * math.Sqrt(p*(1-p)/size)
		pt.Low, pt.High = max(0, p-s), min(1, p+s)
	}
	share := float64(k) / size
	pt.Out = share < pt.Low || share > pt.High
	return pt
}

// exactLimits are the least and the greatest share that a sample of n keeps to:
// fewer, or more, have a probability of at most tail.
func exactLimits(n int, p float64) (low, high float64) {
	if p == 0 || p == 1 {
		return p, p
	}
	b := distuv.Binomial{N: float64(n), P: p}
	least, most := 0, n
	for least < n && b.CDF(float64(least)) <= tail {
		least++
	}
	for most > 0 && 1-b.CDF(float64(most-1)) <= tail {
		most--
	}
	return float64(least) / float64(n), float64(most) / float64(n)
}
