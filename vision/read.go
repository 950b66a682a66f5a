package vision

import (
	"fmt"
	"math"

	"coursegauge/vision/course"
	"coursegauge/vision/plane"
)

// Views of the search, mm round the card.
const (
	turnPPM   = .4  // px a millimetre of the views that tell the direction
	lookWide  = 350 // half width of the view that tells up from down
	lookHigh  = 590
	underFace = 5.0  // the shingles lie about so far under the card's face
	reachX    = 2600 // mm: no course is followed farther
	minScore  = 2.0  // of course.Place: below, there is no open course (of rendered photos: 2.3 and over with one, 1.7 at most without)
	minTop    = .25
	minLap    = .45
	sureScore = 2.85 // from it on a turn is taken without trying the others: of rendered photos the right one has 2.87 and over in 76 of 77, wrong ones up to 2.81
	maxSkew   = .025 // slope of the courses in the view from which it is rectified again
	maxOff    = 25   // mm: the same for where the butt line lies
)

// turn finds which way the courses run, which way is up, and where the open
// course lies.
func (p *pass) turn() (*Refusal, error) {
	pr := p.o.Product
	p.stack = plane.NewStack(pr.Family == Laminated, pr.Ply, pr.Height, pr.Exposure)
	flat := plane.FrameFrom(p.cardPose, p.lens, plane.CardPlace{}, p.stack)
	half := turnSide / 2 / turnPPM
	v := plane.View{Frame: &flat, PPM: turnPPM, X0: -half, Y1: half, W: turnSide, H: turnSide, Z: -underFace}
	pic, err := v.Picture(p.picture)
	if err != nil {
		return nil, err
	}
	defer pic.Close()
	p.place = plane.CardPlace{}
	turns, err := course.Turns(pic, func(c, r int) bool { return p.underCard(v.ToRoof(float64(c), float64(r))) }, 2)
	if err != nil {
		return nil, err
	}
	var best course.Place
	var at float64
	best.Score = math.Inf(-1)
	for _, turn := range p.upright(turns) {
		got, err := p.try(turn)
		if err != nil {
			return nil, err
		}
		if got.Score > best.Score {
			best, at = got, turn
		}
		p.kept++
		if best.Score > sureScore {
			break // a wrong turn never looks like this
		}
	}
	p.atLeast(NoOpenCourse, "likeness to an open course", "", best.Score, minScore)
	if best.TopIn {
		p.atLeast(NoOpenCourse, "share of the top edge in sight", "%", 100*best.Top, 100*minTop)
	}
	p.atLeast(NoOpenCourse, "share of the uncovered lap in sight", "%", 100*best.Lap, 100*minLap)
	if best.Score < minScore || best.TopIn && best.Top < minTop || best.Lap < minLap {
		return &Refusal{NoOpenCourse, fmt.Sprintf("no open course: %.0f %% of a top edge, %.0f %% of an uncovered lap and %.0f %% of the butts where they belong", 100*best.Top, 100*best.Lap, 100*best.Butts),
			"take the photo before the next course covers the heads, with the butt line and the top edge of the open course in the picture"}, nil
	}
	p.place = plane.CardPlace{Turn: at, Y: -best.Y0}
	p.place.Z = p.cardOn() + p.problem.Prior.CardThick
	return nil, nil
}

const turnSide = 512

// upright lists the ways to turn the roof that directions of the courses leave
// open, rad: for each the two along it before the two square to it, and of two
// the one first that has the roof's top nearer to the picture's, as most people
// hold a phone.
func (p *pass) upright(courses []float64) []float64 {
	var out []float64
	for _, t := range courses {
		for _, square := range []float64{0, 90} {
			turn := (t + square) * math.Pi / 180
			f := plane.FrameFrom(p.cardPose, p.lens, plane.CardPlace{Turn: turn}, p.stack)
			_, y0 := f.Project(0, 0, 0)
			if _, y1 := f.Project(0, 1, 0); y1 > y0 {
				turn += math.Pi
			}
			out = append(out, turn, turn+math.Pi)
		}
	}
	return out
}

