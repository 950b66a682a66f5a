package course

import (
	"math"
	"slices"
	"sort"
)

// Evidence that a line needs, as the share of its rows in sight.
const (
	sureJoint = .25 // taken as it is
	weakJoint = .04 // taken where the product's width asks for one
	sureRake  = .2
	sureOff   = .5  // mean probability of "off the roof" beside a rake
	fairJoint = .15 // measured from
	sureTab   = .60 // of three-tab pieces, taken even where a cutout may be
	minSight  = 48  // mm: shorter sight of a joint counts as none
	outSight  = 80  // the same for a joint whose foot lies out of the picture
)

// pieces finds what divides the open course and the butt and top edge of each part.
func (s *Sketch) pieces(open []mark) {
	m, H := s.Maps, s.Product.Height
	mid := func(k int) float64 { return float64(m.ch[cJointL][k]+m.ch[cJointR][k]) / 2 }
	ms := s.upright(cJoint, cJointS, 6, H-6, mid)
	prof := s.profileOf(ms, 6, H-6)
	left, right := s.inPicture()
	rake, rakeSide := s.rake()
	if rakeSide < 0 {
		left = rake.X
	} else if rakeSide > 0 {
		right = rake.X
	}
	first, last := Side{Kind: Frame, X: left}, Side{Kind: Frame, X: right}
	if rakeSide < 0 {
		first = rake
	}
	if rakeSide > 0 {
		last = rake
	}
	var cuts, outside []Side
	var taken []float64
	for _, x := range prof.peaks(sureJoint, m.rows(minSight), 40) { // the strongest first
		share, rows := prof.at(x)
		if share < sureTab && s.tabFrom(taken, x) {
			continue
		}
		taken = append(taken, x)
		switch d := s.joint(ms, prof, x, Joint); {
		case x > left+15 && x < right-15:
			cuts = append(cuts, d)
		case rows >= m.rows(outSight):
			outside = append(outside, d) // its upper part is in the picture, its foot is not
		}
	}
	sort.Slice(cuts, func(a, b int) bool { return cuts[a].X < cuts[b].X })
	for _, d := range outside {
		switch {
		case len(cuts) == 0:
		case d.X < left+15 && rakeSide >= 0 && s.wholeWidth(cuts[0].X-d.X):
			first = d
		case d.X > right-15 && rakeSide <= 0 && s.wholeWidth(d.X-cuts[len(cuts)-1].X):
			last = d
		}
	}
	all := append([]Side{first}, cuts...)
	all = append(all, last)
	// beyond a joint whose foot is out of the picture lies one more piece
	if first.Kind == Joint {
		all = append([]Side{{Kind: Frame, X: min(left, first.X-20)}}, all...)
	}
	if last.Kind == Joint {
		all = append(all, Side{Kind: Frame, X: max(right, last.X+20)})
	}
	all = s.between(all, ms, prof)
	leftMarks := s.upright(cJoint, cJointS, 6, H-6, func(k int) float64 { return float64(m.ch[cJointL][k]) })
	rightMarks := s.upright(cJoint, cJointS, 6, H-6, func(k int) float64 { return float64(m.ch[cJointR][k]) })
	tops := m.level(cTop, cTopD, cTopS, func(x, y float64) bool { return math.Abs(y-s.Line.at(x)-H) < 25 })
	for i := range len(all) - 1 {
		p := Piece{Left: s.sideOf(all[i], rightMarks), Right: s.sideOf(all[i+1], leftMarks)}
		w := p.Right.X - p.Left.X
		if w < 12 {
			continue
		}
		p.Doubtful = w > s.Product.Width*(1+coarse)
		p.Butt = s.stretch(open, p, 0)
		p.Top = s.stretch(tops, p, H)
		s.Pieces = append(s.Pieces, p)
	}
}

// tabFrom tells whether x lies whole tabs, not whole shingles, from a joint
// already taken: then it is likely a cutout.
func (s *Sketch) tabFrom(taken []float64, x float64) bool {
	if s.Product.Laminated {
		return false
	}
	tab := s.Product.Width / 3
	for _, t := range taken {
		d := math.Abs(x - t)
		n := math.Round(d / tab)
		if math.Mod(n, 3) != 0 && math.Abs(d-n*tab) < coarse*d+4 {
			return true
		}
	}
	return false
}

// Before the adjustment, lengths along the course are good to about this share.
const coarse = .022

// wholeWidth tells whether a stretch is one product width long, or two.
func (s *Sketch) wholeWidth(d float64) bool {
	n := math.Round(d / s.Product.Width)
	return n >= 1 && n <= 2 && math.Abs(d-n*s.Product.Width) < coarse*d
}

