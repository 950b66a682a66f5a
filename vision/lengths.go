package vision

import (
	"math"

	"coursegauge/vision/course"
	"coursegauge/vision/length"
	"coursegauge/vision/plane"
)

// What a head's place errs by beyond what the adjustment and the networks
// tell, mm.
const (
	noButtU       = 1.1 // own butt not seen: pieces sit off their line (common practice, no source)
	diameterFloor = .2  // of a diameter, by which photos of one maker and of another differ (rendered sets wide and tune)
)

// lengths measures what the rules ask for.
func (p *pass) lengths() (*Refusal, error) {
	p.r.Course = p.courseResult()
	p.r.Surface = p.surface()
	p.r.bind()
	for i := range p.found {
		p.r.Fasteners = append(p.r.Fasteners, p.fastener(i+1, &p.found[i]))
	}
	p.r.Checks = append(p.r.Checks, p.checks()...)
	p.r.Inputs = p.solution.Sources()
	p.r.Budget = p.budget()
	p.kept = len(p.r.Fasteners)
	return nil, nil
}

// quantity is a length as a function of the adjusted frame.
type quantity func(f *plane.Frame) float64

// measured evaluates a quantity with the effects of the shared inputs and the
// uncertainty of where its ends were located.
func (p *pass) measured(q quantity, own float64) length.Measured {
	return length.New(mm(q(&p.solution.Frame)), mm(own)).WithShared(p.solution.Effects(q))
}

// lineU is the standard uncertainty of a located line across it, mm: in a photo
// whose lines disagree none is believed as it stands.
func (p *pass) lineU(l *plane.Line) float64 { return l.U * p.solution.Wide }

// fastener measures one head.
func (p *pass) fastener(id int, h *foundHead) Fastener {
	f := &p.solution.Frame
	s := f.ScaleAt(h.x, h.y, f.Stack.At(h.y))
	out := Fastener{ID: id, Px: Point{h.U, h.V}, RadiusPx: h.Diameter / 2 * s, Score: h.score, Piece: -1, Exposed: h.exposed, Drive: driveOf(h.Drive)}
	d := length.New(mm(h.Diameter), mm(math.Hypot(h.DiamU, diameterFloor)))
	out.HeadDiameter = &d
	tx, ty := f.Sight(h.x, h.y, f.Stack.At(h.y))
	rise := riseU(out.Drive, h.Rise, h.RiseU)
	under := f.Stack.LocalU(h.y - float64(h.course)*f.Stack.Exposure)
	along := p.measured(func(f *plane.Frame) float64 { x, _ := h.at(f); return x }, h.CentreU).Widen(length.Height, mm(rise*tx)).Widen(length.Surface, mm(under*tx))
	out.Along = &along
	k := p.pieceAt(h)
	if k < 0 || h.exposed {
		return out
	}
	g := &p.geometry[k]
	out.Piece = k + 1
	above := p.aboveButt(h, g).Widen(length.Height, mm(rise*ty)).Widen(length.Surface, mm(under*ty))
	out.AboveButt = &above
	if l, ok := p.sideX(k, -1, h); ok {
		d := along.Sub(l)
		out.LeftEnd = &d
	}
	if r, ok := p.sideX(k, 1, h); ok {
		d := r.Sub(along)
		out.RightEnd = &d
	}
	out.End = nearer(out.LeftEnd, out.RightEnd, p.reachesFar(k, out.LeftEnd, out.RightEnd))
	out.LowerJoint = p.lowerJoint(h, along)
	out.NextJoint = p.nextJoint(along)
	return out
}

// at is the head on the surface of its course.
func (h *foundHead) at(f *plane.Frame) (x, y float64) { return f.OnSurface(h.U, h.V, h.course, h.Rise) }

// aboveButt is the distance from the butt of the head's own piece, square to it.
func (p *pass) aboveButt(h *foundHead, g *pieceLines) length.Measured {
	if g.butt == nil {
		return p.measured(func(f *plane.Frame) float64 { _, y := h.at(f); return y }, h.CentreU).Widen(length.Product, noButtU)
	}
	u := p.lineU(g.butt)
	from, to := g.butt.Reach(&p.solution.Frame)
	if out := max(from-h.x, h.x-to); out > 0 { // beyond what is seen of the butt its direction counts
		u = math.Hypot(u, out*math.Hypot(.0012, 2*u/max(to-from, 20)))
	}
	return p.measured(func(f *plane.Frame) float64 {
		x, y := h.at(f)
		a, b := g.butt.Across(f, x-1), g.butt.Across(f, x+1)
		return (y - (a+b)/2) / math.Hypot(1, (b-a)/2)
	}, math.Hypot(h.CentreU, u))
}

// pieceAt is the piece of the open course that a head lies on, -1 for none.
func (p *pass) pieceAt(h *foundHead) int {
	if h.course != 0 {
		return -1
	}
	for k := range p.geometry {
		l, r := p.reach(k, -1, h.y), p.reach(k, 1, h.y)
		if h.x >= l-1.5 && h.x < r+1.5 {
			if k+1 < len(p.geometry) && h.x > (r+p.reach(k+1, -1, h.y))/2 {
				continue
			}
			return k
		}
	}
	return -1
}