// try reads the view for one direction of the courses.
func (p *pass) try(turn float64) (course.Place, error) {
	f := plane.FrameFrom(p.cardPose, p.lens, plane.CardPlace{Turn: turn}, p.stack)
	m, err := p.nets.course.Read(p.picture, plane.View{Frame: &f, PPM: turnPPM, X0: -lookWide, Y1: lookHigh, W: 2 * lookWide * turnPPM, H: 2 * lookHigh * turnPPM, Z: -underFace})
	if err != nil {
		return course.Place{}, err
	}
	p.place = plane.CardPlace{Turn: turn}
	m.Hide(p.underCard)
	return m.Locate(float64(p.o.Product.Height), float64(p.o.Product.Exposure)), nil
}

// cardOn is the usual height over the deck of what carries the card, mm.
func (p *pass) cardOn() float64 {
	if p.place.Y < 0 {
		return p.stack.At(0) // a stiff card lies on the butts that it spans
	}
	return 4
}

// edges reads the whole open course and what is in sight of those below. Where
// the courses turn out to run askew to the view, it is rectified again along them.
func (p *pass) edges() (*Refusal, error) {
	refusal, err := p.readEdges()
	if err != nil || refusal != nil {
		return refusal, err
	}
	if at, slope := p.sketch.Skew(); math.Abs(slope) > maxSkew || math.Abs(at) > maxOff {
		p.place.Turn -= math.Atan(slope)
		p.place.Y -= at
		if refusal, err = p.readEdges(); err != nil || refusal != nil {
			return refusal, err
		}
	}
	p.kept = len(p.sketch.Pieces)
	p.show("edges", p.drawEdges)
	return nil, nil
}

func (p *pass) readEdges() (*Refusal, error) {
	f := plane.FrameFrom(p.cardPose, p.lens, p.place, p.stack)
	E, H := p.stack.Exposure, p.stack.Height
	z := p.stack.At(E)
	x0, x1, y0, y1 := f.Footprint(p.picture.Width(), p.picture.Height(), z, reachX)
	y0, y1 = max(y0, -2.2*E-60), min(y1, H+80)
	x0, x1 = f.Span(p.picture.Width(), p.picture.Height(), z, x0, x1, y0, y1)
	if x1-x0 < 150 || y1-y0 < 150 {
		return &Refusal{NoOpenCourse, "the open course lies outside the picture", "frame the open course together with the card"}, nil
	}
	m, err := p.nets.course.Read(p.picture, plane.View{Frame: &f, PPM: course.PPM, X0: x0, Y1: y1, W: int((x1 - x0) * course.PPM), H: int((y1 - y0) * course.PPM), Z: z})
	if err != nil {
		return nil, err
	}
	p.maps = m
	m.Hide(p.underCard)
	s, ok := m.Sketch(course.Product{Laminated: p.o.Product.Family == Laminated, Width: float64(p.o.Product.Width), Height: H, Exposure: E}, p.underCard)
	if !ok {
		return &Refusal{NoOpenCourse, "no butt line of an open course can be followed", "take the photo before the next course covers the heads, with the butt line in the picture"}, nil
	}
	p.sketch = s
	return nil, nil
}

// pieceLines are a piece's lines as the adjustment has them; nil when not seen.
type pieceLines struct {
	butt, left, right *plane.Line
	sketch            *course.Piece
}

type lowerLine struct {
	line   *plane.Line // nil when only the set of joints tells where it is
	x      float64     // mm, sketch frame
	u      float64     // mm, on top of the line's own
	anchor *plane.Line // a seen joint of the same course, shift mm away
	shift  float64
}

