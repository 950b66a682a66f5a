package plane

import "math"

// Kind tells what a Line is.
type Kind int

// The kinds of lines.
const (
	Butt  Kind = iota // lower edge of a piece, upper rim
	Top               // upper edge of a piece of the open course
	Joint             // side of a piece
)

// Line is one straight edge seen in the picture.
type Line struct {
	Kind   Kind
	Course int // 0 the open course, -1 the one below ...
	Pts    [][2]float64
	U      float64 // mm, standard uncertainty of the line as a whole, across
	Mate   int     // Top: index of the piece's own butt; Joint at a right end: of the same piece's left end; -1 none
	Full   bool    // Joint with a Mate: the piece is taken as a whole one, of the product's width
}

// trend is the mean place across and the slope of a line, in the roof frame,
// and how far its middle lies off the chord of its ends, mm.
type trend struct{ at, slope, mid, length, sagitta float64 }

// rays are the lines of sight of the line's points in the camera frame.
func (l *Line) rays(lens *Lens) []Vec {
	out := make([]Vec, len(l.Pts))
	for i, p := range l.Pts {
		out[i] = lens.Ray(p[0], p[1])
	}
	return out
}

// trendOf lays a line's points, seen along rays, on their surface and fits a
// straight line, and to what is left an arc.
func trendOf(f *Frame, l *Line, rays []Vec) trend {
	places := make([][2]float64, len(rays))
	centre := f.Centre()
	var sa, sb, saa, sab float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, ray := range rays {
		a, b := placeOf(f, l, centre, ray)
		places[i] = [2]float64{a, b}
		sa, sb = sa+a, sb+b
		saa, sab = saa+a*a, sab+a*b
		lo, hi = min(lo, a), max(hi, a)
	}
	n := float64(len(l.Pts))
	ma, mb := sa/n, sb/n
	t := trend{at: mb, mid: ma, length: hi - lo}
	v := saa/n - ma*ma
	if v > 1 {
		t.slope = (sab/n - ma*mb) / v
	}
	if t.length > arcFrom {
		t.sagitta = t.arc(places, v)
	}
	return t
}

// arcFrom is how long a line must be to tell an arc, mm: on a shorter one a
// lens that is out by its prior's uncertainty leaves less than the edge's own.
const arcFrom = 400

// arc is the sagitta of the parabola, free of mean and slope, that fits a line's
// places about its trend best; v is the variance of the places along.
func (t *trend) arc(places [][2]float64, v float64) float64 {
	var m3, num, den float64
	for _, p := range places {
		d := p[0] - t.mid
		m3 += d * d * d
	}
	m3 /= float64(len(places))
	for _, p := range places {
		d := p[0] - t.mid
		q := d*d - v - m3/v*d
		num, den = num+q*(p[1]-t.At(p[0])), den+q*q
	}
	if den < 1e-9 {
		return 0 // two places, or places at two ends only, tell no arc
	}
	return num / den * t.length * t.length / 4
}

// placeOf is a line point in the roof frame, seen from the camera's centre along
// a ray: along and across the line.
func placeOf(f *Frame, l *Line, centre, ray Vec) (along, across float64) {
	d := f.R.MulT(ray)
	switch l.Kind {
	case Butt:
		return f.meet(centre, d, f.Stack.At(0))
	case Top:
		return f.meet(centre, d, f.Stack.At(f.Stack.Height))
	default:
		x, y := f.surface(centre, d, l.Course, 0)
		return y, x
	}
}

// At is the fitted line's place across at a place along.
func (t trend) At(along float64) float64 { return t.at + t.slope*(along-t.mid) }

// Across is a line's place across (mm: y of a butt or top, x of a joint) at a
// place along it, laid on its surface by the given frame.
func (l *Line) Across(f *Frame, along float64) float64 {
	t := trendOf(f, l, l.rays(&f.Lens))
	if l.Kind == Joint && t.length < 120 {
		t.slope = 0 // too short to tell a direction of its own; joints are square to the butt
	}
	return t.At(along)
}

// Reach is where a line begins and ends along itself, mm.
func (l *Line) Reach(f *Frame) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	centre := f.Centre()
	for _, ray := range l.rays(&f.Lens) {
		a, _ := placeOf(f, l, centre, ray)
		from, to = min(from, a), max(to, a)
	}
	return from, to
}
