package vision

import (
	"testing"

	"coursegauge/vision/course"
)

// What hides one joint hides its neighbours: many looks in vain say hardly more
// against a hypothesis than two, while each joint seen speaks for it.
func TestLooksSpeakAgainstOnlySoMuch(t *testing.T) {
	after := func(family Family, logits ...float64) float64 {
		var w evidence
		for _, l := range logits {
			w.add(course.JointEstimate{Logit: l}, family)
		}
		return w.score()
	}
	two, six := after(Laminated, -9, -9), after(Laminated, -9, -9, -9, -9, -9, -9)
	if two != six || two >= 0 {
		t.Errorf("two looks in vain say %.2f, six %.2f: the same, under 0, is wanted", two, six)
	}
	if one, three := after(Laminated, 4), after(Laminated, 4, 4, 4); three != 3*one {
		t.Errorf("one joint seen says %.2f, three %.2f: three times as much is wanted", one, three)
	}
	if got, twice := after(Laminated, 40), after(Laminated, lookMost); got != twice {
		t.Errorf("a logit of 40 says %.2f, one of %.0f %.2f: the same is wanted", got, lookMost, twice)
	}
	if lam, tab := after(Laminated, .5), after("three-tab", .5); lam <= 0 || tab >= 0 {
		t.Errorf("a faint joint says %.2f for laminated, %.2f for three-tab: a cutout looks like one", lam, tab)
	}
}