// joint is a side at a peak of the profile.
func (s *Sketch) joint(ms []mark, prof *profile, x float64, kind SideKind) Side {
	share, _ := prof.at(x)
	d := Side{Kind: kind, X: x, Strength: share}
	if e, at, ok := edgeOf(ms, x, 6); ok {
		d.X, d.Edge = at, e
	}
	return d
}

// sideOf gives a joint the edge of the piece on one of its sides.
func (s *Sketch) sideOf(d Side, ms []mark) Side {
	if d.Kind != Joint {
		if d.Kind == Rake {
			d.Edge = s.place(d.Edge)
		}
		return d
	}
	e, at, ok := edgeOf(ms, d.X, 6)
	if !ok {
		d.Edge = s.place(d.Edge)
		return d
	}
	d.Edge, d.X = s.place(e), at
	return d
}

// between adds joints where the product's width asks for one: a joint with
// weak evidence, else one that is predicted or hidden by the card.
func (s *Sketch) between(all []Side, ms []mark, prof *profile) []Side {
	W := s.Product.Width
	for round := 0; round < 8; round++ {
		added := false
		for i := range len(all) - 1 {
			a, b := all[i], all[i+1]
			gap := b.X - a.X
			if gap < W*(1+coarse) {
				continue
			}
			if d, ok := s.expected(a, b, ms, prof); ok {
				all = append(all[:i+1], append([]Side{d}, all[i+1:]...)...)
				added = true
				break
			}
		}
		if !added {
			break
		}
	}
	return all
}

// expected is the joint one width inside a stretch that is wider than a
// shingle, from the end with more evidence.
func (s *Sketch) expected(a, b Side, ms []mark, prof *profile) (Side, bool) {
	W := s.Product.Width
	type guess struct {
		x, share float64
		from     Side
	}
	var gs []guess
	for _, q := range []struct {
		from Side
		x    float64
	}{{a, a.X + W}, {b, b.X - W}} {
		if q.from.Kind == Frame || q.from.Kind == Hidden || q.x < a.X+25 || q.x > b.X-25 {
			continue
		}
		best := guess{x: q.x, from: q.from}
		for d := -10.0; d <= 10; d += 2 {
			if sh, rows := prof.at(q.x + d); rows >= s.Maps.rows(minSight) && sh > best.share {
				best.x, best.share = q.x+d, sh
			}
		}
		gs = append(gs, best)
	}
	if len(gs) == 0 {
		return Side{}, false
	}
	sort.SliceStable(gs, func(i, j int) bool { return gs[i].share > gs[j].share })
	g := gs[0]
	least := weakJoint
	if g.from.Kind == Rake { // a piece at the rake is cut to any width: its width speaks for no place
		least = fairJoint
	}
	if g.share >= least {
		d := s.joint(ms, prof, g.x, Joint)
		if g.share < fairJoint {
			d.Kind, d.Edge = Predicted, Edge{} // enough to believe in it, not to measure from
		}
		return d, true
	}
	// no evidence: both ends must ask for the same place, or the card hides it
	gs = slices.DeleteFunc(gs, func(g guess) bool { return g.from.Kind == Rake || s.offAt(g.x) > mayBeOff })
	if len(gs) == 0 {
		return Side{}, false
	}
	x := gs[0].x
	agree := len(gs) == 1 && (a.Kind == Frame || b.Kind == Frame)
	if len(gs) == 2 && math.Abs(gs[0].x-gs[1].x) < 8 {
		x, agree = (gs[0].x+gs[1].x)/2, true
	}
	switch {
	case s.onCard(x, 6, s.Product.Height-6):
		return Side{Kind: Hidden, X: x}, true
	case agree:
		return Side{Kind: Predicted, X: x}, true
	}
	return Side{}, false
}

// mayBeOff is the mean probability of "off the roof" round a place from which
// on no joint is expected there without evidence.
const mayBeOff = .3

// offAt is the mean probability of "off the roof" on the open course within
// 30 mm of x.
func (s *Sketch) offAt(x float64) float64 {
	m := s.Maps
	sum, n := 0.0, 0.0
	for i := range m.H {
		for j := range m.W {
			k := i*m.W + j
			if !m.photo[k] {
				continue
			}
			cx, cy := m.at(i, j)
			h := cy - s.Line.at(cx)
			if h < 6 || h > s.Product.Height-6 || math.Abs(cx+s.Line.slope(cx)*h-x) > 30 {
				continue
			}
			sum += m.off(k)
			n++
		}
	}
	return sum / max(n, 1)
}

// off is the probability that a cell shows what is no roof.
func (m *Maps) off(k int) float64 {
	return sigmoid(m.ch[cOff][k] - max(m.ch[cUnderlay][k], m.ch[cOpen][k], m.ch[cFinished][k]))
}

