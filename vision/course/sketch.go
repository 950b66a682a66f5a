package course

import (
	"math"
	"sort"
)

// Product is what the sketch needs to know of the shingles, mm.
type Product struct {
	Laminated               bool
	Width, Height, Exposure float64
}

// Edge is a line through what the network marked.
type Edge struct {
	Pts   [][2]float64 // px in the picture, ordered along the line
	U     float64      // mm, standard uncertainty of the line as a whole, across
	Rough float64      // mm, how far single cells lie off the line, rms
	Close bool         // by a closer look
}

// With is a line of which another stretch was seen, too.
func (e Edge) With(o Edge) Edge {
	n, m := float64(len(e.Pts)), float64(len(o.Pts))
	o.U, o.Rough = (n*e.U+m*o.U)/(n+m), max(e.Rough, o.Rough)
	o.Pts = append(e.Pts, o.Pts...)
	return o
}

// Side is one end of a piece.
type Side struct {
	Kind     SideKind
	X        float64 // in the sketch's frame, on the butt line, mm; for Frame where the picture ends
	Strength float64 // share of the rows in sight that show the joint or rake
	Edge     Edge    // of this piece; empty when only predicted
}

// SideKind tells what bounds a piece.
type SideKind int

// What bounds a piece.
const (
	Frame     SideKind = iota // runs out of the picture
	Joint                     // seen
	Predicted                 // a joint one product width from a seen one; in sight, but not seen
	Hidden                    // a joint is expected under the card
	Rake
)

// Piece is one shingle of the open course as the sketch has it.
type Piece struct {
	Left, Right Side
	Butt, Top   Edge
	Doubtful    bool // wider than a shingle: a joint between was missed
}

// Sketch is the open course as one view shows it.
type Sketch struct {
	Maps       *Maps
	Product    Product
	Line       poly // open butt line: y over x, mm
	Pieces     []Piece
	LowerButts map[int][]Edge // by course, -1 and down
	Lower      []Lower        // where the joints of the course below may lie, the likeliest first
	card       func(x, y float64) bool
}

// Sketch reads the lines of the open course, whose butt is expected near y = 0
// in the view's frame. card tells what lies under the card.
func (m *Maps) Sketch(p Product, card func(x, y float64) bool) (*Sketch, bool) {
	s := &Sketch{Maps: m, Product: p, LowerButts: map[int][]Edge{}, card: card}
	open := m.level(cButt, cButtD, cButtS, func(x, y float64) bool { return math.Abs(y) < 45 })
	line, ok := fitPoly(open, 2, poly{}, 6, 20)
	if !ok {
		return nil, false
	}
	s.Line = line
	s.pieces(open)
	s.lowerButts()
	s.lowerJoints()
	return s, true
}

// Skew is where the open butt line lies at x = 0, mm, and how it slopes there:
// both 0 in a view that is laid along the courses.
func (s *Sketch) Skew() (at, slope float64) { return s.Line.at(0), s.Line.slope(0) }

// level collects the marks of a line that runs along the courses.
func (m *Maps) level(c, d, spread int, in func(x, y float64) bool) []mark {
	var out []mark
	for i := range m.H {
		for j := range m.W {
			k := i*m.W + j
			if !m.seen[k] || m.ch[c][k] < -.8 {
				continue
			}
			col, row := float64(j*Cell)+cellMid, float64(i*Cell)+cellMid+float64(m.ch[d][k])
			x, y := m.View.ToRoof(col, row)
			if in(x, y) {
				sd := m.spread(spread, k)
				out = append(out, mark{along: x, across: y, weight: sigmoid(m.ch[c][k]) / (.04 + sd*sd), spread: sd, col: col, row: row})
			}
		}
	}
	return out
}

// upright collects the marks of a line that runs up the slope, between two
// heights over the open butt; along is the height, across x carried square to
// the butt line. off gives the offset (view px) of the edge from the cell.
func (s *Sketch) upright(c, spread int, lo, hi float64, off func(k int) float64) []mark {
	m := s.Maps
	var out []mark
	for i := range m.H {
		for j := range m.W {
			k := i*m.W + j
			if !m.seen[k] || m.ch[c][k] < -3 {
				continue
			}
			col, row := float64(j*Cell)+cellMid+off(k), float64(i*Cell)+cellMid
			x, y := m.View.ToRoof(col, row)
			h := y - s.Line.at(x)
			if h < lo || h > hi {
				continue
			}
			sd := m.spread(spread, k)
			out = append(out, mark{along: h, across: x + s.Line.slope(x)*h, weight: sigmoid(m.ch[c][k]), spread: sd, col: col, row: row})
		}
	}
	return out
}

// profile is the evidence for an upright line by its place along the butt.
type profile struct {
	x0, step float64
	got      []float64 // summed probability within reach
	rows     []float64 // rows in sight there
}

const profileReach = 6.0 // mm: half the width over which a line's cells are summed

