package vision

import (
	"math"
	"strings"
	"testing"

	"coursegauge/vision/course"
	"coursegauge/vision/plane"
)

// A photo whose edges disagree says so, with the figure, the limit and what it
// does to its uncertainties.
func TestChecksTellDisagreement(t *testing.T) {
	for _, c := range []struct {
		chi, wide float64
		ok        bool
		says      []string
	}{
		{.3, 1, true, []string{"agree", "0.30", "0.56"}},
		{1.26, 1.5, false, []string{"disagree", "1.26", "0.56", "times 1.5"}},
	} {
		p := pass{r: &Result{Course: &Course{}}, solution: &plane.Solution{LineChi: c.chi, Wide: c.wide}}
		found := false
		for _, k := range p.checks() {
			if k.Name != "edges" {
				continue
			}
			found = true
			if k.OK != c.ok {
				t.Errorf("%.2f: ok %v", c.chi, k.OK)
			}
			for _, s := range c.says {
				if !strings.Contains(k.Text, s) {
					t.Errorf("%.2f: %q does not say %q", c.chi, k.Text, s)
				}
			}
		}
		if !found {
			t.Errorf("%.2f: no check of the edges", c.chi)
		}
		if u := p.lineU(&plane.Line{U: .4}); math.Abs(u-.4*c.wide) > 1e-12 {
			t.Errorf("a line of ±.4 mm counts as ±%.2f mm, want times %.1f", u, c.wide)
		}
	}
}

// A butt whose cells lie off it costs what butts of rendered photos were found to
// err by beyond those in plain sight: about .2 mm where cells are .35 to .4 mm off
// (.5 and .4 mm rms), up to 1 mm where they are .4 to .6 mm off (1.1 and .4 mm).
func TestUnclearLines(t *testing.T) {
	for _, c := range []struct{ rough, want float64 }{{0, 0}, {.2, 0}, {.35, 0}, {.4, .2}, {.5, .6}, {.6, 1}} {
		if u := unclear(c.rough); math.Abs(u-c.want) > 1e-9 {
			t.Errorf("cells %.2f mm off: %.2f mm, want %.2f", c.rough, u, c.want)
		}
	}
}

// A butt from which heads are measured is named with what it costs when it is not
// seen, or not plainly.
func TestChecksTellUnclearButts(t *testing.T) {
	piece := func(rough float64) *course.Piece { return &course.Piece{Butt: course.Edge{Rough: rough}} }
	heads := []Fastener{{Piece: 1}, {Piece: 2}, {Piece: 3}, {Piece: -1}}
	p := pass{r: &Result{Course: &Course{}, Fasteners: heads}, solution: &plane.Solution{Wide: 1}, geometry: []pieceLines{
		{butt: &plane.Line{}, sketch: piece(.35)}, {butt: &plane.Line{}, sketch: piece(.6)}, {sketch: piece(0)}, {sketch: piece(.6)},
	}}
	got := map[string]string{}
	for _, c := range p.checks() {
		if strings.HasPrefix(c.Name, "butt") {
			if c.OK {
				t.Errorf("%s: ok", c.Name)
			}
			got[c.Name] = c.Text
		}
	}
	if len(got) != 2 || !strings.Contains(got["butt of piece 2"], "0.6 mm off") || !strings.Contains(got["butt of piece 2"], "by 1.0 mm") || !strings.Contains(got["butt of piece 3"], "1.1 mm") {
		t.Errorf("%v", got)
	}
}