// inPicture is where the open butt line enters and leaves the picture.
func (s *Sketch) inPicture() (left, right float64) {
	m := s.Maps
	left, right = math.Inf(1), math.Inf(-1)
	for j := range m.W {
		x, _ := m.at(0, j)
		i := int((m.View.Y1-s.Line.at(x))*m.View.PPM) / Cell
		if i < 0 || i >= m.H || !m.photo[i*m.W+j] {
			continue
		}
		left, right = min(left, x), max(right, x)
	}
	if left > right {
		return 0, 0
	}
	return left, right
}

// rake finds the border of the roof: side -1 left, +1 right, 0 none.
func (s *Sketch) rake() (Side, int) {
	m, p := s.Maps, s.Product
	lo, hi := -2*p.Exposure, p.Height-6
	ms := s.upright(cRake, cRakeS, lo, hi, func(k int) float64 { return float64(m.ch[cRakeD][k]) })
	prof := s.profileOf(ms, lo, hi)
	d, side := Side{Kind: Rake}, 0
	for _, x := range prof.peaks(sureRake, m.rows(120), 60) {
		if side = s.offRoof(x); side != 0 {
			d.X = x
			d.Strength, _ = prof.at(x)
			break
		}
	}
	if side == 0 {
		return Side{}, 0
	}
	own := s.upright(cRake, cRakeS, 6, hi, func(k int) float64 { return float64(m.ch[cRakeD][k]) })
	if e, at, ok := edgeOf(own, d.X, 6); ok {
		d.X, d.Edge = at, e
	} else if e, at, ok := edgeOf(ms, d.X, 6); ok {
		d.X, d.Edge = at, e
	}
	return d, side
}

// offRoof tells on which side of x the roof ends, by the regions next to it; 0
// when neither side is off the roof, or both are, or one is not in the picture.
func (s *Sketch) offRoof(x float64) int {
	m := s.Maps
	var off, n [2]float64
	for i := range m.H {
		for j := range m.W {
			k := i*m.W + j
			if !m.photo[k] {
				continue
			}
			cx, cy := m.at(i, j)
			h := cy - s.Line.at(cx)
			d := cx + s.Line.slope(cx)*h - x
			if h < -s.Product.Exposure || h > s.Product.Height || math.Abs(d) < 8 || math.Abs(d) > 80 {
				continue
			}
			side := 0
			if d > 0 {
				side = 1
			}
			off[side] += m.off(k)
			n[side]++
		}
	}
	const least = 60 // cells
	if n[0] <= least || n[1] <= least {
		return 0 // a rake has the roof on its other side
	}
	switch left, right := off[0]/n[0], off[1]/n[1]; {
	case left > sureOff && right < 1-sureOff:
		return -1
	case right > sureOff && left < 1-sureOff:
		return 1
	}
	return 0
}

// stretch fits a piece's own line along the course, h mm over the butt line.
func (s *Sketch) stretch(ms []mark, p Piece, h float64) Edge {
	var own []mark
	for _, k := range ms {
		if k.along > p.Left.X+4 && k.along < p.Right.X-4 {
			own = append(own, k)
		}
	}
	start := s.Line
	start[0] += h
	line, ok := fitPoly(own, 1, tangent(start, (p.Left.X+p.Right.X)/2), 3, 8)
	if !ok {
		return Edge{}
	}
	return s.place(edge(inliers(own, line, 3), 40))
}

// tangent is the straight line that touches a curve at a place.
func tangent(p poly, at float64) poly {
	k := p.slope(at)
	return poly{p.at(at) - k*at, k * 1000, 0}
}

// lowerButts follows the butts of the finished courses, in stretches of half a
// shingle so that a step between pieces does little harm.
func (s *Sketch) lowerButts() {
	for c := -1; c >= -4; c-- {
		base := float64(c) * s.Product.Exposure
		ms := s.Maps.level(cButt, cButtD, cButtS, func(x, y float64) bool { return math.Abs(y-s.Line.at(x)-base) < 22 })
		start := s.Line
		start[0] += base
		line, ok := fitPoly(ms, 2, start, 5, 25)
		if !ok {
			continue
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, k := range ms {
			lo, hi = min(lo, k.along), max(hi, k.along)
		}
		for x := lo; x < hi-60; x += s.Product.Width / 2 {
			var own []mark
			for _, k := range ms {
				if k.along >= x && k.along < x+s.Product.Width/2 {
					own = append(own, k)
				}
			}
			if l, ok := fitPoly(own, 1, tangent(line, x+s.Product.Width/4), 3, 12); ok {
				s.LowerButts[c] = append(s.LowerButts[c], s.place(edge(inliers(own, l, 3), 40)))
			}
		}
	}
}
