// Package sheet makes the sheets that a trainer and an apprentice look at
// together: where one crew's nails of a period went, how often a rule was
// broken, whether that changes, which habits to work on, and the walk through
// one exercise. In: the work of one crew from the ledger; nothing of anybody
// else gets in. Out: one HTML file, in English or Spanish.
//
// Frame: a nail is placed on one piece, x in mm from the piece's left end to the
// right, y in mm above its butt edge. Uncertainties are standard uncertainties
// (k = 1) unless a name says otherwise.
package sheet

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"coursegauge/report/judge"
	"coursegauge/report/ledger"
	"coursegauge/report/review"
	"coursegauge/vision/stats"
)

// status is what stands about a nail or a rule: people's word before the tool's.
type status int

const (
	unknown status = iota // not judged
	good
	open // neither the measurement nor a person can tell
	bad
)

var byResult = map[string]status{"suspect": bad, "unresolved": open, "clear": good}

// standing is what stands where the tool says one thing and people another.
func standing(result, answer string) status {
	switch answer {
	case review.Wrong:
		return bad
	case review.Sound:
		return good
	case review.Unsure, review.Conflict:
		return open
	}
	return byResult[result]
}

// ruleStanding is what stands about one rule of a nail. Who calls a nail wrong
// confirms what the tool suspects of it, or, where it suspects nothing, what it
// could not resolve; a rule that was clear stays so.
func ruleStanding(h ledger.Head, rule string) status {
	s := byResult[h.Rules[rule]]
	switch {
	case s == unknown || s == good:
		return s
	case h.Answer == review.Sound:
		return good
	case h.Answer == review.Unsure || h.Answer == review.Conflict:
		return open
	case h.Answer == review.Wrong && s == open && h.Verdict != "suspect":
		return bad
	}
	return s
}

// Study is what the photos of a period say in numbers.
type Study struct {
	Photos, Refused, Days int
	Heads                 Tally // of all rules together
	Rules                 []Rate
	Drive                 map[string]int // nails by class
	Height, Along         Placement      // off the aim point, mm: up and to the right
	Pieces                int            // full pieces whose nails could be counted
	Lacking               int            // nails that these lack
	SeenByPeople          int            // nails that only people saw
	points                []point
	frames                []frame
}

// Tally counts what stands, by photo, so that nails of one photo, which
// resemble each other, do not count as so many witnesses.
type Tally struct {
	Bad, Good, Open int
	bad, judged     map[int]int // by photo
}

func (t *Tally) add(photo int, s status) {
	if t.judged == nil {
		t.bad, t.judged = map[int]int{}, map[int]int{}
	}
	switch s {
	case bad:
		t.Bad++
		t.bad[photo]++
		t.judged[photo]++
	case good:
		t.Good++
		t.judged[photo]++
	case open:
		t.Open++
	}
}

// Judged is of how many it could be told.
func (t Tally) Judged() int { return t.Bad + t.Good }

// effective is the tally as so many independent witnesses.
func (t Tally) effective() (k, n float64) {
	var ks, ns []int
	for _, p := range slices.Sorted(maps.Keys(t.judged)) { // in order: the same photos give the same bytes
		ks, ns = append(ks, t.bad[p]), append(ns, t.judged[p])
	}
	d := stats.DesignEffect(ks, ns)
	return float64(t.Bad) / d, float64(t.Judged()) / d
}

// Interval is the 95 % interval of Wilson for the share of bad ones.
func (t Tally) Interval() stats.Interval { return stats.WilsonOf(t.effective()) }

// Share is bad over judged, NaN where nothing was judged.
func (t Tally) Share() float64 { return float64(t.Bad) / float64(t.Judged()) }

// Rate is how often one rule was broken.
type Rate struct {
	Rule string
	Of   string // "nail", "piece" or "joint"
	Tally
}

// newStudy reckons the numbers of a crew's work.
func newStudy(w ledger.Work) Study {
	s := Study{Photos: len(w.Photos), Drive: map[string]int{}}
	s.frames = newFrames(w)
	days, rates := map[string]bool{}, map[[2]string]*Tally{}
	tally := func(rule, of string) *Tally {
		k := [2]string{rule, of}
		if rates[k] == nil {
			rates[k] = &Tally{}
		}
		return rates[k]
	}
	for i, p := range w.Photos {
		if p.Day != "" {
			days[p.Day] = true
		}
		if p.Refused != "" {
			s.Refused++
		}
		s.SeenByPeople += p.Missed
		for _, h := range p.Heads {
			if h.Answer == review.NoNail {
				continue
			}
			s.Heads.add(i, standing(h.Verdict, h.Answer))
			s.Drive[h.Drive]++
			for rule := range h.Rules {
				tally(rule, "nail").add(i, ruleStanding(h, rule))
			}
		}
		for _, f := range p.Found {
			of := "piece"
			if f.Piece < 0 {
				of = "joint"
			}
			tally(f.Rule, of).add(i, standing(f.Result, f.Answer))
		}
	}
	s.Days = len(days)
	s.Rules = ordered(rates)
	s.place(w)
	s.count(w)
	return s
}

func ordered(rates map[[2]string]*Tally) (out []Rate) {
	var names []string
	for _, t := range judge.AllTexts() {
		names = append(names, t.Rule)
	}
	for _, k := range slices.SortedFunc(maps.Keys(rates), func(a, b [2]string) int { return cmp.Compare(a[0], b[0]) }) {
		if !slices.Contains(names, k[0]) {
			names = append(names, k[0])
		}
	}
	for _, rule := range names {
		for _, of := range []string{"nail", "piece", "joint"} {
			if t := rates[[2]string{rule, of}]; t != nil && t.Judged()+t.Open > 0 {
				out = append(out, Rate{rule, of, *t})
			}
		}
	}
	return out
}

// count counts the nails that full pieces lack, where the product says how many
// there should be and the rule about it could be judged.
func (s *Study) count(w ledger.Work) {
	for _, p := range w.Photos {
		f := frameOf(s.frames, p.Job)
		if f == nil || f.PerPiece == 0 {
			continue
		}
		for _, r := range p.Found {
			if r.Rule != "count" || r.Piece < 0 || standing(r.Result, r.Answer) == unknown || !f.full(p, r.Piece) {
				continue
			}
			s.Pieces++
			n := 0
			for _, h := range p.Heads {
				if h.Piece == r.Piece && h.Answer != review.NoNail {
					n++
				}
			}
			if standing(r.Result, r.Answer) == bad {
				s.Lacking += max(0, f.PerPiece-n)
			}
		}
	}
}

// place puts every nail on its piece and reckons how far off they lie.
func (s *Study) place(w ledger.Work) {
	var up, along []deviation
	for i, p := range w.Photos {
		f := frameOf(s.frames, p.Job)
		if f == nil {
			continue
		}
		for k, h := range p.Heads {
			if h.Answer == review.NoNail {
				continue
			}
			pt, ok := f.point(p, h)
			if !ok {
				continue
			}
			pt.photo, pt.head, pt.status = i, k, standing(h.Verdict, h.Answer)
			s.points = append(s.points, pt)
			if !math.IsNaN(pt.dy) {
				up = append(up, deviation{i, pt.dy, pt.uy})
			}
			if !math.IsNaN(pt.dx) {
				along = append(along, deviation{i, pt.dx, pt.ux})
			}
		}
	}
	s.Height, s.Along = newPlacement(up), newPlacement(along)
}
