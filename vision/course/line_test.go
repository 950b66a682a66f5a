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

// Cells that lie by turns on either side of a sloping line are as far off it as
// they are, whatever the slope; a line of one cell or none is not rough, and
// the rougher of two stretches counts.
func TestRough(t *testing.T) {
	zigzag := func(n int, off, slope float64) (ms []mark) {
		for i := range n {
			d := off
			if i%4 == 1 || i%4 == 2 { // + - - +: no trend of its own
				d = -off
			}
			a := 10 * float64(i)
			ms = append(ms, mark{along: a, across: 3 + slope*a + d, weight: 2, spread: .2})
		}
		return ms
	}
	for _, c := range []struct {
		name string
		ms   []mark
		want float64
	}{
		{"none", nil, 0}, {"one", zigzag(1, .5, 0), 0}, {"two", zigzag(2, .5, 0), 0},
		{"straight", zigzag(40, 0, .02), 0}, {"half a millimetre", zigzag(40, .5, 0), .5}, {"on a slope", zigzag(40, .5, -.03), .5},
	} {
		if got := rough(c.ms); math.Abs(got-c.want) > 1e-3 {
			t.Errorf("%s: %.4f mm, want %.4f", c.name, got, c.want)
		}
	}
	a, b := edge(zigzag(40, .5, 0), 40), edge(zigzag(40, .1, 0), 40)
	if got := b.With(a).Rough; math.Abs(got-.5) > 1e-3 {
		t.Errorf("two stretches: %.3f mm, want the rougher one's .5", got)
	}
}
