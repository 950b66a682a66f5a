package judge_test

import (
	"testing"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// layout is one piece as a person would draw it, in inches from its left end.
type layout struct {
	width   float64
	heads   []float64
	height  float64   // of all heads above the butt
	u       float64   // standard uncertainty of every length; 0.005, a careful steel rule, when 0
	lower   []float64 // joints of the course below
	next    []float64 // predicted joints of the course above
	drive   []vision.DriveClass
	covered bool
	left    vision.End // joint when empty
	right   vision.End
}

// result is what a photo of the layout would tell.
func (l layout) result() *vision.Result {
	if l.u == 0 {
		l.u = 0.005
	}
	m := func(v float64) *length.Measured {
		out := length.New(length.MM(v)*length.Inch, length.MM(l.u)*length.Inch)
		return &out
	}
	end := func(e vision.End) vision.End {
		if e == "" {
			return vision.EndJoint
		}
		return e
	}
	piece := vision.Piece{ID: 1, Left: end(l.left), Right: end(l.right), Width: m(l.width), Covered: l.covered}
	course := &vision.Course{}
	for _, x := range l.lower {
		course.LowerJoints = append(course.LowerJoints, vision.LowerJoint{X: *m(x)})
	}
	known := func(e vision.End) bool {
		return e == vision.EndJoint || e == vision.EndRake || e == vision.EndCut
	}
	if !known(piece.Left) || !known(piece.Right) {
		piece.Width = nil
	}
	course.Pieces = []vision.Piece{piece}
	r := &vision.Result{Course: course}
	for i, x := range l.heads {
		f := vision.Fastener{ID: i + 1, Piece: 1, Along: m(x), HeadDiameter: m(0.41)}
		f.AboveButt = m(l.height)
		if known(piece.Left) {
			f.LeftEnd = m(x)
		}
		if known(piece.Right) {
			f.RightEnd = m(l.width - x)
		}
		f.LowerJoint, f.NextJoint = m(0), m(0)
		if f.LowerJoint = nil; len(l.lower) > 0 {
			f.LowerJoint = m(nearest(x, l.lower))
		}
		if f.NextJoint = nil; len(l.next) > 0 {
			f.NextJoint = m(nearest(x, l.next))
		}
		f.Drive = vision.Drive{Class: vision.Flush, P: map[vision.DriveClass]float64{vision.Flush: 0.97, vision.Cocked: 0.03}}
		if i < len(l.drive) && l.drive[i] != vision.Flush {
			f.Drive = vision.Drive{Class: l.drive[i], P: map[vision.DriveClass]float64{vision.Flush: 0.1, l.drive[i]: 0.9}}
		}
		r.Fasteners = append(r.Fasteners, f)
	}
	return r
}

func nearest(x float64, joints []float64) float64 {
	best := 1e9
	for _, j := range joints {
		if d := x - j; d < 0 && -d < best {
			best = -d
		} else if d >= 0 && d < best {
			best = d
		}
	}
	return best
}

func read(t testing.TB, text string) schedule.Schedule {
	t.Helper()
	s, err := schedule.Read("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// find gives the finding of a rule: of a head by index, or of the piece and
// its joints when head is -1. A gap concerns the piece; it is asked for by the
// index of the right one of its two heads.
func find(p judge.Photo, rule string, head int) (judge.Finding, bool) {
	if rule == "gap" {
		for _, f := range p.Pieces {
			if f.Rule == rule {
				if head--; head == 0 {
					return f.Finding, true
				}
			}
		}
		return judge.Finding{}, false
	}
	if head < 0 {
		for _, f := range p.Pieces {
			if f.Rule == rule {
				return f.Finding, true
			}
		}
		return judge.Finding{}, false
	}
	for _, f := range p.Heads[head].Findings {
		if f.Rule == rule {
			return f, true
		}
	}
	return judge.Finding{}, false
}
