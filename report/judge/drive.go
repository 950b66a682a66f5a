package judge

import (
	"cmp"
	"fmt"

	"coursegauge/vision"
)

func init() {
	register(Rule{
		ID: "drive", Order: 7, Needs: []Need{DriveClass},
		Remedy: "to look from the side",
		head:   drive,
	})
}

// drive: overdriven, underdriven or cocked. The probability is that of all
// three together; the class only words the finding. Where the picture shows no
// class, nothing is judged, so that flat light does not flood the list.
func drive(c *scene, i int) (Finding, bool) {
	d := c.r.Fasteners[i].Drive
	if d.Class == vision.Unclear || d.Class == "" || len(d.P) == 0 {
		return notJudged("drive", "the picture does not show how it is driven"), true
	}
	p := d.P[vision.Overdriven] + d.P[vision.Underdriven] + d.P[vision.Cocked]
	rule, _ := Find("drive")
	return c.answerBy("drive", p, driveText(d.Class, p), cmp.Or(remedies[d.Class], rule.Remedy)), true
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

// remedies are those of the states that need more than a look.
var remedies = map[vision.DriveClass]string{
	vision.Overdriven:  "to seal it and set a sound fastener beside it",
	vision.Underdriven: "to drive it flush",
	vision.Cocked:      "to take it out, seal the hole and set a straight one beside it",
}
