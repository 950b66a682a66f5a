package vision

import (
	"math"

	"coursegauge/vision/course"
	"coursegauge/vision/length"
)

// courseResult is the open course in the words of a Result.
func (p *pass) courseResult() *Course {
	f := &p.solution.Frame
	c := &Course{}
	at := func(x, y float64) Point {
		u, v := f.Project(x, y, f.Stack.At(y))
		return Point{u, v}
	}
	for k := range p.geometry {
		g := &p.geometry[k]
		l, r := p.edgeX(k, -1, 0), p.edgeX(k, 1, 0)
		b := 0.0
		if g.butt != nil {
			b = g.butt.Across(f, (l+r)/2)
		}
		q := Piece{ID: k + 1, Left: p.endOf(k, -1), Right: p.endOf(k, 1), LeftPx: at(l, b), RightPx: at(r, b), Covered: p.covered(l, r), Unsure: g.sketch.Doubtful}
		if g.left != nil && g.right != nil && !g.sketch.Doubtful {
			w := p.measured(func(f *frame) float64 {
				y := f.Stack.Height / 2
				return g.right.Across(f, y) - g.left.Across(f, y)
			}, math.Hypot(p.lineU(g.left), p.lineU(g.right)))
			q.Width = &w
		}
		c.Pieces = append(c.Pieces, q)
	}
	if n := len(c.Pieces); n > 0 {
		c.ButtPx = [2]Point{c.Pieces[0].LeftPx, c.Pieces[n-1].RightPx}
	}
	for i := range p.lower {
		x := p.lowerX(&p.lower[i])
		c.LowerJoints = append(c.LowerJoints, LowerJoint{Px: at(float64(x.Value()), 0), X: x})
	}
	if len(p.lower) == 0 {
		c.MaybeLower = p.maybeLower()
	}
	p.offset(c, at)
	return c
}

// maybeLower lists the hypotheses of where the joints below lie.
func (p *pass) maybeLower() []MaybeJoints {
	var out []MaybeJoints
	for _, w := range p.sketch.Lower {
		m := MaybeJoints{P: w.P}
		for _, j := range w.Joints {
			m.X = append(m.X, length.New(mm(j.X), 0).Widen(length.Product, looseLower))
		}
		out = append(out, m)
	}
	return out
}

// endOf names what bounds a piece. A joint that is only expected counts as hidden.
func (p *pass) endOf(k, side int) End {
	s, l := p.side(k, side)
	switch {
	case p.geometry[k].sketch.Doubtful:
		return EndHidden
	case s.Kind == course.Joint && l != nil:
		return EndJoint
	case s.Kind == course.Rake && l != nil:
		return EndRake
	case s.Kind == course.Frame:
		return EndFrame
	}
	return EndHidden
}

// covered tells whether some of a piece's nailing area lies under the card or
// out of the picture.
func (p *pass) covered(l, r float64) bool {
	w, h := float64(p.picture.Width()), float64(p.picture.Height())
	f := &p.solution.Frame
	lo, hi := float64(p.o.Product.BandLow)-15, float64(p.o.Product.BandHigh)+25
	for x := l + 2; x < r; x += 12 {
		for y := lo; y <= hi; y += 8 {
			u, v := f.Project(x, y, f.Stack.At(y))
			if p.underCard(x, y) || u < 6 || v < 6 || u > w-7 || v > h-7 {
				return true
			}
		}
	}
	return false
}

// offset compares the joints of the open course with those below and says
// where the joints of the next course will be.
func (p *pass) offset(c *Course, at func(x, y float64) Point) {
	W := float64(p.o.Product.Width)
	var joints []length.Measured
	for k := range p.geometry {
		s, l := p.side(k, 1)
		if s.Kind == course.Joint && l != nil {
			joints = append(joints, p.measured(func(f *frame) float64 { return l.Across(f, 0) }, p.lineU(l)))
		}
	}
	for _, j := range joints {
		for i := range p.lower {
			d := j.Sub(p.lowerX(&p.lower[i]))
			d = d.Plus(mm(-W * math.Round(float64(d.Value())/W)))
			if c.Offset == nil || d.U() < c.Offset.U() {
				c.Offset = &d
			}
		}
	}
	var shifts []length.Measured
	switch g := p.o.Product.Stagger; {
	case g.Observed && c.Offset != nil:
		shifts = append(shifts, *c.Offset)
	case g.Length > 0:
		shifts = append(shifts, length.New(g.Length, 0).Widen(length.Product, 3), length.New(-g.Length, 0).Widen(length.Product, 3))
	}
	for _, j := range joints {
		for _, s := range shifts {
			x := j.Add(s)
			c.NextJoints = append(c.NextJoints, NextJoint{Px: at(float64(x.Value()), p.stack.Exposure), X: x})
		}
	}
}
