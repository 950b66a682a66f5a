package judge

import (
	"fmt"

	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "height", Order: 3, Keys: []string{"band.low", "band.high"}, Needs: []Need{AboveButt},
		Remedy: "a further fastener inside the band of the same piece",
		head:   height,
	})
}

// height: the head's centre is outside the band.
func height(c *scene, i int) (Finding, bool) {
	f := c.r.Fasteners[i]
	switch {
	case f.Exposed:
		return Finding{}, false
	case f.AboveButt == nil:
		return notJudged("height", "the head's height above the butt edge was not measured"), true
	}
	low, high := c.s.Band.Low, c.s.Band.High
	rule, _ := Find("height")
	remedy := rule.Remedy
	if f.AboveButt.Value() < min(low, c.s.Shingle.Exposure) {
		remedy = "to take it out, seal the hole and set one inside the band"
	}
	return c.answerBy("height", outside(*f.AboveButt, low, high), c.heightText(*f.AboveButt), remedy, rule.Keys...).with(f.AboveButt, &low, &high), true
}

// heightText says where the head lies against the band.
func (c *scene) heightText(m length.Measured) string {
	low, high, y := c.s.Band.Low, c.s.Band.High, m.Value()
	top := c.s.Shingle.Height - c.s.Shingle.Exposure
	switch {
	case y > high:
		text := fmt.Sprintf("%s above the band (band ends %s above the butt edge; head at %v)", length.Inches(y-high), length.Inches(high), m)
		if y > top {
			text += fmt.Sprintf(" and over the top edge of the course below (%s), so it holds one layer less", length.Inches(top))
		}
		return text
	case y < low:
		text := fmt.Sprintf("%s below the band (band begins %s above the butt edge; head at %v)", length.Inches(low-y), length.Inches(low), m)
		if y < c.s.Shingle.Exposure {
			text += fmt.Sprintf(" and under the exposure line (%s), where the next course does not cover it", length.Inches(c.s.Shingle.Exposure))
		}
		return text
	}
	return fmt.Sprintf("inside the band (%s to %s above the butt edge; head at %v)", length.Inches(low), length.Inches(high), m)
}
