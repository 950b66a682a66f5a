package plane

import (
	"math"
	"strings"
	"testing"
)

// TestRayUndoesTangential: Ray is the inverse of Project with all terms at
// sizes that phones have.
func TestRayUndoesTangential(t *testing.T) {
	l := Lens{F: 2950, Cx: 2030, Cy: 1500, K1: .04, K2: -.05, P1: .0012, P2: -.0015}
	for u := 0.0; u <= 4031; u += 403.1 {
		for v := 0.0; v <= 3023; v += 302.3 {
			x, y := l.Project(l.Ray(u, v))
			if math.Hypot(x-u, y-v) > 1e-3 {
				t.Fatalf("%.0f, %.0f comes back as %.4f, %.4f", u, v, x, y)
			}
		}
	}
}

// TestLensPrior: the residuals of a deviation have the Mahalanobis length that
// the covariance gives (worked by hand for two correlated parameters).
func TestLensPrior(t *testing.T) {
	l := Lens{F: 3000, Cx: 2000, Cy: 1500, K1: .03, K2: -.04, P1: .0004}
	// K1 with u .002 and K2 with u .01, correlated by -.8; the others apart
	cov := [5][5]float64{{1e-6}, {0, 4e-6, -1.6e-5}, {0, -1.6e-5, 1e-4}, {0, 0, 0, 4}, {0, 0, 0, 0, 9}}
	p, err := NewLensPrior(l, cov)
	if err != nil {
		t.Fatal(err)
	}
	if u := p.U(); math.Abs(u[0]-.001) > 1e-12 || math.Abs(u[4]-3) > 1e-12 {
		t.Errorf("u %v", u)
	}
	square := func(m Lens) (s float64) {
		for _, r := range p.residuals(&m) {
			s += r * r
		}
		return s
	}
	along, across := l, l
	along.K1, along.K2 = l.K1+.002, l.K2-.01   // as they err together: (1, -1) in units of u
	across.K1, across.K2 = l.K1+.002, l.K2+.01 // as they hardly do
	for _, c := range []struct {
		lens Lens
		want float64
	}{{l, 0}, {along, 2 * (1 - .8) / (1 - .64)}, {across, 2 * (1 + .8) / (1 - .64)}} {
		if got := square(c.lens); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%+v: %.4f, want %.4f", c.lens, got, c.want)
		}
	}
	m := l
	m.F, m.Cx = l.F*math.Exp(.003), l.Cx+4
	if got := square(m); math.Abs(got-13) > 1e-6 { // 3² + 2²
		t.Errorf("%.4f, want 13", got)
	}
	prior := DefaultPrior(false).With(p)
	if prior.Lens != p || prior.K1 != l.K1 || DefaultPrior(false).With(nil).Lens != nil {
		t.Errorf("%+v", prior)
	}
}

func TestLensPriorRefuses(t *testing.T) {
	good := [5][5]float64{{1e-6}, {0, 1e-6}, {0, 0, 1e-5}, {0, 0, 0, 1}, {0, 0, 0, 0, 1}}
	bad := good
	bad[2][2] = -1
	for _, c := range []struct {
		l    Lens
		cov  [5][5]float64
		says string
	}{{Lens{}, good, "focal length"}, {Lens{F: math.Inf(1)}, good, "focal length"}, {Lens{F: 1}, bad, "positive definite"}} {
		if _, err := NewLensPrior(c.l, c.cov); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.l, err, c.says)
		}
	}
}
