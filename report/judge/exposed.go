package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "exposed", Order: 2, Needs: []Need{AboveButt},
		Remedy: "to take it out and seal the hole, or to seal over it",
		head:   exposed,
	})
}

// exposed: a head below the butt of the open course, open to the weather.
func exposed(c *scene, i int) (Finding, bool) {
	f := c.r.Fasteners[i]
	var butt length.MM
	switch {
	case f.Exposed && (f.AboveButt == nil || f.AboveButt.Value() >= 0):
		return c.answer("exposed", 1, "below the butt edge of the open course, in the weather"), true
	case f.Exposed:
		text := fmt.Sprintf("%s below the butt edge of the open course, in the weather (head at %v from the edge)", length.Inches(-f.AboveButt.Value()), f.AboveButt.Neg())
		return c.answer("exposed", below(*f.AboveButt, 0), text).with(f.AboveButt, &butt, nil), true
	case f.AboveButt == nil:
		return notJudged("exposed", "the head's height above the butt edge was not measured"), true
	}
	text := fmt.Sprintf("above the butt edge of the open course (head at %v from the edge)", *f.AboveButt)
	return c.answer("exposed", below(*f.AboveButt, 0), text).with(f.AboveButt, &butt, nil), true
}
