package judge

import (
	"fmt"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

// end: an outermost head is nearer to its end than ends.min or farther than
// ends.max. Only ends that the picture shows count. Of a lone head the worse
// of its two ends is told.
func end(c *scene, i int) (Finding, bool) {
	w, at := c.row(i)
	if w == nil {
		return Finding{}, false
	}
	if at < 0 {
		return notJudged("end", "the head's place along the course was not measured"), true
	}
	f := c.r.Fasteners[i]
	if w.piece.Unsure && (at == 0 || at == len(w.heads)-1 || f.End == nil) {
		// a joint of this stretch was not made out; any head may be next to it
		p := min(.49, float64(c.s.Ends.Min)*2/float64(c.s.Shingle.Width)+c.s.Decision.Clear)
		return c.answer("end", p, "a joint near this head may not have been made out, so its distance to the end of its piece is not known",
			"common practice is to look where the piece ends"+decides, "ends.min"), true
	}
	var found []Finding
	if at == 0 {
		found = append(found, c.oneEnd(w, "left", w.piece.Left, f.LeftEnd))
	}
	if at == len(w.heads)-1 {
		found = append(found, c.oneEnd(w, "right", w.piece.Right, f.RightEnd))
	}
	if len(found) == 0 {
		return Finding{}, false
	}
	worst := found[0]
	if len(found) == 2 && worse(found[1], worst) {
		worst = found[1]
	}
	return worst, true
}

func worse(a, b Finding) bool {
	if a.Result == NotJudged || b.Result == NotJudged {
		return b.Result == NotJudged && a.Result != NotJudged
	}
	return a.P > b.P
}

// oneEnd judges the outermost head of one side.
func (c *scene) oneEnd(w *row, side string, kind vision.End, m *length.Measured) Finding {
	switch {
	case !seen(kind):
		return notJudged("end", fmt.Sprintf("the %s end of its piece is not in the picture", side))
	case m == nil:
		return notJudged("end", fmt.Sprintf("the distance to the %s end was not measured", side))
	}
	low, high := c.s.Ends.Min, c.s.Ends.Max
	near, far := below(*m, low), above(*m, high)
	if w.hidden && far > c.s.Decision.Clear && near < c.s.Decision.Suspect {
		return notJudged("end", fmt.Sprintf("part of the piece is out of sight, and a head nearer to the %s end may lie there (this one at %v)", side, *m)).with(m, &low, &high)
	}
	return c.answer("end", near+far, endText(*m, low, high, side),
		"common practice is a further fastener at the right distance"+decides, "ends.min", "ends.max").with(m, &low, &high)
}

func endText(m length.Measured, low, high length.MM, side string) string {
	switch x := m.Value(); {
	case x < low:
		return fmt.Sprintf("%s too near to the %s end of its piece (least %s; head at %v)", length.Inches(low-x), side, length.Inches(low), m)
	case x > high:
		return fmt.Sprintf("%s too far from the %s end of its piece (most %s; the outermost head at %v)", length.Inches(x-high), side, length.Inches(high), m)
	}
	return fmt.Sprintf("at the right distance from the %s end of its piece (%s to %s; head at %v)", side, length.Inches(low), length.Inches(high), m)
}