// reach is how far a piece goes at height y. One that runs out of the picture
// has no end in sight: its butt may leave the picture before its lap does.
func (p *pass) reach(k, side int, y float64) float64 {
	if s, _ := p.side(k, side); s.Kind == course.Frame {
		return float64(side) * math.MaxFloat64 / 4
	}
	return p.edgeX(k, side, y)
}

// edgeX is where a piece ends at height y, for sorting heads only.
func (p *pass) edgeX(k, side int, y float64) float64 {
	s, l := p.side(k, side)
	if l != nil {
		return l.Across(&p.solution.Frame, y)
	}
	return s.X
}

func (p *pass) side(k, side int) (*course.Side, *plane.Line) {
	g := &p.geometry[k]
	if side < 0 {
		return &g.sketch.Left, g.left
	}
	return &g.sketch.Right, g.right
}

// sideX is the end of a piece at a head's height, when it can be given: seen,
// or one product width from the other end where no joint could be made out.
func (p *pass) sideX(k, side int, h *foundHead) (length.Measured, bool) {
	s, l := p.side(k, side)
	other, m := p.side(k, -side)
	if p.geometry[k].sketch.Doubtful {
		return length.Measured{}, false
	}
	switch {
	case (s.Kind == course.Joint || s.Kind == course.Rake) && l != nil:
		return p.measured(func(f *plane.Frame) float64 { _, y := h.at(f); return l.Across(f, y) }, p.lineU(l)), true
	case s.Kind == course.Predicted && m != nil && other.Kind == course.Joint:
		W := float64(side) * p.problem.Known.Width
		return p.measured(func(f *plane.Frame) float64 { _, y := h.at(f); return m.Across(f, y) + W }, p.lineU(m)).Widen(length.Product, widthU), true
	}
	return length.Measured{}, false
}

// nearer is the smaller of two ends; with one of them only, that one when the
// other must be farther.
func nearer(l, r *length.Measured, otherFar bool) *length.Measured {
	switch {
	case l != nil && r != nil:
		if l.Value() <= r.Value() {
			return l
		}
		return r
	case l != nil && otherFar:
		return l
	case r != nil && otherFar:
		return r
	}
	return nil
}

// reachesFar tells whether the end that a head does not see is farther than the
// one it sees. A whole piece reaches a width from the end in sight; one that a
// rake bounds is cut to any width, so it says nothing of its other end.
func (p *pass) reachesFar(k int, l, r *length.Measured) bool {
	seen, side := l, -1
	if l == nil {
		seen, side = r, 1
	}
	if seen == nil || l != nil && r != nil {
		return false
	}
	if s, _ := p.side(k, side); s.Kind == course.Rake {
		return false
	}
	return float64(seen.Value()) < float64(p.o.Product.Width)/2
}

// lowerX is a lower joint's place along the butt line, carried up square.
func (p *pass) lowerX(j *lowerLine) length.Measured {
	l, shift := j.line, 0.0
	if l == nil {
		l, shift = j.anchor, j.shift
	}
	if l == nil {
		return length.New(mm(j.x), 0).Widen(length.Product, mm(j.u))
	}
	return p.measured(func(f *plane.Frame) float64 { return l.Across(f, -f.Stack.Exposure/2) + shift }, p.lineU(l)).Widen(length.Product, mm(j.u))
}

func (p *pass) lowerJoint(h *foundHead, along length.Measured) *length.Measured {
	var best *length.Measured
	for i := range p.lower {
		d := p.lowerX(&p.lower[i]).Sub(along).Abs()
		if best == nil || d.Value() < best.Value() {
			best = &d
		}
	}
	if best != nil && float64(best.Value()) > float64(p.o.Product.Width)/2+30 {
		return nil // the nearest one is out of sight
	}
	return best
}

func (p *pass) nextJoint(along length.Measured) *length.Measured {
	var best *length.Measured
	for _, j := range p.r.Course.NextJoints {
		d := j.X.Sub(along).Abs()
		if best == nil || d.Value() < best.Value() {
			best = &d
		}
	}
	return best
}

// Shares of the classes on a roof over their shares in the training batches,
// which hold many faulty ones: fitted by testdata/scenes/fit_limits.py for roofs
// with some .8 flush, .09 overdriven, .07 underdriven and .04 cocked (common
// practice, no source: most fasteners are driven flush), then rounded towards
// the faulty ones.
var driveShare = [4]float64{1, .125, .1, .125}

const (
	sureFlush  = .93 // a head that may well not be flush is left open, not called flush
	sureFaulty = .55
)

// driveOf turns the network's probabilities into a class.
func driveOf(p [4]float64) Drive {
	names := [4]DriveClass{Flush, Overdriven, Underdriven, Cocked}
	sum := 0.0
	for i := range p {
		p[i] *= driveShare[i]
		sum += p[i]
	}
	d := Drive{Class: Unclear, P: map[DriveClass]float64{}}
	for i, n := range names {
		q := p[i] / sum
		d.P[n] = q
		if q >= sureFaulty && (n != Flush || q >= sureFlush) {
			d.Class = n
		}
	}
	return d
}
