package judge_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coursegauge/report/judge"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

const plain = strip + `
band: {low: 5.35 in, high: 6.15 in}
fasteners: {per_piece: 4}
`

// random is a photo of one piece whose heads lie near every limit, with shared
// inputs, and every uncertainty times the factor. The truth is drawn about it.
func random(r *rand.Rand, factor float64) *vision.Result {
	near := func(limits ...float64) float64 { return limits[r.IntN(len(limits))] + 0.1*r.NormFloat64() }
	measured := func(inches float64) *length.Measured {
		u := 0.05 * r.Float64() * factor
		shared := make([]float64, 3)
		for i := range shared {
			shared[i] = 0.03 * r.NormFloat64() * factor * float64(length.Inch)
		}
		m := length.New(length.MM(inches)*length.Inch, length.MM(u)*length.Inch).WithShared(shared)
		return &m
	}
	width := near(36, 20, 24, 6)
	res := &vision.Result{Course: &vision.Course{
		Pieces:      []vision.Piece{{ID: 7, Left: vision.EndJoint, Right: vision.EndJoint, Width: measured(width), Covered: r.IntN(4) == 0}},
		LowerJoints: []vision.LowerJoint{{X: *measured(near(4, 6))}},
	}}
	for i, x := range []float64{near(0.75, 1.5), near(12, 13.5, 14.5), width - near(0.75, 1.5)} {
		flush := 0.9 + 0.1*r.Float64()
		res.Fasteners = append(res.Fasteners, vision.Fastener{
			ID: i, Piece: 7, Along: measured(x), LeftEnd: measured(x), RightEnd: measured(width - x),
			AboveButt: measured(near(5.35, 6.15, 7)), LowerJoint: measured(near(2, 4)), NextJoint: measured(near(2, 4)), HeadDiameter: measured(near(0.375, 0.43)),
			Drive: vision.Drive{Class: vision.Flush, P: map[vision.DriveClass]float64{vision.Flush: flush, vision.Cocked: 1 - flush}},
		})
	}
	return res
}

// TestProbabilityIsFrequency draws what the true lengths may be, shared inputs
// and all, and counts how often each rule is broken.
func TestProbabilityIsFrequency(t *testing.T) {
	const draws = 20000
	s := read(t, plain)
	r := rand.New(rand.NewPCG(5, 6))
	checked := map[string]int{}
	for range 40 {
		photo := random(r, 1)
		findings := judge.Judge(s, photo)
		broken := make([]map[string]int, len(photo.Fasteners))
		for i := range broken {
			broken[i] = map[string]int{}
		}
		for range draws {
			z := []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
			draw := func(m *length.Measured) length.MM {
				v := float64(m.Value()) + float64(m.Own())*r.NormFloat64()
				for i, e := range m.Shared() {
					v += e * z[i]
				}
				return length.MM(v)
			}
			var before length.MM
			for i, f := range photo.Fasteners {
				y, along, left, right := draw(f.AboveButt), draw(f.Along), draw(f.LeftEnd), draw(f.RightEnd)
				b := broken[i]
				add(b, "height", y < s.Band.Low || y > s.Band.High)
				add(b, "left", left < s.Ends.Min || left > s.Ends.Max)
				add(b, "right", right < s.Ends.Min || right > s.Ends.Max)
				add(b, "lower_joint", draw(f.LowerJoint) < s.Joints.Clearance && y < s.Shingle.Height-s.Shingle.Exposure)
				add(b, "next_joint", draw(f.NextJoint) < s.Joints.Clearance)
				add(b, "head_size", draw(f.HeadDiameter) < s.Fasteners.HeadDiameter*.96) // a nominal size; heads are made up to 4 % short of it
				add(b, "gap of a full piece", along-before > (s.Shingle.Width-2*s.Ends.Min)/3+2*length.Inch)
				before = along
			}
		}
		compare := func(i int, name string, f judge.Finding) {
			n, ok := broken[i][name]
			if !ok || f.Result == judge.NotJudged {
				return
			}
			checked[name]++
			if seen := float64(n) / draws; math.Abs(seen-f.P) > 4.5*math.Sqrt(f.P*(1-f.P)/draws)+5e-4 {
				t.Errorf("%s: told %.4f, seen %.4f (%s)", name, f.P, seen, f.Text())
			}
		}
		for i, h := range findings.Heads {
			for _, f := range h.Findings {
				name := f.Rule
				switch {
				case f.Rule == "end" && strings.Contains(f.Text(), "left"):
					name = "left"
				case f.Rule == "end":
					name = "right"
				}
				compare(i, name, f)
			}
			if f, ok := find(findings, "gap", i); ok && strings.Contains(f.Text(), "full") {
				compare(i, "gap of a full piece", f)
			}
		}
	}
	for _, name := range []string{"height", "left", "right", "lower_joint", "next_joint", "head_size", "gap of a full piece"} {
		if checked[name] < 5 {
			t.Errorf("%s was compared %d times", name, checked[name])
		}
	}
}

