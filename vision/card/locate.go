package card

import (
	"math"
	"sort"
)

const (
	wideWindow  = .2  // half width of the first window, in squares
	fineWindow  = .12 // half width of the last one: inside the rim of .125
	minWindow   = 3   // px
	farthest    = .2  // squares a corner may lie from where the homography puts it
	minLikeness = .6  // correlation with the chessboard
	minContrast = 8   // grey levels
	passes      = 4   // times that the homography is fitted and the corners are looked for anew
	floorU      = .02 // px: what the location of a corner costs at best
)

// locate finds the corners of the card near the places where s.H puts them,
// refits s.H to them, and goes on while that brings more corners: markers in one
// part of the board give a homography that is poor in the other.
func (s *Sight) locate(pic raster, b Board) {
	for range passes {
		before := len(s.Corners)
		found := s.corners(pic, b)
		if !s.adjust(b, found) || len(s.Corners) <= before {
			return
		}
	}
}

// corners looks for every corner at full size.
func (s *Sight) corners(pic raster, b Board) []Corner {
	var out []Corner
	for id := range b.Corners() {
		at := b.corner(id)
		across, down := sides(s.H, at, b.SquareMM)
		side := math.Min(across, down)
		fine := math.Max(minWindow, fineWindow*side)
		start := project(s.H, at)
		p, ok := pic.saddle(start, math.Max(fine, wideWindow*side), farthest*side)
		if ok {
			p, ok = pic.saddle(p, fine, farthest*side)
		}
		if !ok || distance(p, start) > farthest*side {
			continue
		}
		column, row := id%(b.Cols-1), id/(b.Cols-1)
		corr, contrast := pic.likeness(p, fine, slope(s.H, at), b.Black(column, row))
		if corr < minLikeness || contrast < minContrast {
			continue
		}
		out = append(out, Corner{ID: id, BoardX: at[0], BoardY: at[1], X: p[0], Y: p[1]})
	}
	return out
}

// adjust throws out the corners that do not fit and fits s.H to the rest by
// least squares. It leaves s alone and answers false when too few are left.
func (s *Sight) adjust(b Board, found []Corner) bool {
	from, to := pairs(found)
	across, down := sides(s.H, [2]float64{float64(b.Cols) * b.SquareMM / 2, float64(b.Rows) * b.SquareMM / 2}, b.SquareMM)
	_, keep, ok := homography(from, to, math.Max(1.5, .1*math.Min(across, down)))
	if !ok {
		return false
	}
	found = kept(found, keep)
	h, ok := leastSquares(found)
	if !ok {
		return false
	}
	at, r := residuals(b, h, found)
	keep, sd := local(at, r)
	found = kept(found, keep)
	if h, ok = leastSquares(found); !ok || !sensible(h, b) {
		return false
	}
	for i := range found {
		found[i].U = math.Max(floorU, sd)
	}
	s.H, s.Corners = h, found
	_, r = residuals(b, h, found)
	s.ResidualPx = rms(r)
	return true
}

func pairs(c []Corner) (from, to [][2]float64) {
	for _, p := range c {
		from, to = append(from, [2]float64{p.BoardX, p.BoardY}), append(to, [2]float64{p.X, p.Y})
	}
	return from, to
}

func leastSquares(c []Corner) ([9]float64, bool) {
	from, to := pairs(c)
	h, _, ok := homography(from, to, 0)
	return h, ok
}

func kept(c []Corner, keep []bool) []Corner {
	var out []Corner
	for i, p := range c {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// residuals are picture minus homography in px, and the places on the board,
// centred and scaled so that its half width is 1.
func residuals(b Board, h [9]float64, c []Corner) (at, r [][2]float64) {
	w, v := float64(b.Cols)*b.SquareMM/2, float64(b.Rows)*b.SquareMM/2
	for _, p := range c {
		q := project(h, [2]float64{p.BoardX, p.BoardY})
		at = append(at, [2]float64{(p.BoardX - w) / w, (p.BoardY - v) / w})
		r = append(r, [2]float64{p.X - q[0], p.Y - q[1]})
	}
	return at, r
}

func rms(r [][2]float64) float64 {
	s := 0.0
	for _, v := range r {
		s += v[0]*v[0] + v[1]*v[1]
	}
	return math.Sqrt(s / float64(max(1, len(r))))
}

// spread is the share of the board's area that the hull of the corners covers.
func spread(b Board, c []Corner) float64 {
	p, _ := pairs(c)
	sort.Slice(p, func(i, j int) bool {
		return p[i][0] < p[j][0] || p[i][0] == p[j][0] && p[i][1] < p[j][1]
	})
	hull := append(chain(p), chain(reversed(p))...)
	area := 0.0
	for i := range hull {
		q, n := hull[i], hull[(i+1)%len(hull)]
		area += (q[0]*n[1] - q[1]*n[0]) / 2
	}
	return math.Abs(area) / (float64(b.Cols*b.Rows) * b.SquareMM * b.SquareMM)
}

// chain is one half of Andrew's monotone chain over sorted points, without its
// last point.
func chain(p [][2]float64) [][2]float64 {
	var c [][2]float64
	for _, q := range p {
		for len(c) > 1 && turn(c[len(c)-2], c[len(c)-1], q) <= 0 {
			c = c[:len(c)-1]
		}
		c = append(c, q)
	}
	return c[:max(0, len(c)-1)]
}

func turn(a, b, c [2]float64) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

func reversed(p [][2]float64) [][2]float64 {
	out := make([][2]float64, len(p))
	for i := range p {
		out[len(p)-1-i] = p[i]
	}
	return out
}
