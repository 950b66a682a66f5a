package page

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// Every close-up shows the same piece of roof at the same scale.
const (
	closeW, closeH = 120.0, 90.0 // mm
	closeScale     = 3.0         // px a mm
)

// closeup is one head that a person must look at.
type closeup struct {
	ID       string
	Head     int
	Verdict  string
	Src      template.HTMLAttr // empty when the place could not be rectified
	Alt      string
	ViewBox  string // mm about the head, y down
	Radius   string
	Guides   []guide
	Measures []measure
	Budget   *budgetTable
	Target   string   // what a decision about it names
	Px       string   // where the head was found, "x,y"
	Caption  []string // what was seen of this one, when it stands with others
	Wide     bool     // of a piece rather than a head
}

// budgetTable says where the uncertainty of each of a head's lengths comes
// from: half widths of 95 % intervals in inches, a column a length. The squares
// of a column add up to the square of its total.
type budgetTable struct {
	Lengths []string
	Rows    []budgetLine
	Total   []string
}

type budgetLine struct {
	Source string
	U95    []string
}

// guide is a line of the course: a border of the band, an end, a joint.
type guide struct{ Class, X1, Y1, X2, Y2, LabelX, LabelY, Label, Anchor string }

// measure is a dimension line with its value; an end that lies out of the
// window has an arrow that points there instead of a tick.
type measure struct {
	X1, Y1, X2, Y2       string
	Tick1, Tick2         string // paths
	Lead                 string // path from the head to the line
	LabelX, LabelY, Text string
	Below, BelowY        string // a second row of the text
	Anchor               string
}

// newCloseup shows the roof around head h and draws the lengths in question. The lines are placed by the measured lengths from the head's
// centre, not by the surface below it, so that they agree with the figures.
func (in subject) newCloseup(h judge.Head, most int) (closeup, error) {
	f, r := h.Fastener, in.r
	c := closeup{
		ID: headID(in.p.File, f.ID), Head: f.ID, Verdict: string(h.Verdict),
		Alt:     fmt.Sprintf("close-up of head %d, seen square to the roof", f.ID),
		ViewBox: fmt.Sprintf("%s %s %s %s", num(-closeW/2), num(-closeH/2), num(closeW), num(closeH)),
		Budget:  newBudgetTable(f, r.Inputs),
	}
	jpeg := in.cut.head(f.ID)
	if jpeg == nil {
		return c, nil
	}
	small, err := in.shrink(View{JPEG: jpeg, Size: closeW * closeScale, Most: most})
	if err != nil {
		return c, err
	}
	c.Src = source("src", small)
	c.Radius = num(float64(valueOr(f.HeadDiameter, 9.5))/2 + 1)
	c.Guides = guides(f, r.Course, in.s)
	c.Measures = measures(h, r.Course, in.s)
	return c, nil
}

