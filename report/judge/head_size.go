package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "head_size", Order: 8, Keys: []string{"fasteners.head_diameter"}, Needs: []Need{HeadDiameter},
		Remedy: "to check one from the same box with a caliper",
		head:   headSize,
	})
}

// making is how far under its nominal size a head may be made (a share; common
// practice, no source: a head sold as 3/8 in is not exactly 3/8 in across).
const making = .04

// headSize: the head's diameter is under fasteners.head_diameter, which is a
// nominal size, by more than heads are made short of it.
func headSize(c *scene, i int) (Finding, bool) {
	m := c.r.Fasteners[i].HeadDiameter
	if m == nil {
		return notJudged("head_size", "the head's diameter was not measured"), true
	}
	nominal := c.s.Fasteners.HeadDiameter
	limit := nominal * (1 - making)
	text := fmt.Sprintf("head large enough (nominal %s across, made no smaller than %s; measured %v)", length.Inches(nominal), length.Inches(limit), *m)
	if m.Value() < limit {
		text = fmt.Sprintf("head too small (nominal %s across, made no smaller than %s; measured %v)", length.Inches(nominal), length.Inches(limit), *m)
	}
	return c.answer("head_size", below(*m, limit), text).with(m, &limit, nil), true
}
