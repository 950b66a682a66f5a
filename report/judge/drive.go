package judge

import (
	"fmt"

	"coursegauge/vision"
)

// drive: overdriven, underdriven or cocked. The probability is that of all
// three together; the class only words the finding. Where the picture shows no
// class, nothing is judged, so that flat light does not flood the list.
func drive(c *scene, i int) (Finding, bool) {
	d := c.r.Fasteners[i].Drive
	if d.Class == vision.Unclear || d.Class == "" || len(d.P) == 0 {
		return notJudged("drive", "the picture does not show how it is driven"), true
	}
	p := d.P[vision.Overdriven] + d.P[vision.Underdriven] + d.P[vision.Cocked]
	return c.answer("drive", p, driveText(d.Class, p), remedies[d.Class]+decides), true
}

func driveText(class vision.DriveClass, p float64) string {
	if class == vision.Flush {
		return fmt.Sprintf("looks flush (probability of another state %.0f %%)", 100*p)
	}
	return fmt.Sprintf("looks %s: %s (probability of not flush %.0f %%)", class, looks[class], 100*p)
}

var looks = map[vision.DriveClass]string{
	vision.Overdriven:  "the head seems sunk into the mat",
	vision.Underdriven: "the head seems to stand proud",
	vision.Cocked:      "the head seems to sit at a slant",
}

var remedies = map[vision.DriveClass]string{
	vision.Flush:       "common practice is to look from the side",
	vision.Overdriven:  "common practice is to seal it and set a sound fastener beside it",
	vision.Underdriven: "common practice is to drive it flush",
	vision.Cocked:      "common practice is to take it out, seal the hole and set a straight one beside it",
}
