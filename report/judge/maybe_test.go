package judge_test

import (
	"testing"

	"coursegauge/report/judge"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// Where the joints below could not be told, a head is clear only when it is
// clear of every listed place and the list leaves no more than a tenth open.
func TestJointsBelowThatMayLieElsewhere(t *testing.T) {
	x := func(inches ...float64) (out []length.Measured) {
		for _, v := range inches {
			out = append(out, length.New(length.MM(v)*length.Inch, length.MM(.05)*length.Inch))
		}
		return out
	}
	for _, c := range []struct {
		name  string
		lists []vision.MaybeJoints
		want  judge.Result
	}{
		{"two places, both far", []vision.MaybeJoints{{P: .6, X: x(6)}, {P: .35, X: x(18)}}, judge.Clear},
		{"one of two under the head", []vision.MaybeJoints{{P: .6, X: x(6)}, {P: .35, X: x(12)}}, judge.Unresolved},
		{"the likelier one under the head", []vision.MaybeJoints{{P: .8, X: x(12)}, {P: .15, X: x(6)}}, judge.Unresolved},
		{"both far, but a sixth is open", []vision.MaybeJoints{{P: .6, X: x(6)}, {P: .24, X: x(18)}}, judge.Unresolved},
		{"both far, a twelfth is open", []vision.MaybeJoints{{P: .6, X: x(6)}, {P: .32, X: x(18)}}, judge.Clear},
	} {
		photo := layout{width: 36, heads: []float64{1, 12, 24, 35}, height: 5.7}.result()
		photo.Course.MaybeLower = c.lists
		got, ok := find(judge.Judge(read(t, plain), photo), "lower_joint", 1)
		if !ok || got.Result != c.want {
			t.Errorf("%s: %q (p %.4f: %s), want %q", c.name, got.Result, got.P, got.Text(), c.want)
		}
	}
}
