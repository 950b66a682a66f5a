package card

import "math"

// normal accumulates the normal equations of a linear least squares fit with up
// to six unknowns; the rest of the arrays stays unused.
type normal struct {
	n int
	a [6][6]float64
	b [6]float64
}

// add takes one observation y = row . x with weight w.
func (s *normal) add(row [6]float64, y, w float64) {
	for i := 0; i < s.n; i++ {
		wi := w * row[i]
		for j := i; j < s.n; j++ {
			s.a[i][j] += wi * row[j]
		}
		s.b[i] += wi * y
	}
}

// solve gives the unknowns by Cholesky's factors; ok is false when the
// observations do not determine them.
func (s *normal) solve() (x [6]float64, ok bool) {
	var l [6][6]float64
	for i := 0; i < s.n; i++ {
		for j := 0; j <= i; j++ {
			t := s.a[j][i]
			for k := 0; k < j; k++ {
				t -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = t / l[j][j]
			} else if t > 1e-12*math.Abs(s.a[i][i]) {
				l[i][i] = math.Sqrt(t)
			} else {
				return x, false
			}
		}
	}
	for i := 0; i < s.n; i++ {
		x[i] = s.b[i]
		for k := 0; k < i; k++ {
			x[i] -= l[i][k] * x[k]
		}
		x[i] /= l[i][i]
	}
	for i := s.n - 1; i >= 0; i-- {
		for k := i + 1; k < s.n; k++ {
			x[i] -= l[k][i] * x[k]
		}
		x[i] /= l[i][i]
	}
	return x, true
}