// profileOf sums upright marks over x; rows in sight are counted from the cells.
func (s *Sketch) profileOf(ms []mark, lo, hi float64) *profile {
	m := s.Maps
	x0, _ := m.at(0, 0)
	p := &profile{x0: x0, step: Cell / 2 / m.View.PPM, got: make([]float64, 2*m.W), rows: make([]float64, 2*m.W)}
	best := make(map[[2]int]float64) // one vote a row: the strongest cell
	for _, k := range ms {
		a, b := int((k.across-profileReach-x0)/p.step), int((k.across+profileReach-x0)/p.step)
		for i := max(a, 0); i <= min(b, len(p.got)-1); i++ {
			key := [2]int{i, int(k.row)}
			if k.weight > best[key] {
				p.got[i] += k.weight - best[key]
				best[key] = k.weight
			}
		}
	}
	for i := range m.H {
		for j := range m.W {
			if !m.seen[i*m.W+j] {
				continue
			}
			x, y := m.at(i, j)
			h := y - s.Line.at(x)
			if h < lo || h > hi {
				continue
			}
			b := int((x + s.Line.slope(x)*h - x0) / p.step)
			for d := -1; d <= 0; d++ {
				if b+d >= 0 && b+d < len(p.rows) {
					p.rows[b+d]++
				}
			}
		}
	}
	return p
}

// at is the share of rows that show the line within reach of x, and the rows in sight.
func (p *profile) at(x float64) (share, rows float64) {
	i := int((x - p.x0) / p.step)
	if i < 0 || i >= len(p.got) {
		return 0, 0
	}
	r := p.rows[i]
	return p.got[i] / max(r, 1), r
}

// peaks are the places where at least least rows are in sight and the share is
// over floor, the strongest first, at least apart mm from one another.
func (p *profile) peaks(floor, least, apart float64) []float64 {
	type peak struct{ x, s float64 }
	var all []peak
	for i := range p.got {
		if p.rows[i] < least {
			continue
		}
		if s := p.got[i] / p.rows[i]; s >= floor {
			all = append(all, peak{p.x0 + float64(i)*p.step, s})
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].s > all[b].s })
	var out []float64
	for _, q := range all {
		near := false
		for _, x := range out {
			near = near || math.Abs(x-q.x) < apart
		}
		if !near {
			out = append(out, q.x)
		}
	}
	return out
}

// edgeOf fits an upright line near x through the marks and returns it, its
// place on the butt line and ok.
func edgeOf(ms []mark, x, reach float64) (e Edge, at float64, ok bool) {
	var near []mark
	for _, k := range ms {
		if math.Abs(k.across-x) < 2*reach && k.weight > .15 {
			near = append(near, k)
		}
	}
	p, ok := fitPoly(near, 1, poly{x}, reach/2, 4)
	if !ok {
		return e, x, false
	}
	return edge(inliers(near, p, reach), 32), p.at(0), true
}

// edge is a line's points for the adjustment, in view pixels until placed.
func edge(ms []mark, bin float64) Edge {
	t := thin(ms, bin)
	sort.Slice(t, func(a, b int) bool { return t[a].along < t[b].along })
	var e Edge
	spread := 0.0
	for _, k := range t {
		e.Pts = append(e.Pts, [2]float64{k.col, k.row})
		spread += k.spread
	}
	// neighbouring cells err together: one independent word in about 40 mm
	n := max(1, float64(len(t))*bin/40)
	e.U = spread / float64(max(len(t), 1)) / math.Sqrt(n)
	e.Rough = rough(ms)
	return e
}

// rough is the rms distance of marks from the straight line through them.
func rough(ms []mark) float64 {
	var w, sa, sb, saa, sab, sbb float64
	for _, m := range ms {
		w += m.weight
		sa, sb = sa+m.weight*m.along, sb+m.weight*m.across
	}
	if w == 0 {
		return 0
	}
	a, b := sa/w, sb/w
	for _, m := range ms {
		da, db := m.along-a, m.across-b
		saa, sab, sbb = saa+m.weight*da*da, sab+m.weight*da*db, sbb+m.weight*db*db
	}
	if saa > 0 {
		sbb -= sab * sab / saa
	}
	return math.Sqrt(max(sbb, 0) / w)
}

// place turns an edge's view pixels into pixels of the picture.
func (s *Sketch) place(e Edge) Edge {
	out := Edge{U: e.U, Rough: e.Rough, Pts: make([][2]float64, len(e.Pts))}
	for i, q := range e.Pts {
		out.Pts[i][0], out.Pts[i][1] = s.Maps.View.ToPicture(q[0], q[1])
	}
	return out
}

// onCard tells whether most of the upright line at x between two heights lies under the card.
func (s *Sketch) onCard(x, lo, hi float64) bool {
	under, n := 0, 0
	for h := lo; h <= hi; h += 10 {
		n++
		if s.card(x-s.Line.slope(x)*h, s.Line.at(x)+h) {
			under++
		}
	}
	return 2*under > n
}
