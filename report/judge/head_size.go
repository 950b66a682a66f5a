package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

// headSize: the head's diameter is under fasteners.head_diameter.
func headSize(c *scene, i int) (Finding, bool) {
	m := c.r.Fasteners[i].HeadDiameter
	if m == nil {
		return notJudged("head_size", "the head's diameter was not measured"), true
	}
	limit := c.s.Fasteners.HeadDiameter
	text := fmt.Sprintf("head large enough (least %s across; measured %v)", length.Inches(limit), *m)
	if m.Value() < limit {
		text = fmt.Sprintf("head %s too small (least %s across; measured %v)", length.Inches(limit-m.Value()), length.Inches(limit), *m)
	}
	return c.answer("head_size", below(*m, limit), text,
		"common practice is to check one from the same box with a caliper"+decides, "fasteners.head_diameter").with(m, &limit, nil), true
}