func add(m map[string]int, key string, yes bool) {
	if m[key] += 0; yes {
		m[key]++
	}
}

// TestWideningNeverClears: a measurement that is worse in every length makes
// no finding clear that was not, and no verdict.
func TestWideningNeverClears(t *testing.T) {
	s := read(t, plain)
	for seed := range uint64(400) {
		before := judge.Judge(s, random(rand.New(rand.NewPCG(seed, 7)), 1))
		for _, factor := range []float64{1.5, 4, 50} {
			after := judge.Judge(s, random(rand.New(rand.NewPCG(seed, 7)), factor))
			for i := range before.Heads {
				if before.Heads[i].Verdict != judge.Clear && after.Heads[i].Verdict == judge.Clear {
					t.Errorf("seed %d, head %d: %s turns clear at %g times the uncertainty", seed, i, before.Heads[i].Verdict, factor)
				}
				for _, f := range before.Heads[i].Findings {
					g, _ := find(after, f.Rule, i)
					notCleared(t, f, g)
				}
			}
			for i := range before.Pieces {
				notCleared(t, before.Pieces[i].Finding, after.Pieces[i].Finding)
			}
		}
	}
}

func notCleared(t *testing.T, before, after judge.Finding) {
	t.Helper()
	if (before.Result == judge.Suspect || before.Result == judge.Unresolved) && after.Result == judge.Clear {
		t.Errorf("%s turns clear:\n%s\n%s", before.Rule, before.Text(), after.Text())
	}
}

// TestVerdict: a verdict is the worst of its findings, and clear only for a
// head whose height was judged.
func TestVerdict(t *testing.T) {
	s := read(t, plain)
	seen := map[judge.Result]int{}
	for seed := range uint64(200) {
		photo := random(rand.New(rand.NewPCG(seed, 8)), 0.3)
		for i, h := range judge.Judge(s, photo).Heads {
			worst, height := judge.Clear, judge.NotJudged
			for _, f := range h.Findings {
				if f.P < 0 || f.P > 1+1e-12 || math.IsNaN(f.P) {
					t.Fatalf("%s: p = %v", f.Rule, f.P)
				}
				if want := decided(f); want != f.Result {
					t.Errorf("%s at p %.3f is %s, want %s", f.Rule, f.P, f.Result, want)
				}
				if f.Rule == "height" {
					height = f.Result
				}
				if f.Result == judge.Suspect || f.Result == judge.Unresolved && worst == judge.Clear {
					worst = f.Result
				}
			}
			if height == judge.NotJudged && worst == judge.Clear {
				worst = judge.Unresolved
			}
			if h.Verdict != worst {
				t.Errorf("seed %d, head %d: verdict %s, worst finding %s", seed, i, h.Verdict, worst)
			}
			seen[h.Verdict]++
		}
		photo.Fasteners[1].AboveButt = nil
		if v := judge.Judge(s, photo).Heads[1].Verdict; v == judge.Clear {
			t.Errorf("seed %d: a head without a height is clear", seed)
		}
	}
	if len(seen) != 3 {
		t.Errorf("verdicts met: %v", seen)
	}
}

// decided repeats the decision of the default schedule, from design to test.
func decided(f judge.Finding) judge.Result {
	switch {
	case f.Result == judge.NotJudged:
		return judge.NotJudged
	case f.P >= 0.5:
		return judge.Suspect
	case f.P <= 0.05:
		return judge.Clear
	}
	return judge.Unresolved
}
