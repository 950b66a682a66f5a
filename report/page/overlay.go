package page

import (
	"fmt"
	"math"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
	"coursegauge/report/sign"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// overlay is what is drawn over a photo, in pixels of the full photo.
type overlay struct {
	ViewBox string
	Type    string // size of the lettering
	Lines   []line
	Labels  []label // pieces and lower joints by number
	Marks   []mark
}

// line is a polyline with the class that says what it stands for.
type line struct{ Class, Points, Title string }

// label is a short text with its middle at a place.
type label struct{ X, Y, Text string }

// mark shows one head; its shape tells the verdict, as package sign says.
type mark struct {
	ID               int
	Verdict          string
	X, Y             string // the head's centre
	Shape            string // path about the centre
	LabelX, LabelY   string
	Title, Link      string
	Linked, Numbered bool
}

// newOverlay draws what was measured in a photo of the given size.
func newOverlay(p inspection.Photo, r *vision.Result, s schedule.Schedule, width, height int) *overlay {
	w := float64(width)
	o := &overlay{ViewBox: fmt.Sprintf("0 0 %d %d", width, height), Type: num(w / 70)}
	if r.Card != nil {
		c := r.Card.OutlinePx
		o.add("card", "card", append(c[:], c[0]))
	}
	o.addCourse(r, s)
	for _, q := range r.Course.Pieces {
		o.Labels = append(o.Labels, label{
			X:    num((q.LeftPx.X+q.RightPx.X)/2 + 0.5),
			Y:    num((q.LeftPx.Y+q.RightPx.Y)/2 + 0.5 + w/45),
			Text: fmt.Sprintf("piece %d", q.ID),
		})
	}
	for _, h := range p.Heads {
		o.Marks = append(o.Marks, newMark(p.File, h, w))
	}
	return o
}

func (o *overlay) addCourse(r *vision.Result, s schedule.Schedule) {
	c := r.Course
	butt := c.ButtPx[:]
	if c.Trace != nil {
		butt = c.Trace(0)
		low, high := c.Trace(s.Band.Low), c.Trace(s.Band.High)
		o.add("band-fill", "", append(append([]vision.Point{}, low...), reversed(high)...))
		o.add("band", "lower border of the band, "+length.Inches(s.Band.Low)+" above the butt", low)
		o.add("band", "upper border of the band, "+length.Inches(s.Band.High)+" above the butt", high)
		o.add("top", "top edge of the course", c.Trace(s.Shingle.Height))
	}
	o.add("butt", "butt line of the open course", butt)
	for _, q := range c.Pieces {
		o.addUpright(r, "joint", "left end: "+say(endWords, string(q.Left)), endSeen(q.Left), q.LeftPx, 0, s.Shingle.Height)
		o.addUpright(r, "joint", "right end: "+say(endWords, string(q.Right)), endSeen(q.Right), q.RightPx, 0, s.Shingle.Height)
	}
	for i, l := range c.LowerJoints {
		if r.ToPicture != nil {
			if x, y, ok := onRoof(r.ToPicture, l.Px, 0, 0); ok {
				foot := r.ToPicture(x, y-s.Shingle.Exposure)
				o.Labels = append(o.Labels, label{num(foot.X + 0.5), num(foot.Y + 0.5), fmt.Sprintf("lower joint %d", i+1)}) // as in its entry
			}
		}
		o.addUpright(r, "lower-joint", "joint of the course below", true, l.Px, -s.Shingle.Exposure, s.Band.High)
	}
	for _, n := range c.NextJoints {
		o.addUpright(r, "next-joint", "where a joint of the course to come will be", true, n.Px, s.Shingle.Exposure, s.Shingle.Height)
	}
}

func endSeen(e vision.End) bool {
	return e == vision.EndJoint || e == vision.EndRake || e == vision.EndCut
}

// addUpright draws a line up the slope through a place on the butt line, from
// `from` to `to` mm above the butt.
func (o *overlay) addUpright(r *vision.Result, class, title string, seen bool, at vision.Point, from, to length.MM) {
	if !seen || r.ToPicture == nil {
		return
	}
	x, y, ok := onRoof(r.ToPicture, at, 0, 0)
	if !ok {
		return
	}
	o.add(class, title, []vision.Point{r.ToPicture(x, y+from), r.ToPicture(x, y+to)})
}

func (o *overlay) add(class, title string, points []vision.Point) {
	if len(points) < 2 {
		return
	}
	var b strings.Builder
	for i, p := range points {
		if math.IsNaN(p.X+p.Y) || math.IsInf(p.X+p.Y, 0) {
			return
		}
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(num(p.X+0.5) + "," + num(p.Y+0.5))
	}
	o.Lines = append(o.Lines, line{class, b.String(), title})
}

func newMark(file string, h inspection.Fastener, width float64) mark {
	size := max(1.7*h.RadiusPx, width/190)
	m := mark{
		ID: h.ID, Verdict: h.Verdict,
		X: num(h.Px[0] + 0.5), Y: num(h.Px[1] + 0.5),
		Shape:  sign.Path(h.Verdict, size),
		LabelX: num(size * 1.25), LabelY: num(-size * 0.9),
		Title: fmt.Sprintf("head %d: %s", h.ID, say(resultWords, h.Verdict)),
	}
	if h.AboveButt != nil {
		m.Title += ", " + lengthCell(h.AboveButt).Inches + " above the butt"
	}
	if needsLook(h.Verdict) {
		m.Linked, m.Link = true, headID(file, h.ID)
	}
	return m
}

func needsLook(result string) bool { return result == "suspect" || result == "unresolved" }

func reversed(in []vision.Point) []vision.Point {
	out := make([]vision.Point, len(in))
	for i, p := range in {
		out[len(in)-1-i] = p
	}
	return out
}

// onRoof finds the point of the course's surface, mm, that is seen at `at`, by
// Newton's method from a first guess. It is not ok when the steps do not
// settle within a thousandth of a pixel.
func onRoof(toPicture toPicture, at vision.Point, x, y length.MM) (length.MM, length.MM, bool) {
	const h = 0.5 // mm: far over rounding, far under the scale on which the mapping bends
	for range 20 {
		p, px, py := toPicture(x, y), toPicture(x+h, y), toPicture(x, y+h)
		ex, ey := at.X-p.X, at.Y-p.Y
		if math.Hypot(ex, ey) < 1e-3 {
			return x, y, true
		}
		a, b := (px.X-p.X)/h, (py.X-p.X)/h
		c, d := (px.Y-p.Y)/h, (py.Y-p.Y)/h
		det := a*d - b*c
		if det == 0 || math.IsNaN(det) {
			break
		}
		x += length.MM((d*ex - b*ey) / det)
		y += length.MM((a*ey - c*ex) / det)
	}
	return 0, 0, false
}

// toPicture maps a point of the course's surface (x along, y above the butt,
// mm) to the picture frame.
type toPicture = func(x, y length.MM) vision.Point