// Standard uncertainties of located lines that no residual shows, mm: what the
// network errs by over a whole line. From rendered scenes (see README).
const (
	buttFloor  = .2
	topFloor   = .5
	jointFloor = .8
	closeFloor = .25
	lowerFloor = .6
	tabFloor   = 1.2 // the same in a three-tab's cutout, which shows no edge of the joint itself
	rakeFloor  = .6
	widthU     = 1.3 // a shingle's width and the gap beside it
	halfGap    = .7  // by which a piece is narrower, since a product's width may be told with or without the gap between two (common practice, no source)
	unevenBy   = 2.  // standard uncertainties from which two lower joints are not whole widths apart
	looseLower = 4   // a joint that only the set of all joints places
)

// Where cells lie farther off a butt or top edge than they do on one in plain
// sight, the whole line may be a shadow's border or the dark face under the edge.
// Of 53 butts of rendered photos, those whose cells keep to .35 mm err by .4 mm
// rms, to .4 mm by .5 mm, beyond by 1.1 mm. With these two and buttFloor, U95 of the
// height held for .976 and .980 of the heads of two rendered sets.
const (
	plainRough = .35 // mm
	roughCosts = 4.0
)

// unclear is the standard uncertainty that is added to a line whose cells lie
// rough mm off it, mm.
func unclear(rough float64) float64 { return roughCosts * max(rough-plainRough, 0) }

// adjust brings camera, card, stack and course together.
func (p *pass) adjust() (*Refusal, error) {
	q := p.problem
	q.Start = plane.FrameFrom(p.cardPose, p.lens, p.place, p.stack)
	q.Card, q.CardOn = p.place, p.cardOn()
	q.Known = plane.DefaultKnown(float64(p.o.Product.Width) - halfGap)
	type ref struct{ butt, left, right int }
	refs := make([]ref, len(p.sketch.Pieces))
	add := func(kind plane.Kind, c int, e *course.Edge, floor float64, mate int) int {
		if len(e.Pts) < 2 {
			return -1
		}
		if kind != plane.Joint {
			floor = math.Hypot(floor, unclear(e.Rough))
		}
		q.Lines = append(q.Lines, plane.Line{Kind: kind, Course: c, Pts: e.Pts, U: math.Hypot(e.U, floor), Mate: mate})
		return len(q.Lines) - 1
	}
	for i := range p.sketch.Pieces {
		k := &p.sketch.Pieces[i]
		r := ref{-1, -1, -1}
		r.butt = add(plane.Butt, 0, &k.Butt, buttFloor, -1)
		add(plane.Top, 0, &k.Top, topFloor, r.butt)
		r.left = add(plane.Joint, 0, &k.Left.Edge, sideFloor(k.Left), -1)
		r.right = add(plane.Joint, 0, &k.Right.Edge, sideFloor(k.Right), r.left)
		if r.right >= 0 && k.Left.Kind == course.Joint && k.Right.Kind == course.Joint && math.Abs(k.Right.X-k.Left.X-q.Known.Width) < 12 {
			q.Lines[r.right].Full = true
		}
		refs[i] = r
	}
	for c := -1; c >= -4; c-- {
		for i := range p.sketch.LowerButts[c] {
			add(plane.Butt, c, &p.sketch.LowerButts[c][i], buttFloor, -1)
		}
	}
	below := lowerFloor
	if p.o.Product.Family != Laminated {
		below = tabFloor
	}
	index := make([][]int, len(p.sketch.Lower))
	for w := range p.sketch.Lower {
		for i := range p.sketch.Lower[w].Joints {
			k := -1
			if w == 0 && p.lowerKnown() {
				k = add(plane.Joint, -1, &p.sketch.Lower[w].Joints[i].Edge, below, -1)
			}
			index[w] = append(index[w], k)
		}
	}
	q.Near = p.solution
	s := q.Solve()
	if r := unsolved(s); r != nil {
		return r, nil
	}
	p.solution = s
	p.cornersAdjusted(p.solution)
	at := func(i int) *plane.Line {
		if i < 0 {
			return nil
		}
		return &q.Lines[i]
	}
	for i, r := range refs {
		p.geometry = append(p.geometry, pieceLines{at(r.butt), at(r.left), at(r.right), &p.sketch.Pieces[i]})
	}
	if p.lowerKnown() {
		p.lowerLines(index[0], at)
	}
	p.kept = len(q.Lines)
	p.r.Card.ResidualPx = s.ResidualPx
	p.r.Camera.FocalPx, p.r.Camera.FocalU = s.Focal()
	p.r.Camera.K1, p.r.Camera.K1U = s.K1()
	c := s.Frame.Centre()
	p.r.Camera.Distance = mm(c[2])
	tx, ty := s.Frame.Sight(0, p.stack.Exposure, 0)
	p.r.TiltDeg = math.Atan(math.Hypot(tx, ty)) * 180 / math.Pi
	return nil, nil
}

