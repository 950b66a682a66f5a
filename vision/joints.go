package vision

import (
	"math"
	"sort"

	"coursegauge/vision/course"
	"coursegauge/vision/plane"
)

// A closer look at the joints, with the frame that the first adjustment gave.
const (
	lapFrom   = 10.0 // mm over the exposure: where the patch in the lap begins
	buttFrom  = -8.0 // mm from a butt: where the patch on an exposed part begins
	looseLook = .4   // share of a patch that the card may hide
	openLeast = -1.  // logit from which a joint that the wider view has found is measured by the look
	lookDepth = 3    // courses below that are looked at

	// Fitted by testdata/scenes/fit_limits.py: what hides one joint hides its
	// neighbours, so looks speak against a hypothesis only so much.
	lookEven    = .25 // logit that speaks neither for nor against
	tabEven     = 1.6 // the same between three-tab pieces
	lookLeast   = -1.5
	lookMost    = 5.
	lookTrust   = .54 // looks at one photo err alike
	mostAgainst = -1.6
)

// joints looks closely at every joint in sight and weighs anew how the joints
// below lie; then everything is adjusted again.
func (p *pass) joints() (*Refusal, error) {
	for i := range p.geometry {
		if i+1 < len(p.geometry) {
			if err := p.lookBetween(i, i+1); err != nil {
				return nil, err
			}
		}
	}
	if err := p.lookBelow(); err != nil {
		return nil, err
	}
	p.geometry, p.lower, p.problem.Lines = nil, nil, nil
	if refusal, err := p.adjust(); err != nil || refusal != nil {
		return refusal, err
	}
	return p.wrongSize(), nil
}

// lookBetween measures the joint of two neighbours, in the lap and, if that is
// out of sight or the pieces are laminated, on the exposed part: in a three-tab's
// cutout a joint is seen less well.
func (p *pass) lookBetween(i, k int) error {
	l, r := &p.sketch.Pieces[i].Right, &p.sketch.Pieces[k].Left
	if l.Kind != course.Joint {
		return nil
	}
	E := p.stack.Exposure
	var left, right course.Edge
	for _, y := range []float64{E + lapFrom, buttFrom} {
		if len(left.Pts) > 0 && p.o.Product.Family != Laminated {
			break
		}
		mid := y + course.PatchHigh/2
		m, ok, err := p.look((p.edgeX(i, 1, mid)+p.edgeX(k, -1, mid))/2, y, 0)
		if err != nil {
			return err
		}
		if ok && m.Logit > openLeast {
			left, right = left.With(m.Left), right.With(m.Right)
		}
	}
	if len(left.Pts) > 0 {
		l.Edge, r.Edge = p.merged(left, p.geometry[i].right), p.merged(right, p.geometry[k].left)
	}
	return nil
}

// merged moves a joint that was looked at closely towards where the wider view
// had it, as far as their uncertainties say: the two see it at different scales
// and err differently.
func (p *pass) merged(e course.Edge, wide *plane.Line) course.Edge {
	if wide == nil {
		return e
	}
	f := &p.solution.Frame
	u := math.Hypot(e.U, closeFloor)
	k := u * u / (u*u + wide.U*wide.U)
	apart := 0.0
	for i, q := range e.Pts {
		x, y := f.OnSurface(q[0], q[1], 0, 0)
		d := wide.Across(f, y) - x
		apart += d / float64(len(e.Pts))
		e.Pts[i][0], e.Pts[i][1] = f.Project(x+k*d, y, f.Stack.At(y))
	}
	e.U *= math.Sqrt(1-k) * max(1, math.Abs(apart)/math.Hypot(u, wide.U))
	return e
}

// look looks at a place of a course, from y up the slope.
func (p *pass) look(x, y float64, c int) (course.JointEstimate, bool, error) {
	f := &p.solution.Frame
	hidden, n := 0, 0
	for dy := 4.0; dy < course.PatchHigh; dy += 8 {
		for _, dx := range []float64{-24, 0, 24} {
			n++
			if p.underCard(x+dx, y+dy) {
				hidden++
			}
		}
	}
	if float64(hidden) > looseLook*float64(n) {
		return course.JointEstimate{}, false, nil
	}
	at := course.JointPlace{X: x, Y: y, Z: f.Stack.At(y + course.PatchHigh/2 - float64(c)*f.Stack.Exposure), Laminated: p.o.Product.Family == Laminated, Lower: y < f.Stack.Exposure}
	return p.nets.joint.Look(p.picture, f, at)
}

