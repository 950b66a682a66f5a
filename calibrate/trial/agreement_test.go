package trial_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"coursegauge/calibrate/trial"
)

// Peak expiratory flow, l/min, of 17 people by two meters, each used twice:
// the table of Bland and Altman, Lancet 1986, i:307-310.
var (
	wright1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	wright2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	mini1   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	mini2   = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

func less(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

// alone puts each value into a group of its own.
func alone(v []float64) []string {
	out := make([]string, len(v))
	for i := range v {
		out[i] = strconv.Itoa(i)
	}
	return out
}

func wantNear(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.4f, want %.4f within %g", what, got, want, tolerance)
	}
}

// TestPeakFlow holds the published figures (bias -2.1, standard deviation
// 38.8, limits -79.7 and 75.5, which the paper takes at 2 rounded standard
// deviations) and those recomputed with numpy and scipy from the same table at
// 1.96, with their t intervals (16 degrees of freedom, t = 2.1199).
func TestPeakFlow(t *testing.T) {
	a, err := trial.Agree(less(wright1, mini1), alone(less(wright1, mini1)))
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "published bias", a.Bias, -2.1, .05)
	wantNear(t, "published standard deviation", a.SD, 38.8, .05)
	wantNear(t, "published lower limit", a.Bias-2*a.SD, -79.7, .15)
	wantNear(t, "published upper limit", a.Bias+2*a.SD, 75.5, .15)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"bias", a.Bias, -2.118}, {"standard deviation", a.SD, 38.765},
		{"lower limit", a.Lower, -78.10}, {"upper limit", a.Upper, 73.86},
		{"bias, low", a.BiasCI.Low, -22.05}, {"bias, high", a.BiasCI.High, 17.81},
	} {
		wantNear(t, c.what, c.got, c.want, .006)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"lower limit, low", a.LowerCI.Low, -114.2 + 1.55}, {"lower limit, high", a.LowerCI.High, -45.1 + 1.55},
		{"upper limit, low", a.UpperCI.Low, 40.9 - 1.55}, {"upper limit, high", a.UpperCI.High, 109.9 - 1.55},
	} { // the recomputed intervals lie about the limits at 2 standard deviations, 0.04 x 38.765 = 1.55 farther out
		wantNear(t, c.what, c.got, c.want, .06)
	}
}

// TestPeakFlowRepeats holds the paper's repeatability, 2 sqrt(mean d²) of the
// two readings of each meter: 43.3 and 56.3 l/min. The study's repeatability is
// sqrt(mean d² / 2).
func TestPeakFlowRepeats(t *testing.T) {
	for _, c := range []struct {
		first, second []float64
		want          float64
	}{{wright1, wright2, 43.3}, {mini1, mini2, 56.3}} {
		values := make([][][]float64, len(c.first))
		for i := range c.first {
			values[i] = [][]float64{{c.first[i], c.second[i]}}
		}
		g, err := trial.Study(values)
		if err != nil {
			t.Fatal(err)
		}
		wantNear(t, "repeatability", 2*math.Sqrt2*g.Repeatability, c.want, .05)
		if g.Operators != 1 || g.Reproducibility != 0 || g.Pooled || !math.IsNaN(g.PInteraction) {
			t.Errorf("one operator: %+v", g)
		}
	}
}

func TestAgreeNeedsTwo(t *testing.T) {
	for _, d := range [][]float64{nil, {1}} {
		if _, err := trial.Agree(d, alone(d)); err == nil {
			t.Errorf("%v: no error", d)
		}
	}
}

// TestGroups: groups that err alike are worth fewer differences; groups that do
// not are worth all of them; a group each is no group.
func TestGroups(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var d, alike []float64
	var group, own []string
	for g := range 40 {
		common := r.NormFloat64()
		for range 6 {
			e := r.NormFloat64()
			d, alike = append(d, e), append(alike, 3*common+e)
			group, own = append(group, string(rune('a'+g))), append(own, string(rune('a'+len(own))))
		}
	}
	worth := func(d []float64, g []string) float64 {
		a, err := trial.Agree(d, g)
		if err != nil {
			t.Fatal(err)
		}
		return a.Effective
	}
	if n := worth(d, group); n < 170 { // 240 less what chance makes of no correlation
		t.Errorf("240 independent differences count as %.0f", n)
	}
	// r = 9/10, so 240 / (1 + 5 r) = 43.6; the estimate of r over 40 groups scatters by about 0.03.
	wantNear(t, "groups that err alike", worth(alike, group), 43.6, 2)
	if n := worth(alike, own); n != 240 {
		t.Errorf("240 groups of one count as %.1f", n)
	}
}

// TestLimitsHold draws differences many times: the interval of each limit must
// hold the true limit about 95 times in 100.
func TestLimitsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	const draws, n = 2000, 24
	held := 0
	for range draws {
		d := make([]float64, n)
		for i := range d {
			d[i] = .4 + .8*r.NormFloat64()
		}
		a, err := trial.Agree(d, alone(d))
		if err != nil {
			t.Fatal(err)
		}
		if want := .4 + 1.959964*.8; a.UpperCI.Low <= want && want <= a.UpperCI.High {
			held++
		}
	}
	if share := float64(held) / draws; share < .93 || share > .975 {
		t.Errorf("the interval of the upper limit held in %.3f of draws", share)
	}
}
