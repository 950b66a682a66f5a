package card

import (
	"math"
	"sort"
)

const (
	localFloor = .25 // px: a corner nearer than this to its neighbours' trend is never thrown out
	localLimit = 5   // times the robust standard deviation
)

// local judges each corner against the trend of all: the residuals r of the
// homography at the places at (both axes scaled to about -1 to 1) are fitted by
// a quadratic surface in each axis, robustly. Lens and bend make such a smooth
// trend and must not cost corners; a corner that sits on something laid over the
// card departs alone. It answers which to keep and the standard deviation of a
// coordinate about the trend, px.
func local(at, r [][2]float64) (keep []bool, sd float64) {
	keep = make([]bool, len(at))
	off := make([]float64, len(at))
	weight := make([]float64, len(at))
	for i := range weight {
		weight[i] = 1
	}
	limit := localFloor
	for range 10 {
		fit, ok := trend(at, r, weight)
		if !ok {
			break
		}
		for i, p := range at {
			off[i] = distance(fit(p), r[i])
		}
		// The median of a Rayleigh distributed distance is 1.1774 sd.
		sd = median(off) / 1.1774
		limit = math.Max(localFloor, localLimit*sd)
		for i := range weight {
			t := math.Min(1, off[i]/limit)
			weight[i] = (1 - t*t) * (1 - t*t) // Tukey
		}
	}
	for i := range keep {
		keep[i] = off[i] < limit
	}
	return keep, sd * inflation(len(at))
}

// inflation makes good for the degrees of freedom that the trend used up.
func inflation(n int) float64 {
	k := float64(unknowns(n))
	return math.Sqrt(float64(n) / math.Max(1, float64(n)-k))
}

// unknowns of the trend: quadratic, or plane when there are few corners.
func unknowns(n int) int {
	if n < 18 {
		return 3
	}
	return 6
}

func trend(at, r [][2]float64, weight []float64) (func([2]float64) [2]float64, bool) {
	row := func(p [2]float64) [6]float64 {
		return [6]float64{1, p[0], p[1], p[0] * p[0], p[0] * p[1], p[1] * p[1]}
	}
	ex, ey := normal{n: unknowns(len(at))}, normal{n: unknowns(len(at))}
	for i, p := range at {
		ex.add(row(p), r[i][0], weight[i])
		ey.add(row(p), r[i][1], weight[i])
	}
	cx, okx := ex.solve()
	cy, oky := ey.solve()
	return func(p [2]float64) (v [2]float64) {
		for i, t := range row(p) {
			v[0] += cx[i] * t
			v[1] += cy[i] * t
		}
		return v
	}, okx && oky
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}
