package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "count", Order: 1, Keys: []string{"fasteners.per_piece", "cut.short", "cut.short_count"}, Needs: []Need{Pieces},
		Remedy: "to add what is missing, evenly spaced in the band",
		pieces: pieceCount,
	})
}

// tiny is the width under which two heads are enough; practice is silent there.
const (
	tiny      = 12 * length.Inch
	tinyCount = 2
)

// pieceCount: a full piece has fewer heads than per_piece, a short one fewer
// than short_count, one under 12 in fewer than 2. Only a piece that is whole
// in the picture and uncovered is judged.
func pieceCount(c *scene) []PieceFinding {
	var out []PieceFinding
	for _, p := range c.r.Course.Pieces {
		out = append(out, PieceFinding{c.countOf(c.rows[p.ID]), p.ID, -1})
	}
	return out
}

func (c *scene) countOf(w *row) Finding {
	switch {
	case !seen(w.piece.Left) || !seen(w.piece.Right) || w.piece.Width == nil:
		return notJudged("count", "the piece is not whole in the picture")
	case w.piece.Covered:
		return notJudged("count", "part of the piece's nailing area is out of sight")
	}
	width, n := *w.piece.Width, c.headsOn(w.piece.ID)
	// A cut so small that the measurement cannot see it lets no head go.
	if c.full(width, width.U95()) {
		need := c.s.Fasteners.PerPiece
		return c.countFinding(width, n, need, truth(n < need), "a full piece", "")
	}
	short, small := below(width, c.s.Cut.Short), below(width, tiny)
	if short <= 0.5 {
		return notJudged("count", fmt.Sprintf("the piece is %v wide, between short and full, and practice names no count there (%d seen)", width, n)).with(&width, nil, nil)
	}
	need, few := c.s.Cut.ShortCount, min(tinyCount, c.s.Cut.ShortCount)
	p := small*truth(n < few) + max(0, short-small)*truth(n < need)
	if small > 0.5 {
		return c.countFinding(width, n, few, p, "a piece under "+length.Inches(tiny)+", where practice is silent", "")
	}
	return c.countFinding(width, n, need, p, "a short piece", "cut.short_count")
}

// countFinding words a count. A key of "" names no default.
func (c *scene) countFinding(width length.Measured, n, need int, p float64, name, key string) Finding {
	text := fmt.Sprintf("%d of %d fasteners seen (%s, %v wide)", n, need, name, width)
	rule, _ := Find("count")
	return c.answerBy("count", p, text, rule.Remedy, key).with(&width, nil, nil)
}

// headsOn counts all heads on a piece, measured along the course or not.
func (c *scene) headsOn(piece int) int {
	n := 0
	for _, f := range c.r.Fasteners {
		if f.Piece == piece && !f.Exposed {
			n++
		}
	}
	return n
}
