package sheet

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coursegauge/report/ledger"
	"coursegauge/report/review"
	"coursegauge/vision/stats"
)

// Change is what became of the share of bad nails from one period to another:
// after less before, with the interval of Newcombe (1998), both counted as so
// many independent witnesses as their photos make.
type Change struct {
	Before, After Tally
	D             float64
	Interval      stats.Interval
}

// The verdicts on a change.
const (
	improved = "improved"
	worse    = "worse"
	cantTell = "too few"
)

// newChange compares two periods.
func newChange(before, after Tally) Change {
	k1, n1 := after.effective()
	k0, n0 := before.effective()
	c := Change{Before: before, After: after}
	c.D, c.Interval = stats.Difference(k1, n1, k0, n0)
	return c
}

// Verdict is a plain word: a change counts only when the whole interval lies on
// one side of none.
func (c Change) Verdict() string {
	switch {
	case c.Interval.High < 0:
		return improved
	case c.Interval.Low > 0:
		return worse
	}
	return cantTell
}

// bin is a day, a week or a month of a p chart.
type bin struct {
	Name string // the first day
	k, n int
}

// mostBins is how many points a p chart shows before it takes longer stretches.
const mostBins = 40

// bins counts nails by day; by week or month when there are many days.
func bins(w ledger.Work) (out []bin, by string) {
	for _, step := range []struct {
		by    string
		start func(string) string
	}{{"day", func(d string) string { return d }}, {"week", monday}, {"month", func(d string) string { return d[:min(7, len(d))] }}} {
		at := map[string]int{}
		out = nil
		for _, p := range w.Dated().Photos {
			name := step.start(p.Day)
			for _, h := range p.Heads {
				s := standing(h.Verdict, h.Answer)
				if h.Answer == review.NoNail || s != good && s != bad {
					continue
				}
				i, ok := at[name]
				if !ok {
					i = len(out)
					at[name] = i
					out = append(out, bin{Name: name})
				}
				out[i].n++
				if s == bad {
					out[i].k++
				}
			}
		}
		by = step.by
		if len(out) <= mostBins {
			break
		}
	}
	slices.SortFunc(out, func(a, b bin) int {
		if a.Name < b.Name {
			return -1
		}
		return 1
	})
	return out, by
}

// monday is the first day of a day's week; the day itself where it is none.
func monday(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.AddDate(0, 0, -(int(t.Weekday())+6)%7).Format(time.DateOnly)
}

// Halves cuts the dated photos of a work in two at a day, so that both have about
// as many; ok is false when all are of one day.
func Halves(w ledger.Work) (before, after ledger.Work, ok bool) {
	w = w.Dated()
	if len(w.Photos) < 2 {
		return w, w, false
	}
	cut := len(w.Photos) / 2
	for cut > 0 && w.Photos[cut].Day == w.Photos[cut-1].Day {
		cut--
	}
	if cut == 0 {
		cut = len(w.Photos) / 2
		for cut < len(w.Photos) && w.Photos[cut].Day == w.Photos[cut-1].Day {
			cut++
		}
	}
	if cut == len(w.Photos) {
		return w, w, false
	}
	before, after = w, w
	before.Photos, after.Photos = w.Photos[:cut], w.Photos[cut:]
	return before, after, true
}

// Preceding is the stretch of as many days just before a span that has both sides.
func Preceding(s ledger.Span) (ledger.Span, error) {
	from, err := time.Parse(time.DateOnly, s.From)
	if err != nil {
		return s, fmt.Errorf("%q is no day; days are written 2026-05-04", s.From)
	}
	to, err := time.Parse(time.DateOnly, s.To)
	if err != nil {
		return s, fmt.Errorf("%q is no day; days are written 2026-05-04", s.To)
	}
	days := int(math.Round(to.Sub(from).Hours()/24)) + 1
	return ledger.Span{From: from.AddDate(0, 0, -days).Format(time.DateOnly), To: from.AddDate(0, 0, -1).Format(time.DateOnly)}, nil
}
