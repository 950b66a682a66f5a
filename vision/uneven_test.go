package vision

import (
	"math"
	"testing"

	"coursegauge/vision/plane"
)

// Two lower joints 9 mm more than a width apart are both told to half of that;
// a third one that agrees with one of them keeps that one as it is.
func TestUnevenLowerJointsWiden(t *testing.T) {
	f := plane.FrameFrom(plane.CardPose{R: plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}, T: plane.Vec{0, 0, 1500}}, plane.Lens{F: 2500, Cx: 1500, Cy: 1000}, plane.CardPlace{}, plane.NewStack(true, 2.6, 337, 143))
	joint := func(x float64) lowerLine {
		l := plane.Line{Kind: plane.Joint, Course: -1, U: .5}
		for y := -138.0; y <= -5; y += 19 {
			u, v := f.Project(x, y, f.Stack.At(y+143))
			l.Pts = append(l.Pts, [2]float64{u, v})
		}
		return lowerLine{line: &l}
	}
	for _, c := range []struct {
		name string
		x    []float64
		want []float64
	}{
		{"even", []float64{-300, 700}, []float64{0, 0}},
		{"even within what a width differs by", []float64{-300, 702}, []float64{0, 0}},
		{"one is off", []float64{-300, 709}, []float64{4.5, 4.5}},
		{"one of three is off", []float64{-1300, -300, 709}, []float64{0, 0, 4.5}},
		{"alone", []float64{-300}, []float64{0}},
	} {
		p := &pass{solution: &plane.Solution{Frame: f}, o: Options{Product: Product{Width: 1000}}}
		for _, x := range c.x {
			p.lower = append(p.lower, joint(x))
		}
		p.unevenLower()
		for i, l := range p.lower {
			if math.Abs(l.u-c.want[i]) > .05 {
				t.Errorf("%s: joint %d is widened by %.2f mm, want %.1f", c.name, i, l.u, c.want[i])
			}
		}
	}
}
