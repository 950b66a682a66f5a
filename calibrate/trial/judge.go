package trial

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// Target is what a set-up must keep to be trusted.
const Target = length.Inch / 16

// What a "yes" needs beside figures (own choice: fewer pairs give intervals
// wider than what they are to tell, and one or two photos are no habit).
const (
	leastPairs  = 10
	leastPhotos = 3
)

// NamelessPhone stands for the name of a phone whose photos do not tell it.
const NamelessPhone = "a phone that does not name itself"

// Trust is the answer to whether a kind of length may be trusted to Target.
type Trust string

// The answers.
const (
	Trusted    Trust = "trusted"
	NotTrusted Trust = "not trusted"
	NotShown   Trust = "not shown yet"
)

// Pair is one length by photo and by tape.
type Pair struct {
	Row, Head int
	File      string
	Photo     length.Measured
	Tape      length.MM
	answer    Answer
}

// Off is photo less tape.
func (p Pair) Off() length.MM { return p.Photo.Value() - p.Tape }

// bound is how far photo and tape may lie apart, 19 times in 20, by the stated
// uncertainty of the one and the graduation of the other; mm.
func (p Pair) bound(tape Tape) float64 {
	return length.K95 * math.Hypot(float64(p.Photo.U()), float64(tape.U()))
}

// Comparison is all pairs of one kind.
type Comparison struct {
	Kind   Kind
	Pairs  []Pair
	Photos int
	Agreement
	// Own is the spread of the photos alone: the tape's share taken from SD.
	// OwnLower and OwnUpper are the limits of agreement that it gives.
	Own, OwnLower, OwnUpper float64
	Within                  int // of the stated U95, widened by that of the tape
	Confirmed, Judged       int // verdicts that the tape confirms, of those that it can judge
	Unresolved, TapeOpen    int // the photo left them open; the tape stands on the limit
	Trust                   Trust
	Why                     string // the reason of Trust, a clause
}

// Coverage is the interval of the share of lengths within their stated U95.
func (c Comparison) Coverage() Interval { return stats.Exact(c.Within, len(c.Pairs)) }

// ConfirmedCI is the interval of the share of confirmed verdicts.
func (c Comparison) ConfirmedCI() Interval { return stats.Exact(c.Confirmed, c.Judged) }

// Judgement is a trial against a tape.
type Judgement struct {
	Tape        Tape
	Device      string
	Cards       []int
	Photos      int
	Comparisons []Comparison // of the kinds that were taped
	NoHead      []Row        // the person found no fastener at the mark
	Lost        []Row        // no head of the inspection lies at the row's place any more
}

// Judge compares the typed rows with the photos. tape has a graduation of 0
// when it is to be taken from what was typed. The error is an ErrSheet: nothing
// typed, or photos of several phones.
func Judge(photos []Photo, rows []Row, limits Limits, tape Tape) (Judgement, error) {
	j := Judgement{Tape: tape}
	pairs := map[Kind][]Pair{}
	var typed []Taped
	seen, devices, cards := map[string]bool{}, map[string]bool{}, map[int]bool{}
	for _, r := range rows {
		cells := r.cells()
		if len(cells.taped) == 0 && !cells.wrong {
			continue
		}
		p, h := find(photos, r)
		if h == nil {
			j.Lost = append(j.Lost, r)
			continue
		}
		seen[p.File], devices[cmp.Or(p.Device, NamelessPhone)], cards[p.Card] = true, true, true
		if cells.wrong {
			j.NoHead = append(j.NoHead, r)
			continue
		}
		for k, v := range cells.taped {
			m, ok := h.to(k, r.Side)
			if !ok {
				continue
			}
			pair := Pair{Row: r.No, Head: h.ID, File: p.File, Photo: m, Tape: v.Value}
			if k != End || r.Side == h.Side {
				pair.answer = h.Answers[k]
			}
			pairs[k] = append(pairs[k], pair)
			typed = append(typed, v)
		}
	}
	switch {
	case len(typed) == 0 && len(j.Lost) > 0:
		return j, faulty("no head of the inspection lies where the %d typed rows say; is this the sheet of these photos?", len(j.Lost))
	case len(typed) == 0:
		return j, faulty("nothing is typed in the sheet yet; enter what the tape says, such as 6-3/16 in or 157 mm, and judge again")
	case len(devices) > 1:
		return j, faulty("the taped heads come from %d phones (%s); a trial is of one phone: pick it with --device", len(devices), strings.Join(sorted(devices), "; "))
	}
	if j.Tape.Graduation == 0 {
		j.Tape = tapeOf(typed)
	}
	j.Device, j.Photos, j.Cards = sorted(devices)[0], len(seen), sorted(cards)
	for _, k := range kinds {
		if len(pairs[k]) > 0 {
			j.Comparisons = append(j.Comparisons, compare(k, pairs[k], limits, j.Tape))
		}
	}
	return j, nil
}

// typedCells is what a row says.
type typedCells struct {
	taped map[Kind]Taped
	wrong bool
}

func (r Row) cells() typedCells {
	out := typedCells{taped: map[Kind]Taped{}}
	for k, text := range r.Typed {
		v, s, err := readCell(text)
		if err != nil {
			continue // DecodeSheet refused it already
		}
		out.wrong = out.wrong || s == wrong
		if s == taped {
			out.taped[k] = v
		}
	}
	return out
}

func find(photos []Photo, r Row) (*Photo, *Head) {
	for i := range photos {
		if photos[i].File != r.Photo {
			continue
		}
		for k := range photos[i].Heads {
			if r.near(photos[i].Heads[k]) {
				return &photos[i], &photos[i].Heads[k]
			}
		}
	}
	return nil, nil
}

