package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// Roofs that are off from one source only scatter as that source's entry of
// the budget says, for each of them: sum of squared normalised errors against
// its chi-square distribution.
func TestEachSourceAddsWhatItsEntrySays(t *testing.T) {
	const (
		draws      = 60
		negligible = .005 // mm: under it the adjustment's own convergence shows
	)
	for _, only := range length.Sources() {
		if only == length.Localisation {
			continue // not an input of the adjustment
		}
		t.Run(only.String(), func(t *testing.T) {
			r := rand.New(rand.NewPCG(41, uint64(only)))
			var height, width score
			for range draws {
				o := drawRoofBy(r, .001, func(from length.Source, u float64) float64 {
					if from != only {
						return 0
					}
					return u * r.NormFloat64()
				})
				if only == length.Bend { // in a sharp photo the corners leave nothing of it open
					o.problem.Prior.CornerPx = 1.5
				}
				s := o.problem.Solve()
				above, want := o.aboveButt(1, 450, 165)
				height.take(s, above, want, only)
				place := o.fromLeftEnd(450, 165)
				width.take(s, place, 450-o.left.across(165), only)
			}
			low, high := chiBounds(draws)
			for name, q := range map[string]score{"height above the butt": height, "distance to the left end": width} {
				told, off := math.Sqrt(q.told/draws), math.Sqrt(q.off/draws)
				t.Logf("%s: told %.3f mm, off by %.3f mm rms", name, told, off)
				if told < negligible && off < negligible {
					continue
				}
				if v := q.normal / draws; v < low || v > high {
					t.Errorf("%s: errors have a variance of %.2f of what the budget says, want %.2f to %.2f", name, v, low, high)
				}
			}
		})
	}
}

// score sums squares over draws: of errors, of what is told, of their ratio.
type score struct{ off, told, normal float64 }

func (q *score) take(s *Solution, quantity func(*Frame) float64, want float64, only length.Source) {
	e := quantity(&s.Frame) - want
	u := float64(length.New(0, 0).WithShared(s.Effects(quantity)).Budget(s.Sources())[only])
	q.off, q.told, q.normal = q.off+e*e, q.told+u*u, q.normal+e*e/(u*u)
}

// The parts that the groups of observations leave open add up to the inverse of
// the normal matrix.
func TestInputsAddUpToTheCovariance(t *testing.T) {
	o := drawRoof(rand.New(rand.NewPCG(42, 1)), 1)
	s := o.problem.Solve()
	r, nc, nl := o.problem.residuals(&s.Params, nil)
	w := weights(r, nc, nl, 1)
	N, _ := o.problem.normal(&s.Params, r, w)
	for i := range nParams {
		for j := range nParams {
			// row i of the covariance times column j of N is one where i = j
			sum := 0.0
			for k := range nParams {
				c := 0.0
				for m := range s.inputs.sources {
					c += s.inputs.root.At(i, m) * s.inputs.root.At(k, m)
				}
				sum += c * N.At(k, j)
			}
			want := 0.0
			if i == j {
				want = 1
			}
			// units differ: compare in those of the unknowns' own uncertainties
			if d := (sum - want) * s.U(j) / s.U(i); math.Abs(d) > 1e-5 {
				t.Errorf("covariance times normal matrix at (%d, %d) is off by %.2g", i, j, d)
			}
		}
	}
}