// unsolved refuses an adjustment that came out with anything but numbers:
// nothing measured with it could be told.
func unsolved(s *plane.Solution) *Refusal {
	if s.Finite() {
		return nil
	}
	return &Refusal{NoOpenCourse, "the edges of the course fit no place of the camera", "take the photo again, more squarely, with the butt line and the top edge of the open course in the picture"}
}

func sideFloor(s course.Side) float64 {
	switch {
	case s.Kind == course.Rake:
		return rakeFloor
	case s.Edge.Close:
		return closeFloor
	}
	return jointFloor
}

// The probability from which the joints below count as known. With less than a
// pixel a millimetre, as messengers leave photos, the closer look sees less than
// it says: on one of 24 rendered copies a wrong hypothesis had .95.
const (
	sureLower  = .86
	sureCoarse = .96
	coarse     = 1.0 // px/mm
)

func (p *pass) lowerKnown() bool {
	sure := sureLower
	if p.r.ScalePxPerMM < coarse {
		sure = sureCoarse
	}
	return len(p.sketch.Lower) > 0 && p.sketch.Lower[0].P >= sure
}

// lowerLines ties each lower joint to its own line or, where it was not seen
// itself, to the nearest one that was, whole widths away; failing that to the
// place that the set of all joints gives.
func (p *pass) lowerLines(index []int, at func(int) *plane.Line) {
	W := float64(p.o.Product.Width)
	joints := p.sketch.Lower[0].Joints
	for i, j := range joints {
		l := lowerLine{line: at(index[i]), x: j.X}
		if l.line == nil {
			l.u = looseLower
			best := math.Inf(1)
			for k, o := range joints {
				if n := math.Round((j.X - o.X) / W); index[k] >= 0 && math.Abs(n) < best {
					best, l.anchor, l.shift, l.u = math.Abs(n), at(index[k]), n*W, widthU*math.Abs(n)
				}
			}
		}
		p.lower = append(p.lower, l)
	}
	p.unevenLower()
}

// unevenLower widens lower joints that do not lie whole widths apart: one of two
// is then not the joint, a tooth's edge beside it for one, and nothing tells which.
func (p *pass) unevenLower() {
	f, W := &p.solution.Frame, float64(p.o.Product.Width)
	at := func(l *plane.Line) float64 { return l.Across(f, -f.Stack.Exposure/2) }
	for i := range p.lower {
		a := &p.lower[i]
		if a.line == nil {
			continue
		}
		least := math.Inf(1)
		for k := range p.lower {
			b := &p.lower[k]
			if k == i || b.line == nil {
				continue
			}
			d := at(a.line) - at(b.line)
			off := math.Abs(d - W*math.Round(d/W))
			if off < unevenBy*math.Hypot(widthU, math.Hypot(a.line.U, b.line.U)) {
				off = 0
			}
			least = min(least, off)
		}
		if !math.IsInf(least, 1) {
			a.u = math.Hypot(a.u, least/2)
		}
	}
}
