package judge

import (
	"fmt"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "gap", Order: 9, Keys: []string{"ends.min", "cut.short", "cut.short_gap"}, Needs: []Need{Pieces, Along},
		Remedy: "a further fastener between the two",
		pieces: gap,
	})
}

// slack is how much wider than even a gap in a full piece may be.
const slack = 2 * length.Inch

// gap: two neighbours are too far apart. The finding concerns the piece: both
// heads may lie where they belong, with one missing between. In a short piece
// the limit is cut.short_gap; in a full piece it is the even spacing plus 2 in,
// where even means per_piece heads that divide the width less ends.min at both
// ends, or the width of a three-tab's tab where that is more: six heads stand in
// pairs beside its cutouts. Practice is silent between the two.
func gap(c *scene) []PieceFinding {
	var out []PieceFinding
	for _, p := range c.r.Course.Pieces {
		w := c.rows[p.ID]
		for k := 1; k < len(w.heads); k++ {
			out = append(out, PieceFinding{c.gapOf(w, c.r.Fasteners[w.heads[k-1]], c.r.Fasteners[w.heads[k]]), p.ID, -1})
		}
	}
	return out
}

func (c *scene) gapOf(w *row, left, right vision.Fastener) Finding {
	d := right.Along.Sub(*left.Along)
	pair := fmt.Sprintf("heads %d and %d", left.ID, right.ID)
	if w.piece.Width == nil {
		return notJudged("gap", fmt.Sprintf("the width of the piece is not known, so neither is the widest gap allowed (%s %v apart)", pair, d)).with(&d, nil, nil)
	}
	limit, p, name, key := c.gapLimit(d, *w.piece.Width)
	if name == "" {
		return notJudged("gap", fmt.Sprintf("the piece is %v wide, between short and full, and practice names no widest gap there (%s %v apart)", *w.piece.Width, pair, d)).with(&d, nil, nil)
	}
	if w.hidden && p > c.s.Decision.Clear {
		return notJudged("gap", fmt.Sprintf("part of the piece is out of sight, and a head may lie there (%s %v apart)", pair, d)).with(&d, nil, &limit)
	}
	rule, _ := Find("gap")
	return c.answerBy("gap", p, gapText(pair, d, limit, name), rule.Remedy, key).with(&d, nil, &limit)
}

// gapLimit gives the limit of the piece, its name, the key it comes from, and
// the probability that the gap breaks it.
func (c *scene) gapLimit(d, width length.Measured) (limit length.MM, p float64, name, key string) {
	if c.full(width, 0) {
		even, name := c.even(c.s.Shingle.Width, c.s.Fasteners.PerPiece), "in a full piece, that is even spacing plus 2 in"
		if tab := c.s.Shingle.Width / 3; c.s.Shingle.Family == vision.ThreeTab && tab > even {
			even, name = tab, "in a full piece, that is the width of a tab plus 2 in"
		}
		return even + slack, above(d, even+slack), name, "ends.min"
	}
	short := below(width, c.s.Cut.Short)
	if short <= c.s.Decision.Clear {
		return 0, 0, "", ""
	}
	limit = c.s.Cut.ShortGap
	return limit, short * above(d, limit), "in a short piece", "cut.short_gap"
}

func gapText(pair string, d length.Measured, limit length.MM, name string) string {
	if d.Value() > limit {
		return fmt.Sprintf("%s %s too far apart (most %s %s; gap %v)", pair, length.Inches(d.Value()-limit), length.Inches(limit), name, d)
	}
	return fmt.Sprintf("%s near enough to each other (most %s %s; gap %v)", pair, length.Inches(limit), name, d)
}
