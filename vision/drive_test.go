package vision

import (
	"math"
	"testing"

	"coursegauge/vision/length"
)

func TestDriveOf(t *testing.T) {
	for _, c := range []struct {
		name string
		p    [4]float64
		want DriveClass
	}{
		{"plainly flush", [4]float64{.97, .01, .01, .01}, Flush},
		{"sunk", [4]float64{.05, .93, .01, .01}, Overdriven},
		{"stands proud", [4]float64{.05, .02, .9, .03}, Underdriven},
		{"flush or cocked", [4]float64{.5, 0, .05, .45}, Unclear},
		{"nothing to see", [4]float64{.25, .25, .25, .25}, Unclear},
	} {
		d := driveOf(c.p)
		if d.Class != c.want {
			t.Errorf("%s: %s, want %s", c.name, d.Class, c.want)
		}
		sum := 0.0
		for _, q := range d.P {
			sum += q
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Errorf("%s: probabilities sum to %v", c.name, sum)
		}
	}
}

func TestNearerEnd(t *testing.T) {
	m := func(v float64) *length.Measured { l := length.New(length.MM(v), 1); return &l }
	if got := nearer(m(30), m(900), false); got == nil || got.Value() != 30 {
		t.Error("of two ends the nearer one counts")
	}
	if got := nearer(m(700), nil, false); got != nil {
		t.Error("a far end alone says nothing of the nearer one")
	}
	if got := nearer(nil, m(200), true); got == nil || got.Value() != 200 {
		t.Error("an end nearer than half a width is the nearer one")
	}
}
