package judge

import (
	"fmt"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "end", Order: 4, Keys: []string{"ends.min", "ends.max"}, Needs: []Need{Ends, Pieces, Along},
		Remedy: "a further fastener at the right distance",
		head:   end, pieces: endMissing,
	})
}

// end: an outermost head is nearer to its end than ends.min or farther than
// ends.max. Only ends that the picture shows count. Of a lone head the worse
// of its two ends is told. A head so far in that a further one belongs between
// it and the end is not itself misplaced: endMissing tells that of the piece.
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
		return c.answerBy("end", p, "a joint near this head may not have been made out, so its distance to the end of its piece is not known",
			"to look where the piece ends", "ends.min"), true
	}
	var found []Finding
	if at == 0 {
		found = append(found, c.oneEnd(w, "left", w.piece.Left, f.LeftEnd))
	}
	if at == len(w.heads)-1 {
		found = append(found, c.oneEnd(w, "right", w.piece.Right, f.RightEnd))
	}
	if len(found) == 0 {
		return c.innerEnd(w, f)
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

// innerEnd speaks of a head with another one farther out only when it may be
// too near to an end itself.
func (c *scene) innerEnd(w *row, f vision.Fastener) (Finding, bool) {
	low := c.s.Ends.Min
	for _, e := range []struct {
		side string
		kind vision.End
		m    *length.Measured
	}{{"left", w.piece.Left, f.LeftEnd}, {"right", w.piece.Right, f.RightEnd}} {
		if e.m == nil || !seen(e.kind) || below(*e.m, low) <= c.s.Decision.Clear {
			continue
		}
		rule, _ := Find("end")
		return c.answerBy("end", below(*e.m, low), endText(*e.m, low, c.s.Ends.Max, e.side), rule.Remedy, "ends.min").with(e.m, &low, nil), true
	}
	return Finding{}, false
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
	if m.Value() > c.missedFrom(w) {
		return notJudged("end", fmt.Sprintf("no head near the %s end of the piece: this one, at %v, is the next one in", side, *m)).with(m, &low, &high)
	}
	return c.answer("end", near+far, endText(*m, low, high, side)).with(m, &low, &high)
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

// endMissing: no head of a piece is near one of its ends that the picture
// shows. It concerns the piece, since no head of it is out of place.
func endMissing(c *scene) []PieceFinding {
	var out []PieceFinding
	for _, p := range c.r.Course.Pieces {
		w := c.rows[p.ID]
		if len(w.heads) == 0 || w.hidden || p.Unsure {
			continue
		}
		first, last := c.r.Fasteners[w.heads[0]], c.r.Fasteners[w.heads[len(w.heads)-1]]
		if f, ok := c.missingAt(w, "left", p.Left, first.LeftEnd); ok {
			out = append(out, PieceFinding{f, p.ID, -1})
		}
		if f, ok := c.missingAt(w, "right", p.Right, last.RightEnd); ok {
			out = append(out, PieceFinding{f, p.ID, -1})
		}
	}
	return out
}

func (c *scene) missingAt(w *row, side string, kind vision.End, m *length.Measured) (Finding, bool) {
	if !seen(kind) || m == nil || m.Value() <= c.missedFrom(w) {
		return Finding{}, false
	}
	high := c.s.Ends.Max
	text := fmt.Sprintf("no head near the %s end of the piece (most %s; the nearest head at %v)", side, length.Inches(high), *m)
	return c.answerBy("end", above(*m, high), text, "a further fastener near that end", "ends.max").with(m, nil, &high), true
}

// missedFrom is the distance from an end at which the nearest head is more
// likely the second than the first: half an even spacing over ends.max.
func (c *scene) missedFrom(w *row) length.MM {
	width, need := c.s.Shingle.Width, c.s.Fasteners.PerPiece
	if m := w.piece.Width; m != nil && !c.full(*m, m.U95()) {
		width = m.Value()
		switch {
		case width < tiny:
			need = min(tinyCount, c.s.Cut.ShortCount)
		case width < c.s.Cut.Short:
			need = c.s.Cut.ShortCount
		}
	}
	return c.s.Ends.Max + c.even(width, need)/2
}

// even is the spacing of n heads that divide a width less ends.min at both ends.
func (c *scene) even(width length.MM, n int) length.MM {
	return max(0, width-2*c.s.Ends.Min) / length.MM(max(1, n-1))
}