// lookBelow weighs the hypotheses of where the joints below lie by a closer look
// at each place where one of them has a joint.
func (p *pass) lookBelow() error {
	s := p.sketch
	anchor, anchored := p.anchor()
	for w := range s.Lower {
		hypothesis := &s.Lower[w]
		var told evidence
		x := p.onCourse(hypothesis.X, -1)
		depth, step := 1, 0.0
		if hypothesis.Stepped && anchored && s.Periodic() {
			depth, step = lookDepth, x-anchor
		}
		for c := 1; c <= depth; c++ {
			if err := p.lookAlong(hypothesis, x+float64(c-1)*step, c, &told); err != nil {
				return err
			}
		}
		hypothesis.Score += told.score()
	}
	sort.SliceStable(s.Lower, func(a, b int) bool { return s.Lower[a].Score > s.Lower[b].Score })
	course.Normalise(s.Lower)
	return nil
}

// onCourse takes a place along the butt line from the sketch's frame, carried
// to the middle of a lower course, to the adjusted one.
func (p *pass) onCourse(x float64, c int) float64 {
	f := &p.solution.Frame
	u, v := p.sketch.Pixel(x, (float64(c)+.5)*f.Stack.Exposure)
	x, _ = f.OnSurface(u, v, c, 0)
	return x
}

// anchor is the joint of the open course from which the offsets were counted.
func (p *pass) anchor() (float64, bool) {
	x, ok := p.sketch.Anchor()
	if !ok {
		return 0, false
	}
	best, at := math.Inf(1), 0.0
	for k := range p.geometry {
		for _, side := range []int{-1, 1} {
			if s, l := p.side(k, side); l != nil && s.Kind == course.Joint && math.Abs(s.X-x) < best {
				best, at = math.Abs(s.X-x), l.Across(&p.solution.Frame, 0)
			}
		}
	}
	return at, best < 12
}

// lookAlong looks at all joints of the c-th course below, of which one lies at x.
func (p *pass) lookAlong(hypothesis *course.Lower, x float64, c int, told *evidence) error {
	f := &p.solution.Frame
	W, E := float64(p.o.Product.Width), f.Stack.Exposure
	y := -float64(c)*E + buttFrom
	for k := -6.0; k <= 6; k++ {
		at := x + k*W
		u, v := f.Project(at, y+course.PatchHigh/2, f.Stack.At(E/2))
		if !p.onPieces(at) || u < 0 || v < 0 || u > float64(p.picture.Width()) || v > float64(p.picture.Height()) {
			continue
		}
		m, ok, err := p.look(at, y, -c)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		told.add(m, p.o.Product.Family)
		hypothesis.Looks = append(hypothesis.Looks, m.Logit)
		if c == 1 && m.Logit > 0 {
			p.seeBelow(hypothesis, at, m)
		}
	}
	return nil
}

// evidence is what the looks at one hypothesis say for it and against it, as logits.
type evidence struct{ support, against float64 }

// add takes in one look. One that speaks clearly against a joint may be a little
// off its place, so it counts for no more than a doubtful one.
func (w *evidence) add(m course.JointEstimate, family Family) {
	even := lookEven
	if family != Laminated {
		even = tabEven
	}
	if v := lookTrust * (min(max(m.Logit, lookLeast), lookMost) - even); v > 0 {
		w.support += v
	} else {
		w.against += v
	}
}

func (w *evidence) score() float64 { return w.support + max(w.against, mostAgainst) }

// seeBelow gives a joint of the course below the line that the look told.
func (p *pass) seeBelow(hypothesis *course.Lower, x float64, m course.JointEstimate) {
	for i := range hypothesis.Joints {
		if j := &hypothesis.Joints[i]; math.Abs(p.onCourse(j.X, -1)-x) < 14 {
			apart := 0.0 // the wide view and the closer look see it in different places
			if len(j.Edge.Pts) > 0 {
				u, v := mid(m.Left, m.Right)
				at, _ := p.solution.Frame.OnSurface(u, v, -1, 0)
				apart = at - p.onCourse(j.X, -1)
			}
			j.Edge = course.Edge{U: math.Hypot((m.Left.U+m.Right.U)/2, apart/2), Close: true}
			for q := range m.Left.Pts {
				a, b := m.Left.Pts[q], m.Right.Pts[q]
				j.Edge.Pts = append(j.Edge.Pts, [2]float64{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2})
			}
		}
	}
}

// mid is the middle between the two ends that a closer look told, px.
func mid(l, r course.Edge) (u, v float64) {
	for i := range l.Pts {
		n := 2 * float64(len(l.Pts))
		u += (l.Pts[i][0] + r.Pts[i][0]) / n
		v += (l.Pts[i][1] + r.Pts[i][1]) / n
	}
	return u, v
}