func sorted[K cmp.Ordered](set map[K]bool) []K {
	var out []K
	for k := range set {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// compare takes the pairs of one kind together.
func compare(k Kind, pairs []Pair, limits Limits, tape Tape) Comparison {
	c := Comparison{Kind: k, Pairs: pairs}
	var off []float64
	var file []string
	files := map[string]bool{}
	for _, p := range pairs {
		off, file = append(off, float64(p.Off())), append(file, p.File)
		files[p.File] = true
		if math.Abs(float64(p.Off())) <= p.bound(tape) {
			c.Within++
		}
		if limit, ok := limits[k]; ok {
			c.confirm(p, limit, tape.Graduation/2)
		}
	}
	c.Photos = len(files)
	a, err := Agree(off, file)
	if err != nil {
		c.Trust, c.Why = NotShown, "one head is taped, at least two are needed to tell a spread"
		return c
	}
	c.Agreement = a
	c.Own = math.Sqrt(max(0, a.SD*a.SD-float64(tape.U()*tape.U())))
	c.OwnLower, c.OwnUpper = a.Bias-length.K95*c.Own, a.Bias+length.K95*c.Own
	c.trust()
	return c
}

// confirm counts what the tape says about the photo's answer; half is how far
// a reading may lie from the truth.
func (c *Comparison) confirm(p Pair, l Limit, half length.MM) {
	if p.answer == Unresolved {
		c.Unresolved++
	}
	if p.answer != Suspect && p.answer != Clear {
		return
	}
	broken := p.Tape < l.Min-half || l.Max > 0 && p.Tape > l.Max+half
	kept := p.Tape >= l.Min+half && (l.Max == 0 || p.Tape <= l.Max-half)
	if !broken && !kept {
		c.TapeOpen++
		return
	}
	c.Judged++
	if broken == (p.answer == Suspect) {
		c.Confirmed++
	}
}

// trust asks whether the photos' own limits of agreement lie within Target:
// surely, with their intervals; surely not, by both ends of an interval; or
// neither.
func (c *Comparison) trust() {
	margin := stats.Student95(c.Effective-1) * c.limitSE()
	far, target := max(-c.OwnLower, c.OwnUpper), float64(Target)
	tell := fmt.Sprintf("19 of 20 lie within %s to %s of the tape, its own resolution taken off", signed(c.OwnLower), signed(c.OwnUpper))
	switch {
	case far-margin > target:
		c.Trust, c.Why = NotTrusted, tell
	case len(c.Pairs) < leastPairs:
		c.Trust, c.Why = NotShown, fmt.Sprintf("%s taped, %d are needed", count(len(c.Pairs), "head is", "heads are"), leastPairs)
	case c.Photos < leastPhotos:
		c.Trust, c.Why = NotShown, fmt.Sprintf("the heads come from %s, %d are needed to tell a habit", count(c.Photos, "photo", "photos"), leastPhotos)
	case far+margin <= target:
		c.Trust, c.Why = Trusted, tell
	default:
		c.Trust, c.Why = NotShown, fmt.Sprintf("%s, but these limits are known to ± %s only; tape more heads, in more photos", tell, inches(margin))
	}
}

// Summary is one comparison in a line.
func (c Comparison) Summary() string {
	if c.N < 2 {
		return string(c.Trust) + ": " + c.Why
	}
	text := fmt.Sprintf("%s: %s; bias %s, standard deviation %s, %d of %d within the stated U95", c.Trust, c.Why, signed(c.Bias), inches(c.SD), c.Within, c.N)
	if c.Judged > 0 {
		text += fmt.Sprintf(", %d of %d verdicts confirmed", c.Confirmed, c.Judged)
	}
	return text
}

// Sentence is the trial in one sentence.
func (j Judgement) Sentence() string {
	said := map[Trust][]string{}
	for _, c := range j.Comparisons {
		said[c.Trust] = append(said[c.Trust], "the "+c.Kind.Words())
	}
	var parts []string
	for _, t := range []struct {
		trust Trust
		words string
	}{{Trusted, "may be trusted to 1/16 in"}, {NotTrusted, "may not be trusted to 1/16 in"}, {NotShown, "is not yet shown to hold 1/16 in"}} {
		if s := said[t.trust]; len(s) == 1 {
			parts = append(parts, s[0]+" "+t.words)
		} else if len(s) > 1 {
			parts = append(parts, joined(s)+" "+strings.Replace(t.words, "is not", "are not", 1))
		}
	}
	return fmt.Sprintf("With this phone (%s) and %s, used as in these photos, %s.", j.Device, cardWords(j.Cards), strings.Join(parts, "; "))
}

// AllTrusted tells whether every kind that was taped may be trusted.
func (j Judgement) AllTrusted() bool {
	return !slices.ContainsFunc(j.Comparisons, func(c Comparison) bool { return c.Trust != Trusted })
}

func cardWords(cards []int) string {
	var words []string
	for _, c := range cards {
		words = append(words, fmt.Sprint(c))
	}
	if len(words) == 1 {
		return "card " + words[0]
	}
	return "cards " + joined(words)
}

// joined is "a", "a and b", "a, b and c".
func joined(s []string) string {
	if len(s) < 2 {
		return strings.Join(s, "")
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// inches prints mm as inches to thousandths: differences are smaller than lengths.
func inches(mm float64) string { return fmt.Sprintf("%.3f in", mm/float64(length.Inch)) }

// signed is inches with its sign and a true minus.
func signed(mm float64) string {
	s := fmt.Sprintf("%+.3f in", mm/float64(length.Inch))
	return strings.Replace(s, "-", "−", 1)
}
