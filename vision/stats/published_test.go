package stats

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The examples of R. G. Newcombe, Stat. Med. 17, 1998, 873-890, table II, method
// 10. The first two are quoted from the paper by public test files; the others
// were worked out with its formula and agree with the paper as remembered.
func TestNewcombeDifferences(t *testing.T) {
	for _, c := range []struct{ k1, n1, k2, n2, d, low, high float64 }{
		{56, 70, 48, 80, .2000, .0524, .3339},
		{9, 10, 3, 10, .6000, .1705, .8090},
		{6, 7, 2, 7, .5714, .0582, .8062},
		{5, 56, 0, 29, .0893, -.0381, .1926},
		{0, 10, 0, 20, 0, -.1611, .2775},
		{0, 10, 0, 10, 0, -.2775, .2775},
		{10, 10, 0, 20, 1, .6791, 1},
		{10, 10, 0, 10, 1, .6075, 1},
	} {
		d, i := Difference(c.k1, c.n1, c.k2, c.n2)
		if !near(d, c.d) || !near(i.Low, c.low) || !near(i.High, c.high) {
			t.Errorf("%v/%v - %v/%v = %.4f (%.4f), want %.4f (%.4f, %.4f)", c.k1, c.n1, c.k2, c.n2, d, i, c.d, c.low, c.high)
		}
		if m, j := Difference(c.k2, c.n2, c.k1, c.n1); !near(m, -c.d) || !near(j.Low, -c.high) || !near(j.High, -c.low) {
			t.Errorf("turned round: %.4f (%.4f)", m, j)
		}
	}
	if d, i := Difference(0, 0, 1, 2); !math.IsNaN(d) || i != (Interval{-1, 1}) {
		t.Errorf("of nothing: %v %v", d, i)
	}
}

// NIST/SEMATECH e-Handbook, 6.3.3.2: bad chips on 30 wafers of 50. Centre and
// limits are worked out from the handbook's counts; it prints .2313.
var wafers = []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}

func TestHandbookWafers(t *testing.T) {
	n := slices.Repeat([]int{50}, 30)
	centre, points := Chart(wafers, n)
	var out []int
	for i, p := range points {
		if p.Out {
			out = append(out, i+1)
		}
		if p.Exact || !near(p.Low, .05243) || !near(p.High, .41024) {
			t.Fatalf("%+v", p)
		}
	}
	if !near(centre, .23133) || !slices.Equal(out, []int{15, 23}) {
		t.Errorf("centre %.5f, out %v", centre, out)
	}
	// Without the two: 301 of 1400, limits .0407 and .3893, and sample 21 is out.
	k := slices.DeleteFunc(slices.Clone(wafers), func(v int) bool { return v == 22 || v == 24 })
	centre, points = Chart(k, n[:28])
	i := slices.Index(k, 20)
	if !near(centre, .2150) || !near(points[i].High, .3893) || !near(points[i].Low, .0407) || !points[i].Out {
		t.Errorf("centre %.4f, %+v", centre, points[i])
	}
}

// A trainee's day of 100 nails at a share of .05: limits .1154 and 0, worked out
// by hand; a day of 30 has limits of its own, and those of the binomial
// distribution, since 1.5 bad ones are expected.
func TestTraineesDays(t *testing.T) {
	_, points := Chart([]int{5, 95, 1, 0}, []int{100, 1900, 30, 0})
	if len(points) != 3 {
		t.Fatalf("%d points", len(points))
	}
	if p := limits(5, 100, .05); p.Exact || !near(p.High, .1154) || p.Low != 0 {
		t.Errorf("%+v", p)
	}
	p := limits(6, 30, .05)
	b := distuv.Binomial{N: 30, P: .05}
	most := math.Round(p.High * 30)
	if !p.Exact || p.Low != 0 || 1-b.CDF(most) > tail || 1-b.CDF(most-1) <= tail {
		t.Errorf("%+v", p)
	}
	if p.Out || !limits(int(most)+1, 30, .05).Out {
		t.Errorf("most %v: %+v", most, p)
	}
	if c, points := Chart([]int{0, 0}, []int{9, 4}); c != 0 || points[0].Out {
		t.Errorf("none bad: %v %+v", c, points)
	}
}

// Clusters that are all alike inside count as one observation each.
func TestDesignEffect(t *testing.T) {
	if d := DesignEffect([]int{10, 0, 10, 0}, []int{10, 10, 10, 10}); math.Abs(d-10*4./3) > 1e-9 {
		t.Errorf("%v", d)
	}
	if d := DesignEffect([]int{1, 1, 1, 1}, []int{10, 10, 10, 10}); d != 1 {
		t.Errorf("%v", d)
	}
}
