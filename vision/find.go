package vision

import (
	"math"
	"sort"

	"coursegauge/vision/course"
	"coursegauge/vision/head"
)

// Limits of the search for heads.
const (
	spotFloor = -2.5 // logit of the course network's head map
	maxSpots  = 90
	lookFloor = .2  // probability by the closer look below which nothing is a head
	lookShare = .65 // weight of the closer look's logit against the course network's
	headFloor = .2  // sum of both from which a head is reported (chosen on rendered scenes)
	apart     = 9.0 // mm: two heads are never nearer
	exposedBy = 4.0 // mm below the butt line from which a head counts as exposed
)

type foundHead struct {
	head.Look
	x, y    float64 // mm, on the surface raised by the head's rise
	course  int
	exposed bool
	score   float64 // probability by both networks
}

// heads looks closely at every spot where a head may be.
func (p *pass) heads() (*Refusal, error) {
	f := &p.solution.Frame
	spots := p.maps.Spots(spotFloor, maxSpots)
	var all []foundHead
	for _, s := range spots {
		if p.ctx.Err() != nil {
			return nil, p.ctx.Err()
		}
		c, x, y := p.courseAt(s.U, s.V)
		if c < -2 || c > 0 || !p.onPieces(x) {
			continue
		}
		z := f.Stack.At(y - float64(c)*f.Stack.Exposure)
		l, err := p.nets.head.Look(p.picture, f, x, y, z)
		if err != nil {
			return nil, err
		}
		both := s.Logit + lookShare*math.Log(l.P/(1-l.P+1e-9))
		if l.P < lookFloor || both < headFloor || !p.inside(l, f.ScaleAt(x, y, z)) {
			continue
		}
		h := p.settle(l)
		h.score = 1 / (1 + math.Exp(-both))
		all = append(all, h)
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].score > all[b].score })
	for _, h := range all {
		near := false
		for _, k := range p.found {
			near = near || math.Hypot(h.x-k.x, h.y-k.y) < apart
		}
		if !near && !p.underCard(h.x, h.y) {
			p.found = append(p.found, h)
		}
	}
	sort.SliceStable(p.found, func(a, b int) bool { return p.found[a].x < p.found[b].x })
	p.oneBox()
	p.kept, p.dropped = len(p.found), len(spots)-len(p.found)
	p.show("heads", p.drawHeads)
	return nil, nil
}

// settle places a head on its surface at the height at which it stands.
func (p *pass) settle(l head.Look) foundHead {
	c, _, y0 := p.courseAt(l.U, l.V)
	h := foundHead{Look: l, course: c}
	h.x, h.y = p.solution.Frame.OnSurface(l.U, l.V, c, l.Rise)
	h.exposed = c < 0 && y0 < -exposedBy
	return h
}

// courseAt is the course whose surface a pixel shows, and where.
func (p *pass) courseAt(u, v float64) (c int, x, y float64) {
	f := &p.solution.Frame
	for c = 0; c > -6; c-- {
		x, y = f.OnSurface(u, v, c, 0)
		if y >= float64(c)*f.Stack.Exposure-exposedBy {
			break
		}
	}
	if c == 0 && y > f.Stack.Height+6 {
		return 1, x, y
	}
	return c, x, y
}

// onPieces tells whether x lies between the ends of the course; the metal at a
// rake is not part of it.
func (p *pass) onPieces(x float64) bool {
	k := p.sketch.Pieces
	if len(k) == 0 {
		return false
	}
	l, r := k[0].Left, k[len(k)-1].Right
	return (l.Kind != course.Rake || x > l.X+1) && (r.Kind != course.Rake || x < r.X-1)
}

// inside tells whether the whole head lies in the picture.
func (p *pass) inside(l head.Look, pxPerMM float64) bool {
	r := l.Diameter / 2 * pxPerMM
	w, h := float64(p.picture.Width()), float64(p.picture.Height())
	return l.U > r*.6 && l.V > r*.6 && l.U < w-1-r*.6 && l.V < h-1-r*.6
}
