package course

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A line with a step beside it and a fifth of wild marks is still found.
func TestFitPolyLeavesOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	truth := poly{12, 4, -3}
	var ms []mark
	for i := range 300 {
		x := -900 + 6*float64(i)
		y := truth.at(x) + .4*r.NormFloat64()
		if i%5 == 0 {
			y += 10 + 20*r.Float64()
		}
		ms = append(ms, mark{along: x, across: y, weight: 1})
	}
	p, ok := fitPoly(ms, 2, poly{10}, 4, 20)
	if !ok {
		t.Fatal("no line found")
	}
	for _, x := range []float64{-900, 0, 880} {
		if d := math.Abs(p.at(x) - truth.at(x)); d > .25 {
			t.Errorf("at %.0f mm the line is %.2f mm off", x, d)
		}
	}
}

func TestFitPolyNeedsMarks(t *testing.T) {
	if _, ok := fitPoly([]mark{{across: 1, weight: 1}}, 1, poly{}, 5, 4); ok {
		t.Error("a line through one mark was taken")
	}
}

// thin keeps the weighted mean of what it joins.
func TestThinKeepsTheMean(t *testing.T) {
	ms := []mark{{along: 1, across: 2, weight: 1}, {along: 3, across: 6, weight: 3}, {along: 30, across: 9, weight: 1}}
	got := thin(ms, 16)
	if len(got) != 2 || math.Abs(got[0].across-5) > 1e-9 || math.Abs(got[0].along-2.5) > 1e-9 || got[1].across != 9 {
		t.Errorf("thin gave %+v", got)
	}
}
