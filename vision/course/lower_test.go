package course

import (
	"math"
	"testing"

	"coursegauge/vision/plane"
)

// drawnProfile shows lines at the given places, with the share of rows that show them.
func drawnProfile(lines map[float64]float64) *profile {
	p := &profile{x0: -1200, step: 2, got: make([]float64, 1200), rows: make([]float64, 1200)}
	for i := range p.rows {
		p.rows[i] = 30
		x := p.x0 + float64(i)*p.step
		for at, share := range lines {
			if x > at-profileReach && x < at+profileReach {
				p.got[i] = share * 30
			}
		}
	}
	return p
}

func drawnSketch(laminated bool) *Sketch {
	return &Sketch{Maps: &Maps{View: plane.View{PPM: PPM}}, Product: Product{Laminated: laminated, Width: 1000, Height: 337, Exposure: 143}}
}

// Three courses whose joints step by 150 mm from the open joint at 40 mm; a
// stronger line in one course alone (a tooth, a scratch) does not win.
func TestOffsetsWantAllCoursesToAgree(t *testing.T) {
	s := drawnSketch(true)
	ps := []*profile{
		drawnProfile(map[float64]float64{190: .35, -500: .6}),
		drawnProfile(map[float64]float64{340: .3, -660: .3}),
		drawnProfile(map[float64]float64{490: .3, -510: .25}),
	}
	hypotheses := s.offsets(ps, 40)
	if len(hypotheses) < 2 {
		t.Fatalf("%d hypotheses", len(hypotheses))
	}
	if d := hypotheses[0].X - 190; d < -6 || d > 6 {
		t.Errorf("joint below at %.0f mm, drawn at 190", hypotheses[0].X)
	}
	if hypotheses[0].Score-hypotheses[1].Score < 2 {
		t.Errorf("log likelihoods %.1f and %.1f: must be well apart", hypotheses[0].Score, hypotheses[1].Score)
	}
}

// Cutouts a third of the width apart, all alike, leave the hypotheses open.
func TestOffsetsStayOpenBetweenCutouts(t *testing.T) {
	s := drawnSketch(false)
	lines := func(first float64) map[float64]float64 {
		m := map[float64]float64{}
		for k := -4.0; k <= 4; k++ {
			m[first+k*1000/3] = .3
		}
		return m
	}
	hypotheses := s.offsets([]*profile{drawnProfile(lines(190)), drawnProfile(lines(340)), drawnProfile(lines(490))}, 40)
	if d := (hypotheses[0].Score - hypotheses[1].Score) * wideTrust; d > 1 {
		t.Errorf("the hypotheses differ by %.2f after the trust is taken off: a joint was told from a cutout that looks the same", d)
	}
}

func TestLLRGrowsWithTheShare(t *testing.T) {
	last := llr(0)
	for s := .02; s <= 1; s += .02 {
		if v := llr(s); v < last {
			t.Fatalf("llr(%.2f) = %.2f, less than before", s, v)
		} else {
			last = v
		}
	}
}

// Beside a cut piece the joints of the open course lie on two combs, and no
// offset from them tells where the courses farther down have theirs.
func TestOneComb(t *testing.T) {
	s := drawnSketch(true)
	at := func(xs ...float64) {
		s.Pieces = nil
		for _, x := range xs {
			s.Pieces = append(s.Pieces, Piece{Right: Side{Kind: Joint, X: x, Strength: .9}})
		}
	}
	for _, c := range []struct {
		name string
		xs   []float64
		want bool
	}{{"whole pieces", []float64{-960, 40, 1045}, true}, {"a cut piece", []float64{-960, 40, 303}, false}, {"none", nil, false}} {
		at(c.xs...)
		if got := s.Periodic(); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Normalise keeps a share for none of the hypotheses: it is large where even the best
// one has little for it.
func TestNormaliseLeavesRoomForNone(t *testing.T) {
	for _, c := range []struct {
		scores   []float64
		low, top float64 // of the best hypothesis's probability
	}{{[]float64{6, 0}, .9, 1}, {[]float64{0, 0}, 1/(2+math.Exp(-noneOfThem)) - 1e-9, 1/(2+math.Exp(-noneOfThem)) + 1e-9}, {[]float64{-9, -9.5}, 0, .75}} {
		var hypotheses []Lower
		for _, v := range c.scores {
			hypotheses = append(hypotheses, Lower{Score: v})
		}
		Normalise(hypotheses)
		sum := 0.0
		for _, w := range hypotheses {
			sum += w.P
		}
		if hypotheses[0].P < c.low || hypotheses[0].P > c.top || sum >= 1 {
			t.Errorf("%v: %.3f, all %.3f", c.scores, hypotheses[0].P, sum)
		}
	}
}

// The course below ends at the rake of the open one, so a joint that would lie
// beyond it is neither evidence nor a joint.
func TestNoJointBeyondTheRake(t *testing.T) {
	s := drawnSketch(true)
	s.Pieces = []Piece{{Left: Side{Kind: Joint, X: 40}, Right: Side{Kind: Rake, X: 700}}}
	p := drawnProfile(map[float64]float64{190: .3})
	joints := s.jointsOf(190, p, nil)
	for _, j := range joints {
		if j.X > 700 {
			t.Errorf("a joint at %.0f mm, beyond the rake at 700", j.X)
		}
	}
	if len(joints) == 0 {
		t.Error("the joint at 190 mm is lost")
	}
	beyond, n := s.evidence(p, 190)
	s.Pieces = nil
	if all, m := s.evidence(p, 190); n != m-1 || beyond <= all {
		t.Errorf("evidence %.1f from %.0f joints, %.1f from %.0f without a rake: what is missing beyond it must not count", beyond, n, all, m)
	}
}