// newBudgetTable is nil for a head without lengths. A source that adds nothing
// to any of them has no row.
func newBudgetTable(f vision.Fastener, inputs []length.Source) *budgetTable {
	var t budgetTable
	var columns []length.Budget
	for _, l := range []struct {
		name string
		of   *length.Measured
	}{{"above the butt", f.AboveButt}, {"to the end", f.End}, {"joint below", f.LowerJoint}, {"joint to come", f.NextJoint}, {"diameter", f.HeadDiameter}} {
		if l.of != nil {
			b := l.of.Budget(inputs)
			columns = append(columns, b)
			t.Lengths, t.Total = append(t.Lengths, l.name), append(t.Total, u95(b.U()))
		}
	}
	for _, s := range length.Sources() {
		line, any := budgetLine{Source: sourceWords[s]}, false
		for _, b := range columns {
			line.U95 = append(line.U95, u95(b[s]))
			any = any || b[s] > 0
		}
		if any {
			t.Rows = append(t.Rows, line)
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return &t
}

// u95 prints the half width of a 95 % interval in thousandths of an inch, one
// digit more than the length itself has; nothing for no uncertainty.
func u95(u length.MM) string {
	if u == 0 {
		return ""
	}
	return fmt.Sprintf("%.3f", length.K95*u/length.Inch)
}

// guides are the lines of the course that cross the window.
func guides(f vision.Fastener, c *vision.Course, s schedule.Schedule) (out []guide) {
	if f.AboveButt != nil {
		above := float64(f.AboveButt.Value())
		out = appendLevel(out, "band", float64(s.Band.High)-above, "band ends "+length.Inches(s.Band.High))
		out = appendLevel(out, "band", float64(s.Band.Low)-above, "band begins "+length.Inches(s.Band.Low))
		out = appendLevel(out, "butt", -above, "butt")
	}
	for _, a := range alongs(f, c) {
		if math.Abs(a.at) > closeW/2 {
			continue
		}
		x := num(a.at)
		g := guide{a.class, x, num(-closeH / 2), x, num(closeH / 2), num(a.at + 1.2), num(-closeH/2 + 5), a.name, "start"}
		if a.at > closeW/4 {
			g.LabelX, g.Anchor = num(a.at-1.2), "end"
		}
		out = append(out, g)
	}
	return out
}

// appendLevel adds a line along the course, y mm above the head, if it crosses
// the window; its label stands on the side away from the head.
func appendLevel(out []guide, class string, y float64, text string) []guide {
	if math.Abs(y) > closeH/2 {
		return out
	}
	at := -y + 4.6
	if y > 0 {
		at = -y - 1.4
	}
	return append(out, guide{class, num(-closeW / 2), num(-y), num(closeW / 2), num(-y), num(closeW/2 - 1.5), num(at), text, "end"})
}

// along is a line across the course, so many mm to the right of the head.
type along struct {
	rule, class, name string
	at                float64
	length            *length.Measured
}

// alongs places the ends of the head's piece and the nearest joints.
func alongs(f vision.Fastener, c *vision.Course) (out []along) {
	if f.LeftEnd != nil {
		out = append(out, along{"end", "joint", "end", -float64(f.LeftEnd.Value()), f.LeftEnd})
	}
	if f.RightEnd != nil {
		out = append(out, along{"end", "joint", "end", float64(f.RightEnd.Value()), f.RightEnd})
	}
	if f.Along == nil || c == nil {
		return out
	}
	x := float64(f.Along.Value())
	if f.LowerJoint != nil {
		var all []float64
		for _, l := range c.LowerJoints {
			all = append(all, float64(l.X.Value())-x)
		}
		out = append(out, along{"lower_joint", "lower-joint", "joint below", toward(all) * float64(f.LowerJoint.Value()), f.LowerJoint})
	}
	if f.NextJoint != nil {
		var all []float64
		for _, n := range c.NextJoints {
			all = append(all, float64(n.X.Value())-x)
		}
		out = append(out, along{"next_joint", "next-joint", "joint to come", toward(all) * float64(f.NextJoint.Value()), f.NextJoint})
	}
	return out
}

// toward is the side, -1 or 1, on which the nearest of the places lies.
func toward(places []float64) float64 {
	best := math.Inf(1)
	for _, p := range places {
		if math.Abs(p) < math.Abs(best) {
			best = p
		}
	}
	return math.Copysign(1, best)
}

// measures are the dimension lines: always the height, and the lengths that
// the rules in question look at.
func measures(h judge.Head, c *vision.Course, s schedule.Schedule) (out []measure) {
	f := h.Fastener
	var taken []float64 // heights of labels to keep clear of
	if f.AboveButt != nil {
		above := float64(f.AboveButt.Value())
		m := upright(-14, -above, f.AboveButt.String())
		m.Below = "above the butt"
		out = append(out, m)
		low, high := float64(s.Band.Low)-above, float64(s.Band.High)-above
		taken = append(taken, high, low)
		if high < 0 {
			out = append(out, upright(14, high, length.Inches(length.MM(-high))+" over"))
		} else if low > 0 {
			out = append(out, upright(14, low, length.Inches(length.MM(low))+" under"))
		}
	}
	for _, a := range alongs(f, c) {
		if !inQuestion(h, a) {
			continue
		}
		y := clearOf(taken)
		taken = append(taken, y)
		out = append(out, level(y, a.at, a.length.String()))
	}
	return out
}

// clearOf is the least height over the head, mm, at which a dimension line and
// the text on it keep clear of the lines and labels that are there.
func clearOf(taken []float64) float64 {
	y := 12.0
	for slices.ContainsFunc(taken, func(t float64) bool { return y > t-8 && y < t+8 }) && y < closeH/2-14 {
		y++
	}
	return y
}

// inQuestion tells whether a rule that a person must look at compared this very
// length: of the two ends of a piece, the one that the rule speaks of.
func inQuestion(h judge.Head, a along) bool {
	return slices.ContainsFunc(h.Findings, func(r judge.Finding) bool {
		return r.Rule == a.rule && needsLook(string(r.Result)) && (r.Length == nil || r.Length.Value() == a.length.Value())
	})
}

// upright is a dimension line x mm to the right of the head, from the height
// of its centre to y mm above it.
func upright(x, y float64, text string) measure {
	end, out := clamp(y, closeH/2-6)
	m := measure{
		X1: num(x), Y1: "0", X2: num(x), Y2: num(-end),
		Tick1: fmt.Sprintf("M%s 0h4", num(x-2)),
		Tick2: fmt.Sprintf("M%s %sh4", num(x-2), num(-end)),
		Lead:  fmt.Sprintf("M0 0H%s", num(x)),
		Text:  text, LabelX: num(x + math.Copysign(2, x)), Anchor: "start",
		LabelY: num(-end/2 + 1.4), BelowY: num(-end/2 + 6.2),
	}
	if x < 0 {
		m.Anchor = "end"
	}
	if out {
		d := math.Copysign(4, end)
		m.Tick2 = fmt.Sprintf("M%s %sl2 %sl2 %s", num(x-2), num(-end+d), num(-d), num(d))
	}
	return m
}

// level is a dimension line y mm above the head, from it to x mm right of it.
func level(y, x float64, text string) measure {
	end, out := clamp(x, closeW/2-6)
	m := measure{
		X1: "0", Y1: num(-y), X2: num(end), Y2: num(-y),
		Tick1: fmt.Sprintf("M0 %sv4", num(-y-2)),
		Tick2: fmt.Sprintf("M%s %sv4", num(end), num(-y-2)),
		Lead:  fmt.Sprintf("M0 0V%s", num(-y)),
		Text:  text, LabelX: num(end / 2), LabelY: num(-y - 1.6), Anchor: "middle",
	}
	if out {
		d := math.Copysign(4, end)
		m.Tick2 = fmt.Sprintf("M%s %sl%s 2l%s 2", num(end-d), num(-y-2), num(d), num(-d))
	}
	if math.Abs(end) < 44 { // too short to carry its text: that stands on the other side
		m.LabelX, m.LabelY, m.Anchor = num(-math.Copysign(2, end)), num(-y+1.4), "start"
		if end > 0 {
			m.Anchor = "end"
		}
	}
	return m
}

// clamp keeps v within the limit; out says that it lay beyond.
func clamp(v, limit float64) (float64, bool) {
	if math.Abs(v) <= limit {
		return v, false
	}
	return math.Copysign(limit, v), true
}

func valueOr(m *length.Measured, fallback length.MM) length.MM {
	if m == nil {
		return fallback
	}
	return m.Value()
}
