package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

// slack is how much wider than even a gap in a full piece may be.
const slack = 2 * length.Inch

// gap: two neighbours are too far apart. The finding stands with the right one
// of the two. In a short piece the limit is cut.short_gap; in a full piece it
// is the even spacing plus 2 in, where even means per_piece heads that divide
// the width less ends.min at both ends. Practice is silent between the two.
func gap(c *scene, i int) (Finding, bool) {
	w, at := c.row(i)
	if w == nil || at == 0 {
		return Finding{}, false
	}
	if at < 0 {
		return notJudged("gap", "the head's place along the course was not measured"), true
	}
	if w.piece.Width == nil {
		return notJudged("gap", "the width of the piece is not known, so neither is the widest gap allowed"), true
	}
	left, right := c.r.Fasteners[w.heads[at-1]], c.r.Fasteners[i]
	d := right.Along.Sub(*left.Along)
	limit, p, name, key := c.gapLimit(d, *w.piece.Width)
	if name == "" {
		return notJudged("gap", fmt.Sprintf("the piece is %v wide, between short and full, and practice names no widest gap there (this one %v)", *w.piece.Width, d)).with(&d, nil, nil), true
	}
	if w.hidden && p > c.s.Decision.Clear {
		return notJudged("gap", fmt.Sprintf("part of the piece is out of sight, and a head may lie there (gap seen %v)", d)).with(&d, nil, &limit), true
	}
	return c.answer("gap", p, gapText(d, limit, name),
		"common practice is a further fastener between the two"+decides, key).with(&d, nil, &limit), true
}

// gapLimit gives the limit of the piece, its name, the key it comes from, and
// the probability that the gap breaks it.
func (c *scene) gapLimit(d, width length.Measured) (limit length.MM, p float64, name, key string) {
	if c.full(width, 0) {
		spaces := length.MM(max(1, c.s.Fasteners.PerPiece-1))
		limit = (c.s.Shingle.Width-2*c.s.Ends.Min)/spaces + slack
		return limit, above(d, limit), "in a full piece, that is even spacing plus 2 in", "ends.min"
	}
	short := below(width, c.s.Cut.Short)
	if short <= c.s.Decision.Clear {
		return 0, 0, "", ""
	}
	limit = c.s.Cut.ShortGap
	return limit, short * above(d, limit), "in a short piece", "cut.short_gap"
}

func gapText(d length.Measured, limit length.MM, name string) string {
	if d.Value() > limit {
		return fmt.Sprintf("%s too far from its left neighbour (most %s %s; gap %v)", length.Inches(d.Value()-limit), length.Inches(limit), name, d)
	}
	return fmt.Sprintf("near enough to its left neighbour (most %s %s; gap %v)", length.Inches(limit), name, d)
}
