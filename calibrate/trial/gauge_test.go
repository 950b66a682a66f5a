package trial_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/calibrate/trial"
)

// The worked example of gauge studies that measurement-systems manuals share:
// 10 parts (rows), three appraisers with three trials each (columns).
var worked = [10][9]float64{
	{.29, .41, .64, .08, .25, .07, .04, -.11, -.15},
	{-.56, -.68, -.58, -.47, -1.22, -.68, -1.38, -1.13, -.96},
	{1.34, 1.17, 1.27, 1.19, .94, 1.34, .88, 1.09, .67},
	{.47, .50, .64, .01, 1.03, .20, .14, .20, .11},
	{-.80, -.92, -.84, -.56, -1.20, -1.28, -1.46, -1.07, -1.45},
	{.02, -.11, -.21, -.20, .22, .06, -.29, -.67, -.49},
	{.59, .75, .66, .47, .55, .83, .02, .01, .21},
	{-.31, -.20, -.17, -.63, .08, -.34, -.46, -.56, -.49},
	{2.26, 1.99, 2.01, 1.80, 2.12, 2.19, 1.77, 1.45, 1.87},
	{-1.36, -1.25, -1.31, -1.68, -1.62, -1.50, -1.49, -1.77, -2.16},
}

func workedValues() [][][]float64 {
	var out [][][]float64
	for _, r := range worked {
		out = append(out, [][]float64{r[0:3], r[3:6], r[6:9]})
	}
	return out
}

// TestWorkedExample holds the printed results of the analysis of variance: EV,
// AV, GRR, PV, TV, the share of GRR, the number of categories, and the F test
// by which the interaction is pooled.
func TestWorkedExample(t *testing.T) {
	g, err := trial.Study(workedValues())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"EV", g.Repeatability, .199933}, {"AV", g.Reproducibility, .226838}, {"GRR", g.Both, .302373},
		{"PV", g.BetweenParts, 1.042327},
	} {
		wantNear(t, c.what, c.got, c.want, 2e-6)
	}
	wantNear(t, "TV", g.Total, 1.085, .0005)
	wantNear(t, "%GRR", 100*g.Both/g.Total, 27.86, .005)
	wantNear(t, "p of the interaction", g.PInteraction, .974, .0005)
	if !g.Pooled || g.Categories != 4 || g.Parts != 10 || g.Operators != 3 || g.Trials != 3 {
		t.Errorf("%+v", g)
	}
}

// TestStudyRecovers draws a study with known spreads and wants them back, with
// an interaction that must not be pooled.
func TestStudyRecovers(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	const parts, operators, trials = 300, 60, 3
	values := make([][][]float64, parts)
	op := make([]float64, operators)
	for i := range op {
		op[i] = .5 * r.NormFloat64()
	}
	for p := range values {
		part := 2 * r.NormFloat64()
		for o := range operators {
			both := .4 * r.NormFloat64()
			var cell []float64
			for range trials {
				cell = append(cell, part+op[o]+both+.3*r.NormFloat64())
			}
			values[p] = append(values[p], cell)
		}
	}
	g, err := trial.Study(values)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "repeatability", g.Repeatability, .3, .005)
	wantNear(t, "interaction", g.Interaction, .4, .01)
	wantNear(t, "reproducibility", g.Reproducibility, .5, .14) // of 60 operators: 9 %, three times over
	wantNear(t, "between parts", g.BetweenParts, 2, .25)
	if g.Pooled || g.RepeatabilityCI.Low > .3 || g.RepeatabilityCI.High < .3 {
		t.Errorf("%+v", g)
	}
}

// TestStudyWithOneTrial takes what operators and parts do together as
// repeatability, since nothing else can tell it.
func TestStudyWithOneTrial(t *testing.T) {
	var values [][][]float64
	for _, r := range worked {
		values = append(values, [][]float64{{r[0]}, {r[3]}, {r[6]}})
	}
	g, err := trial.Study(values)
	if err != nil {
		t.Fatal(err)
	}
	if !g.Pooled || !(g.Repeatability > 0) || math.IsNaN(g.Reproducibility+g.BetweenParts) {
		t.Errorf("%+v", g)
	}
}

func TestStudyRefuses(t *testing.T) {
	for name, v := range map[string][][][]float64{
		"nothing":     nil,
		"one part":    {{{1, 2}}},
		"once":        {{{1}}, {{2}}},
		"operators":   {{{1, 2}, {1, 2}}, {{1, 2}}},
		"trials":      {{{1, 2}}, {{1}}},
		"no operator": {{}, {}},
	} {
		if _, err := trial.Study(v); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
