package sheet

import (
	"cmp"
	"math"
	"slices"

	"coursegauge/report/inspection"
	"coursegauge/report/ledger"
	"coursegauge/report/review"
)

// Habit is one way to go wrong, with the cases of it.
type Habit struct {
	Key string // "high", "low", ... as habitWords has them
	Tally
	Shown []Case // two of the clearest, of different photos
	Good  *Case  // a nail of the same crew that does it right
	all   []Case
}

// Case is a nail, or a piece at its first nail, that shows something.
type Case struct {
	Photo *ledger.Photo
	Job   *ledger.Job
	Head  int // the nail's number, -1 for a piece
	Piece int //
	Px    [2]float64
	Size  float64 // radius of a nail there, px
	off   float64 // how clearly it shows; the larger the clearer
	Off   float64 // the length in question, mm; NaN where there is none
	Limit float64
}

// A habit is one only when it shows in so many cases of so many photos.
const (
	leastCases  = 3
	leastPhotos = 2
)

// habitRules lists the ways to break each rule about nails. Each tells of a nail
// the length in question, its limit, and whether it is broken that way.
var habitRules = []struct {
	key, rule string
	is        func(ledger.Head, ledger.Product) (length, limit float64, ok bool)
}{
	{"high", "height", func(h ledger.Head, p ledger.Product) (float64, float64, bool) { return over(h.AboveButt, p.BandHigh) }},
	{"low", "height", func(h ledger.Head, p ledger.Product) (float64, float64, bool) { return under(h.AboveButt, p.BandLow) }},
	{"near_end", "end", func(h ledger.Head, p ledger.Product) (float64, float64, bool) { return under(endOf(h), p.EndMin) }},
	{"far_end", "end", func(h ledger.Head, p ledger.Product) (float64, float64, bool) { return over(endOf(h), p.EndMax) }},
	{"joint", "lower_joint", func(h ledger.Head, p ledger.Product) (float64, float64, bool) {
		return under(absolute(h.LowerJoint), p.Clearance)
	}},
	{"next_joint", "next_joint", func(h ledger.Head, p ledger.Product) (float64, float64, bool) {
		return under(absolute(h.NextJoint), p.Clearance)
	}},
	{"deep", "drive", driven("overdriven")},
	{"proud", "drive", driven("underdriven")},
	{"slant", "drive", driven("cocked")},
	{"exposed", "exposed", func(ledger.Head, ledger.Product) (float64, float64, bool) { return math.NaN(), 0, true }},
}

// pieceHabits are those that findings about pieces show.
var pieceHabits = map[string]string{"count": "few", "gap": "gap"}

func driven(class string) func(ledger.Head, ledger.Product) (float64, float64, bool) {
	return func(h ledger.Head, _ ledger.Product) (float64, float64, bool) { return math.NaN(), 0, h.Drive == class }
}

func over(l *inspection.Length, limit float64) (float64, float64, bool) {
	if l == nil || limit == 0 {
		return 0, 0, false
	}
	return l.MM, limit, l.MM > limit
}

func under(l *inspection.Length, limit float64) (float64, float64, bool) {
	if l == nil || limit == 0 {
		return 0, 0, false
	}
	return l.MM, limit, l.MM < limit
}

func absolute(l *inspection.Length) *inspection.Length {
	if l == nil {
		return nil
	}
	return &inspection.Length{MM: math.Abs(l.MM), U: l.U}
}

// endOf is the smaller of the distances to the ends of the piece.
func endOf(h ledger.Head) *inspection.Length {
	if distance(h.RightEnd) < distance(h.LeftEnd) {
		return h.RightEnd
	}
	return h.LeftEnd
}

// newHabits finds the habits of a work, the one that happens most often at
// least (by the lower end of its interval) first.
func newHabits(w ledger.Work) []Habit {
	var out []Habit
	for _, r := range habitRules {
		h := Habit{Key: r.key}
		for i := range w.Photos {
			p := &w.Photos[i]
			job := &w.Jobs[p.Job]
			for _, n := range p.Heads {
				if n.Answer == review.NoNail {
					continue
				}
				s := ruleStanding(n, r.rule)
				length, limit, is := r.is(n, job.Product)
				if s == bad && !is {
					s = good // it breaks the rule another way
				}
				h.add(i, s)
				c := Case{Photo: p, Job: job, Head: n.N, Piece: n.Piece, Px: n.Px, Size: n.RadiusPx, Off: length, Limit: limit}
				switch s {
				case bad:
					c.off = math.Abs(length - limit)
					h.all = append(h.all, c)
				case good:
					h.exemplar(c, n, job.Product)
				}
			}
		}
		out = append(out, h)
	}
	var kept []Habit
	for _, h := range append(out, newPieceHabits(w)...) {
		if h.choose() {
			kept = append(kept, h)
		}
	}
	slices.SortStableFunc(kept, func(a, b Habit) int { return cmp.Compare(b.Interval().Low, a.Interval().Low) })
	return kept
}

// exemplar keeps the nail that is good in every way and nearest to the middle
// of the band.
func (h *Habit) exemplar(c Case, n ledger.Head, p ledger.Product) {
	if standing(n.Verdict, n.Answer) != good || n.AboveButt == nil {
		return
	}
	c.off = -math.Abs(n.AboveButt.MM - (p.BandLow+p.BandHigh)/2)
	if h.Good == nil || c.off > h.Good.off {
		h.Good = &c
	}
}

func newPieceHabits(w ledger.Work) []Habit {
	few, gap := Habit{Key: "few"}, Habit{Key: "gap"}
	for i := range w.Photos {
		p := &w.Photos[i]
		for _, f := range p.Found {
			h := map[string]*Habit{"few": &few, "gap": &gap}[pieceHabits[f.Rule]]
			if h == nil {
				continue
			}
			s := standing(f.Result, f.Answer)
			h.add(i, s)
			on := onPiece(*p, f.Piece)
			if len(on) == 0 {
				continue // nothing to show
			}
			c := Case{Photo: p, Job: &w.Jobs[p.Job], Head: -1, Piece: f.Piece, Px: on[len(on)/2].Px, Size: on[0].RadiusPx, Off: math.NaN()}
			switch {
			case s == bad:
				h.all = append(h.all, c)
			case s == good && h.Good == nil:
				h.Good = &c
			}
		}
	}
	return []Habit{few, gap}
}

// choose picks the two clearest cases, of different photos; false when there
// are too few cases to call it a habit.
func (h *Habit) choose() bool {
	if h.Bad < leastCases || len(h.bad) < leastPhotos {
		return false
	}
	slices.SortStableFunc(h.all, func(a, b Case) int { return cmp.Compare(b.off, a.off) })
	for _, c := range h.all {
		if len(h.Shown) < 2 && !slices.ContainsFunc(h.Shown, func(o Case) bool { return o.Photo == c.Photo }) {
			h.Shown = append(h.Shown, c)
		}
	}
	return true
}
