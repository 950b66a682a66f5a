package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "narrow", Order: 10, Keys: []string{"cut.narrowest"}, Needs: []Need{Pieces},
		Remedy: "to shift the cuts so that no piece is narrower",
		pieces: narrow,
	})
}

// narrow: a piece is narrower than cut.narrowest.
func narrow(c *scene) []PieceFinding {
	var out []PieceFinding
	for _, p := range c.r.Course.Pieces {
		out = append(out, PieceFinding{c.narrowOf(p.Width), p.ID, -1})
	}
	return out
}

func (c *scene) narrowOf(m *length.Measured) Finding {
	if m == nil {
		return notJudged("narrow", "an end of the piece is not in the picture")
	}
	limit := c.s.Cut.Narrowest
	text := fmt.Sprintf("piece wide enough (least %s; measured %v)", length.Inches(limit), *m)
	if m.Value() < limit {
		text = fmt.Sprintf("piece %s too narrow (least %s; measured %v)", length.Inches(limit-m.Value()), length.Inches(limit), *m)
	}
	return c.answer("narrow", below(*m, limit), text).with(m, &limit, nil)
}
