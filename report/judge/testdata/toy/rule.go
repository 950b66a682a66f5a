package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "toy_reach", Order: 99, Keys: []string{"toy.reach"}, Needs: []Need{Ends},
		Remedy: "to laugh about it",
		head:   toyReach,
	})
}

// toyReach: a head is farther than toy.reach from the left end of its piece.
func toyReach(c *scene, i int) (Finding, bool) {
	m := c.r.Fasteners[i].LeftEnd
	if m == nil {
		return notJudged("toy_reach", "the left end is not in the picture"), true
	}
	limit := c.s.Toy.Reach
	text := fmt.Sprintf("toy finding (most %s; head at %v)", length.Inches(limit), *m)
	return c.answer("toy_reach", above(*m, limit), text).with(m, nil, &limit), true
}
