package course

import "math"

// mark is one cell's word about a line: along and across it in the view's
// roof frame (mm), its weight, and the spread that the network tells (mm).
type mark struct {
	along, across, weight, spread float64
	col, row                      float64 // view pixels
}

// poly is across = c[0] + c[1] a + c[2] a², with a = along/1000.
type poly [3]float64

func (p poly) at(along float64) float64 {
	a := along / 1000
	return p[0] + a*(p[1]+a*p[2])
}

// slope is the derivative at a place, dimensionless.
func (p poly) slope(along float64) float64 { return (p[1] + 2*p[2]*along/1000) / 1000 }

// fitPoly fits a polynomial of the given degree (0 to 2) by least squares with
// Tukey's weights of half width reach (mm), shrinking in a few rounds; ok is
// false when fewer than least marks remain within reach.
func fitPoly(ms []mark, degree int, start poly, reach float64, least int) (p poly, ok bool) {
	p = start
	for _, r := range []float64{3 * reach, 2 * reach, reach, reach} {
		var n [3][3]float64
		var g [3]float64
		used := 0
		for _, m := range ms {
			e := (m.across - p.at(m.along)) / r
			if e*e >= 1 {
				continue
			}
			used++
			w := m.weight * (1 - e*e) * (1 - e*e)
			a := m.along / 1000
			b := [3]float64{1, a, a * a}
			for i := range degree + 1 {
				for j := range degree + 1 {
					n[i][j] += w * b[i] * b[j]
				}
				g[i] += w * b[i] * m.across
			}
		}
		if used < least {
			return p, false
		}
		x, good := solve(n, g, degree+1)
		if !good {
			return p, false
		}
		p = x
	}
	return p, true
}

// solve is Gauss elimination of a small symmetric system, lightly damped.
func solve(n [3][3]float64, g [3]float64, k int) (x poly, ok bool) {
	for i := range k {
		n[i][i] += 1e-9 * (1 + n[i][i])
	}
	for i := range k {
		if math.Abs(n[i][i]) < 1e-12 {
			return x, false
		}
		for j := i + 1; j < k; j++ {
			f := n[j][i] / n[i][i]
			for c := i; c < k; c++ {
				n[j][c] -= f * n[i][c]
			}
			g[j] -= f * g[i]
		}
	}
	for i := k - 1; i >= 0; i-- {
		x[i] = g[i]
		for c := i + 1; c < k; c++ {
			x[i] -= n[i][c] * x[c]
		}
		x[i] /= n[i][i]
	}
	return x, true
}

// inliers are the marks within reach of a line.
func inliers(ms []mark, p poly, reach float64) []mark {
	var out []mark
	for _, m := range ms {
		if math.Abs(m.across-p.at(m.along)) < reach {
			out = append(out, m)
		}
	}
	return out
}

// thin averages marks in bins along the line, so that an adjustment sees some
// dozens of quiet points instead of hundreds of noisy ones.
func thin(ms []mark, bin float64) []mark {
	sum := map[int]*mark{}
	var keys []int
	for _, m := range ms {
		k := int(math.Floor(m.along / bin))
		s := sum[k]
		if s == nil {
			s = &mark{}
			sum[k] = s
			keys = append(keys, k)
		}
		s.along += m.along * m.weight
		s.across += m.across * m.weight
		s.col += m.col * m.weight
		s.row += m.row * m.weight
		s.spread += m.spread * m.weight
		s.weight += m.weight
	}
	out := make([]mark, 0, len(keys))
	for _, k := range keys {
		s := sum[k]
		w := s.weight
		out = append(out, mark{along: s.along / w, across: s.across / w, col: s.col / w, row: s.row / w, spread: s.spread / w, weight: w})
	}
	return out
}
