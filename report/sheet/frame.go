package sheet

import (
	"math"
	"slices"

	"coursegauge/report/ledger"
)

// frame is one product's piece, onto which all nails of that product are put.
// Lengths mm; zero where nobody told.
type frame struct {
	ledger.Product
	estimated bool // the width was taken from the widest piece measured
	jobs      []int
	aims      []float64 // along the piece, from its left end
}

// inch is the distance from the ends that is usually asked for: common
// practice, no source.
const inch = 25.4

// newFrames makes a frame for each product of the work. Jobs whose products are
// alike share one.
func newFrames(w ledger.Work) (out []frame) {
	for j, job := range w.Jobs {
		q := job.Product
		if q.BandHigh <= q.BandLow {
			continue // nothing was measured against a band
		}
		i := slices.IndexFunc(out, func(f frame) bool { return f.Product == q })
		if i < 0 {
			i = len(out)
			out = append(out, frame{Product: q})
		}
		out[i].jobs = append(out[i].jobs, j)
	}
	for i := range out {
		out[i].complete(w)
	}
	return out
}

// complete estimates what the ledger was not told, from the pieces measured.
func (f *frame) complete(w ledger.Work) {
	if f.Width == 0 {
		f.estimated = true
		for _, p := range w.Photos {
			if !slices.Contains(f.jobs, p.Job) {
				continue
			}
			for _, q := range p.Pieces {
				if q.Width != nil {
					f.Width = max(f.Width, q.Width.MM)
				}
			}
		}
	}
	if f.Width > 0 {
		f.aims = f.aimed(f.count(w))
	}
}

// count is how many nails a full piece should have: what the schedule says, or
// else what most full pieces have.
func (f *frame) count(w ledger.Work) int {
	if f.PerPiece > 0 {
		return f.PerPiece
	}
	votes := map[int]int{}
	for _, p := range w.Photos {
		if !slices.Contains(f.jobs, p.Job) {
			continue
		}
		for _, q := range p.Pieces {
			if n := len(onPiece(p, q.N)); n > 1 && f.full(p, q.N) {
				votes[n]++
			}
		}
	}
	best := 4 // as most products ask for: common practice, no source
	for n, v := range votes {
		if v > votes[best] || v == votes[best] && v > 0 && n < best {
			best = n
		}
	}
	return best
}

// aimed spreads n nails evenly between two that lie an inch from the ends, or,
// where the product does not allow that, halfway between its limits.
func (f *frame) aimed(n int) (out []float64) {
	end := inch
	if f.EndMax > 0 && (end < f.EndMin || end > f.EndMax) {
		end = (f.EndMin + f.EndMax) / 2
	}
	for i := range n {
		out = append(out, end+float64(i)*(f.Width-2*end)/float64(max(1, n-1)))
	}
	return out
}

func onPiece(p ledger.Photo, piece int) (out []ledger.Head) {
	for _, h := range p.Heads {
		if h.Piece == piece {
			out = append(out, h)
		}
	}
	return out
}

// full tells whether a piece is whole: within 1 % of the product's width.
func (f *frame) full(p ledger.Photo, piece int) bool {
	for _, q := range p.Pieces {
		if q.N == piece && q.Width != nil {
			return math.Abs(q.Width.MM-f.Width) <= .01*f.Width
		}
	}
	return false
}

// frameOf is the frame of a job's product, nil where there is none.
func frameOf(frames []frame, job int) *frame {
	for i := range frames {
		if slices.Contains(frames[i].jobs, job) {
			return &frames[i]
		}
	}
	return nil
}

// point is a nail on the piece of its frame; dx and dy are how far off its aim
// point it lies, NaN where that is not known.
type point struct {
	frame  *frame
	x, y   float64
	dx, dy float64
	ux, uy float64
	joint  float64 // where the joint below lies from the nail, NaN where it was not seen
	photo  int
	head   int // index in the photo
	status status
}

// point puts a nail on the piece. On a full piece it belongs to the nearest aim
// point; on a cut one only the outermost nails have one, an inch or so from
// their end.
func (f *frame) point(p ledger.Photo, h ledger.Head) (point, bool) {
	pt := point{frame: f, x: math.NaN(), y: math.NaN(), dx: math.NaN(), dy: math.NaN(), joint: math.NaN()}
	if h.AboveButt == nil || h.Piece < 0 {
		return pt, false
	}
	pt.y, pt.dy, pt.uy = h.AboveButt.MM, h.AboveButt.MM-(f.BandLow+f.BandHigh)/2, h.AboveButt.U
	if h.LowerJoint != nil {
		pt.joint = h.LowerJoint.MM
	}
	if len(f.aims) == 0 {
		return pt, true
	}
	switch {
	case h.LeftEnd != nil && h.RightEnd != nil && f.full(p, h.Piece):
		pt.x = h.LeftEnd.MM + (f.Width-h.LeftEnd.MM-h.RightEnd.MM)/2
		pt.ux = math.Hypot(h.LeftEnd.U, h.RightEnd.U) / 2
		pt.dx = pt.x - nearest(f.aims, pt.x)
	case h.LeftEnd != nil && (h.RightEnd == nil || h.LeftEnd.MM <= h.RightEnd.MM):
		pt.x, pt.ux = h.LeftEnd.MM, h.LeftEnd.U
		if outermost(p, h, func(o ledger.Head) float64 { return distance(o.LeftEnd) }) {
			pt.dx = pt.x - f.aims[0]
		}
	case h.RightEnd != nil:
		pt.x, pt.ux = f.Width-h.RightEnd.MM, h.RightEnd.U
		if outermost(p, h, func(o ledger.Head) float64 { return distance(o.RightEnd) }) {
			pt.dx = pt.x - f.aims[len(f.aims)-1]
		}
	}
	if math.Abs(pt.dx) > farOff {
		pt.dx = math.NaN()
	}
	return pt, true
}

// farOff is the distance at which a nail is not off its aim point any more but
// belongs to none, mm: at the end of a cut piece one is missing. Own choice: a
// quarter of the usual spacing.
const farOff = 3 * inch

func nearest(aims []float64, x float64) float64 {
	best := aims[0]
	for _, a := range aims {
		if math.Abs(a-x) < math.Abs(best-x) {
			best = a
		}
	}
	return best
}

// outermost tells whether no other nail of the piece is nearer to the end.
func outermost(p ledger.Photo, h ledger.Head, to func(ledger.Head) float64) bool {
	for _, o := range onPiece(p, h.Piece) {
		if to(o) < to(h) {
			return false
		}
	}
	return true
}
