package sheet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/ledger"
)

// apprentice is somebody whose nails lie by a known law. Lengths mm.
type apprentice struct {
	up, right float64 // bias off the aim points
	spread    float64 // of each direction
}

// The product of the simulated periods: a metric laminated strip.
var product = ledger.Product{Width: 1000.1, Height: 336.6, Exposure: 142.9, BandLow: 149.9, BandHigh: 177.8, EndMin: 19.05, EndMax: 38.1, Clearance: 50.8, PerPiece: 4}

// The measurement that the simulation adds: what nails of one photo share, and
// what each has of its own (k = 1), mm. The stated u is the root of both squares.
const sharedU, ownU = .35, .45

// work simulates the photos of a period: two full pieces a photo with four
// nails each, at most one period of 28 days. Rules are answered as the tool does, by
// the measured length and its u.
func (a apprentice) work(r *rand.Rand, photos int) ledger.Work {
	w := ledger.Work{Crew: "x", Jobs: []ledger.Job{{Product: product}}}
	u := &inspection.Length{U: math.Hypot(sharedU, ownU)}
	for i := range photos {
		p := ledger.Photo{File: fmt.Sprintf("p%d.jpg", i), Day: fmt.Sprintf("2026-05-%02d", 1+i*28/photos)}
		shareX, shareY := sharedU*r.NormFloat64(), sharedU*r.NormFloat64()
		for piece := range 2 {
			p.Pieces = append(p.Pieces, ledger.Piece{N: piece, Width: &inspection.Length{MM: product.Width, U: .5}})
			for n := range 4 {
				x := inch + float64(n)*(product.Width-2*inch)/3 + a.right + a.spread*r.NormFloat64() + shareX + ownU*r.NormFloat64()
				y := (product.BandLow+product.BandHigh)/2 + a.up + a.spread*r.NormFloat64() + shareY + ownU*r.NormFloat64()
				h := ledger.Head{
					N: piece*4 + n, Piece: piece, Drive: "flush", RadiusPx: 10, Rules: map[string]string{}, Verdict: "clear",
					AboveButt: &inspection.Length{MM: y, U: u.U}, LeftEnd: &inspection.Length{MM: x, U: u.U}, RightEnd: &inspection.Length{MM: product.Width - x, U: u.U},
				}
				h.Rules["height"] = "clear"
				if y < product.BandLow || y > product.BandHigh {
					h.Rules["height"], h.Verdict = "suspect", "suspect"
				}
				p.Heads = append(p.Heads, h)
			}
			p.Found = append(p.Found, ledger.Finding{Piece: piece, Rule: "count", Result: "clear"})
		}
		w.Photos = append(w.Photos, p)
	}
	return w
}

// outside is the probability that the apprentice's nail is measured outside
// the band.
func (a apprentice) outside() float64 {
	s, half := math.Hypot(a.spread, math.Hypot(sharedU, ownU)), (product.BandHigh-product.BandLow)/2
	cdf := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	return 1 - cdf((half-a.up)/s) + cdf((-half-a.up)/s)
}

// In 200 simulated pairs of periods each stated 95 % interval holds the known
// truth as often as it says, within what chance allows: with 200 draws at .95
// between 181 and 198 in all but one case of a thousand (binomial). Newcombe's
// interval may hold more often.
func TestIntervalsHold(t *testing.T) {
	const periods, photos = 200, 40
	before, after := apprentice{5, -4, 7}, apprentice{2, -1, 6}
	r := rand.New(rand.NewPCG(15, 2026))
	held := map[string]int{}
	verdicts := map[string]int{}
	hold := func(what string, truth, low, high float64) {
		if truth >= low && truth <= high {
			held[what]++
		}
	}
	for range periods {
		a, b := newStudy(before.work(r, photos)), newStudy(after.work(r, photos))
		hold("bias in height", before.up, a.Height.BiasLow, a.Height.BiasHigh)
		hold("bias along the course", before.right, a.Along.BiasLow, a.Along.BiasHigh)
		hold("spread in height", before.spread, a.Height.SpreadLow, a.Height.SpreadHigh)
		hold("spread along the course", before.spread, a.Along.SpreadLow, a.Along.SpreadHigh)
		i := a.Heads.Interval()
		hold("share outside the band", before.outside(), i.Low, i.High)
		_, low, high, ok := Shift(a.Height, b.Height)
		if !ok {
			t.Fatal("no interval")
		}
		hold("change of the bias", after.up-before.up, low, high)
		c := newChange(a.Heads, b.Heads)
		hold("change of the share", after.outside()-before.outside(), c.Interval.Low, c.Interval.High)
		verdicts[c.Verdict()]++
	}
	for _, what := range []string{"bias in height", "bias along the course", "spread in height", "spread along the course", "share outside the band", "change of the bias", "change of the share"} {
		t.Logf("%s: %d of %d", what, held[what], periods)
		if n := held[what]; n < 181 || n > 199 {
			t.Errorf("%s: the interval held in %d of %d periods", what, n, periods)
		}
	}
	if verdicts[improved] < 100 || verdicts[worse] > 0 {
		t.Errorf("%v: shares of %.3f and %.3f", verdicts, before.outside(), after.outside())
	}
	t.Logf("verdicts on a change from %.3f to %.3f: %v", before.outside(), after.outside(), verdicts)
}

// Without a change, hardly any pair of periods is called one: at most 5 % to
// either side together, and what chance adds (binomial, one in a thousand).
func TestNoChangeIsCalledNone(t *testing.T) {
	same := apprentice{4, 0, 8}
	r := rand.New(rand.NewPCG(16, 2026))
	called := 0
	for range 200 {
		if newChange(newStudy(same.work(r, 25)).Heads, newStudy(same.work(r, 25)).Heads).Verdict() != cantTell {
			called++
		}
	}
	t.Logf("%d of 200", called)
	if called > 20 {
		t.Errorf("%d of 200 equal pairs were called a change", called)
	}
}

// The spread that the measurement makes is taken off: with nails that all lie
// on their aim, none is left.
func TestMeasurementIsTakenOff(t *testing.T) {
	s := newStudy(apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 60))
	if s.Height.SpreadLow != 0 || s.Height.Spread > .25 || math.Abs(s.Height.Measured-math.Hypot(sharedU, ownU)) > .1 {
		t.Errorf("%+v", s.Height)
	}
	if s.Pieces != 120 || s.Lacking != 0 || s.Heads.Bad != 0 {
		t.Errorf("%d pieces, %d lacking, %+v", s.Pieces, s.Lacking, s.Heads.Bad)
	}
}

// What people decide stands before what the tool says.
func TestDecisionsStand(t *testing.T) {
	w := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 5)
	h := w.Photos[0].Heads
	h[0].Verdict, h[0].Answer, h[0].Rules["height"] = "suspect", "sound", "suspect"
	h[1].Verdict, h[1].Answer, h[1].Rules["height"] = "unresolved", "wrong", "unresolved"
	h[2].Answer = "no_nail"
	h[3].Verdict, h[3].Answer, h[3].Rules["height"] = "suspect", "unsure", "suspect"
	w.Photos[1].Missed = 2
	s := newStudy(w)
	if s.Heads.Bad != 1 || s.Heads.Open != 1 || s.Heads.Good != 37 || s.SeenByPeople != 2 || s.Height.N != 39 {
		t.Errorf("%+v, %d seen by people, %d nails", s.Heads, s.SeenByPeople, s.Height.N)
	}
	if r := s.Rules[0]; r.Rule != "height" || r.Bad != 1 || r.Open != 1 || r.Good != 37 {
		t.Errorf("%+v", r)
	}
}

// A habit needs cases in more than one photo, and its own name for each way to
// break a rule.
func TestHabits(t *testing.T) {
	w := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 6)
	for i := range 4 {
		h := &w.Photos[i].Heads[i]
		h.AboveButt.MM, h.Rules["height"], h.Verdict = product.BandHigh+5+float64(i), "suspect", "suspect"
	}
	for i := range 3 { // three of one photo are no habit yet
		h := &w.Photos[5].Heads[i]
		h.AboveButt.MM, h.Rules["height"], h.Verdict = product.BandLow-5, "suspect", "suspect"
	}
	habits := newHabits(w)
	if len(habits) != 1 || habits[0].Key != "high" || habits[0].Bad != 4 || len(habits[0].Shown) != 2 || habits[0].Good == nil {
		t.Fatalf("%+v", habits)
	}
	if a, b := habits[0].Shown[0], habits[0].Shown[1]; a.Photo.File != "p3.jpg" || b.Photo.File != "p2.jpg" || math.Abs(a.Off-a.Limit-8) > 1e-9 {
		t.Errorf("%+v, %+v", a, b)
	}
}

// A photo without a date is in the figures and in no trend.
func TestUndatedStayOutOfTrends(t *testing.T) {
	w := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 28)
	before, _ := bins(w)
	heads := newStudy(w).Heads.Judged()
	undated := w.Photos[27]
	undated.Day = ""
	w.Photos = append([]ledger.Photo{undated, undated}, w.Photos...)
	after, _ := bins(w)
	if !slices.Equal(before, after) {
		t.Errorf("the chart was %v and is %v", before, after)
	}
	a, b, ok := Halves(w)
	if !ok || len(a.Photos) != 14 || len(b.Photos) != 14 || a.Photos[0].Day != "2026-05-01" {
		t.Errorf("%v, halves of %d and %d", ok, len(a.Photos), len(b.Photos))
	}
	s := newStudy(w)
	if s.Photos != 30 || s.Days != 28 || s.Heads.Judged() <= heads {
		t.Errorf("%d photos of %d days, %d heads judged, %d without the undated", s.Photos, s.Days, s.Heads.Judged(), heads)
	}
	for i := range w.Photos {
		w.Photos[i].Day = ""
	}
	if _, _, ok := Halves(w); ok {
		t.Error("photos without a date were put in order of time")
	}
}

// Halves and weeks.
func TestStretches(t *testing.T) {
	w := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 28)
	a, b, ok := Halves(w)
	if !ok || len(a.Photos) != 14 || b.Photos[0].Day != "2026-05-15" {
		t.Errorf("%v, %d and %d", ok, len(a.Photos), len(b.Photos))
	}
	for i := range w.Photos {
		w.Photos[i].Day = "2026-05-01"
	}
	if _, _, ok := Halves(w); ok {
		t.Error("one day was cut in two")
	}
	if s, err := Preceding(ledger.Span{From: "2026-03-01", To: "2026-03-31"}); err != nil || s != (ledger.Span{From: "2026-01-29", To: "2026-02-28"}) {
		t.Errorf("%v %v", s, err)
	}
	if m := monday("2026-05-03"); m != "2026-04-27" { // a Sunday
		t.Error(m)
	}
}
