package mend

import (
	"crypto/sha256"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

const sha = "abababababababababababababababababababababababababababababababab"

func number(v float64) *float64 { return &v }

// everything is an invented inspection in which each rule is broken to each
// side, and each is in doubt.
func everything() inspection.Document {
	piece, joint := 1, 0
	n, heads := 0, []inspection.Fastener{}
	add := func(drive string, result string, rules ...inspection.Rule) {
		n++
		for i := range rules {
			rules[i].Result = result
		}
		heads = append(heads, inspection.Fastener{ID: n, Px: inspection.XY{float64(100 * n), 500}, RadiusPx: 10, Piece: &piece,
			Drive: inspection.Drive{Class: drive}, Rules: rules, Verdict: result})
	}
	rule := func(name string, mm float64, low, high *float64) inspection.Rule {
		return inspection.Rule{Rule: name, Compared: inspection.Compared{Length: &inspection.Length{MM: mm, U: 1}, LowMM: low, HighMM: high}}
	}
	for _, name := range []string{"height", "end", "lower_joint", "next_joint", "head_size", "drive", "exposed", "unheard_of"} {
		add("flush", "unresolved", inspection.Rule{Rule: name})
	}
	add("flush", "suspect", rule("height", 190, number(150), number(178)))
	add("flush", "suspect", rule("height", 140, number(150), number(178)))
	add("flush", "suspect", rule("height", 149.9, number(150), number(178))) // alike in sixteenths
	add("flush", "suspect", rule("end", 10, number(19.05), number(38.1)))
	add("flush", "suspect", rule("end", 60, number(19.05), number(38.1)))
	add("flush", "suspect", rule("lower_joint", 10, number(50.8), nil))
	add("flush", "suspect", rule("next_joint", 10, number(50.8), nil))
	add("flush", "suspect", rule("head_size", 8, number(9.1), nil))
	for _, class := range []string{"overdriven", "underdriven", "cocked"} {
		add(class, "suspect", inspection.Rule{Rule: "drive"})
	}
	add("flush", "suspect") // no rule says why
	finding := func(name, result string, mm float64, low, high *float64) inspection.Finding {
		f := inspection.Finding{Rule: name, Result: result, Piece: &piece, Compared: rule("", mm, low, high).Compared}
		if name == "offset" {
			f.Piece, f.Joint = nil, &joint
		}
		return f
	}
	p := inspection.Photo{File: "north/a.jpg", SHA256: sha, Status: inspection.Measured, Crew: "first crew", Taken: "2026-05-04T17:30:00", Heads: heads,
		Checks: []inspection.Check{{Name: "edges"}},
		Image:  &inspection.Image{Width: 4000, Height: 3000},
		Course: &inspection.Course{ButtPx: [2]inspection.XY{{0, 600}, {4000, 600}}, LowerJoints: []inspection.LowerJoint{{Px: inspection.XY{700, 600}}},
			Pieces: []inspection.Piece{{ID: 1, LeftPx: inspection.XY{50, 600}, RightPx: inspection.XY{3000, 600}}}},
		Findings: []inspection.Finding{
			finding("gap", "suspect", 400, nil, number(300)), finding("gap", "unresolved", 290, nil, number(300)),
			finding("count", "suspect", 990, nil, nil), finding("end", "suspect", 400, nil, number(38.1)),
			finding("offset", "suspect", 20, number(101.6), nil), finding("offset", "unresolved", 110, number(101.6), nil),
			finding("narrow", "suspect", 100, number(152), nil), finding("narrow", "unresolved", 155, number(152), nil), finding("unheard_of", "suspect", 1, nil, nil),
		}}
	return inspection.New(inspection.Tool{}, inspection.Schedule{Title: "Lot 7"}, "2026-05-04T22:00:00Z", []inspection.Photo{p})
}

func decided(target, what, who string) review.Decision {
	return review.Decision{Format: review.Format, ID: review.NewID(), Photo: sha, Target: target, What: what, Who: who, Note: "see " + who, When: "2026-05-04T17:30:00Z"}
}

// answers has each answer once.
func answers() review.Answers {
	return review.Fold([]review.Decision{
		decided("head/9", review.Wrong, "a"), decided("head/10", review.Unsure, "a"),
		decided("head/12", review.Wrong, "a"), decided("head/12", review.Sound, "b"),
		decided("place/10.0/20.0", review.Missed, "a"),
	})
}

func written(t *testing.T, doc inspection.Document, a review.Answers, s speaker) string {
	t.Helper()
	var b strings.Builder
	if err := write(&b, doc, a, nil, s); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Every text is used, every text that is used is in the catalogue, and in
// Spanish none of them comes out in English.
func TestEveryTextInBothLanguages(t *testing.T) {
	asked := map[string]bool{}
	s := newSpeaker("es")
	s.asked = func(key string) { asked[key] = true }
	page := written(t, everything(), answers(), s)
	with := everything()
	with.Photos[0].Image = nil
	written(t, with, nil, s)
	written(t, inspection.Document{}, nil, s)
	// the picture's words need a report to take it from
	report := []byte(` id="` + sectionOf(t, "north/a.jpg") + `" aria-labelledby="x"><img src="data:image/jpeg;base64,AAAA" alt=""/></article>`)
	var b strings.Builder
	if err := write(&b, everything(), nil, report, s); err != nil || !strings.Contains(b.String(), `src="data:image/jpeg;base64,AAAA"`) {
		t.Errorf("the picture is not taken over: %v", err)
	}
	known := map[string]bool{}
	for _, x := range allTexts() {
		known[x[0]] = true
	}
	for _, p := range plurals {
		known[p.key] = true
	}
	for key := range asked {
		if !known[key] {
			t.Errorf("%q is not in the catalogue", key)
		}
	}
	for key := range known {
		if !asked[key] {
			t.Errorf("%q is never said", key)
		}
	}
	for _, x := range allTexts() {
		for _, part := range regexp.MustCompile(`%[sd]`).Split(x[0], -1) {
			if part = strings.TrimSpace(part); len(part) > 5 && strings.Contains(page, ">"+part) {
				t.Errorf("English in the Spanish list: %q", part)
			}
		}
	}
}

// sectionOf finds the id of a photo's section the way the page makes it.
func sectionOf(t *testing.T, file string) string {
	t.Helper()
	return "p" + fmt.Sprintf("%x", sha256.Sum256([]byte(file)))[:16]
}

// A schedule of another product would have sound nails taken out: the list says
// so before anything else, in its language, and only then.
func TestOtherProductIsTold(t *testing.T) {
	doc := everything()
	for lang, want := range map[string]string{"en": "this looks like another product", "es": "parece otro producto"} {
		page := written(t, doc, nil, newSpeaker(lang))
		if at := strings.Index(page, want); at < 0 || at > strings.Index(page, "<section") {
			t.Errorf("%s: %q stands at %d", lang, want, at)
		}
	}
	doc.Photos[0].Checks[0].OK = true
	if page := written(t, doc, nil, newSpeaker("en")); strings.Contains(page, "another product") {
		t.Error("another product is told of where it fits")
	}
}

func TestTranslations(t *testing.T) {
	verbs := regexp.MustCompile(`%[sd]`)
	seen := map[string]bool{}
	for _, x := range allTexts() {
		if x[1] == "" || x[1] == x[0] {
			t.Errorf("%q is not translated", x[0])
		}
		if got, want := verbs.FindAllString(x[1], -1), verbs.FindAllString(x[0], -1); !slices.Equal(got, want) {
			t.Errorf("%q takes %q in Spanish, %q in English", x[0], got, want)
		}
		if seen[x[0]] {
			t.Errorf("%q stands twice", x[0])
		}
		seen[x[0]] = true
	}
	for _, c := range []struct {
		lang string
		n    int
		want string
	}{{"en", 1, "1 thing to mend"}, {"en", 3, "3 things to mend"}, {"es", 1, "1 cosa que reparar"}, {"es", 3, "3 cosas que reparar"}} {
		if got := newSpeaker(c.lang).say("%d things to mend", c.n); got != c.want {
			t.Errorf("%s: %q, want %q", c.lang, got, c.want)
		}
	}
	if Speaks("de") || !Speaks("es") {
		t.Error("speaks the wrong languages")
	}
}

// What is decided decides what is on the list.
func TestItemsFollowDecisions(t *testing.T) {
	doc := everything()
	l := list{speaker: newSpeaker("en")}
	p := doc.Photos[0]
	state := func(a review.Answers, name string) string {
		for _, it := range l.items(p, a) {
			if it.Name == name {
				return it.State
			}
		}
		return ""
	}
	for what, want := range map[string]string{review.Wrong: "decided: wrong", review.Sound: "", review.NoNail: "", review.Unsure: "look, or measure by hand", review.Undecided: "not decided yet"} {
		if got := state(review.Fold([]review.Decision{decided("head/9", what, "a")}), "Nail 9"); got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
	}
	if got := state(answers(), "Nail 12"); got != "people disagree: ask the supervisor" {
		t.Errorf("a conflict: %q", got)
	}
	if got := state(nil, "Nail 1"); got != "look, or measure by hand" {
		t.Errorf("unresolved: %q", got)
	}
	p.Heads[0].Verdict = "clear"
	if got := state(nil, "Nail 1"); got != "" {
		t.Errorf("clear: %q", got)
	}
	if got := state(review.Fold([]review.Decision{decided("head/1", review.Wrong, "a")}), "Nail 1"); got != "decided: wrong" {
		t.Errorf("clear, but a person says wrong: %q", got)
	}
	items := l.items(p, answers())
	for i, it := range items {
		if it.N != i+1 || len(it.Do) == 0 || len(it.What) == 0 {
			t.Errorf("item %+v", it)
		}
	}
}

// Numbers of neighbours stand apart, however close the heads are.
func TestNumbersStandApart(t *testing.T) {
	items := make([]item, 12)
	for i := range items {
		items[i] = item{X: 1000 + 12*float64(i), Y: 700}
	}
	spread(items, 40, &inspection.Course{ButtPx: [2]inspection.XY{{0, 700}, {4000, 700}}})
	for i, a := range items {
		for _, b := range items[i+1 : min(i+4, len(items))] {
			if d := math.Hypot(a.LX-b.LX, a.LY-b.LY); d < 100 {
				t.Errorf("numbers %.0f px apart", d)
			}
		}
	}
}

func TestLengthsAndLimitsDiffer(t *testing.T) {
	s := newSpeaker("en")
	for _, c := range []struct {
		mm, limit float64
		a, b      string
	}{{190, 177.8, "7-1/2 in", "7 in"}, {149.9, 150, "5.90 in", "5.91 in"}} {
		if got := s.apart(c.mm, c.limit); got[0] != c.a || got[1] != c.b {
			t.Errorf("%v: %q, want %q and %q", c.mm, got, c.a, c.b)
		}
	}
}

// Whatever names and notes hold, the list stays one document whose text they are.
func FuzzInjection(f *testing.F) {
	for _, s := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=1>`, "\u202eevil\u2066", strings.Repeat("long ", 2000), "{{.}}", "%d %s %!", "--lang"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		doc := everything()
		doc.Schedule.Title, doc.Photos[0].File, doc.Photos[0].Crew, doc.Photos[0].Taken = s, s, s, s
		d := decided("head/9", review.Wrong, s)
		d.Note = s
		names := map[string]int{}
		page := written(t, doc, review.Fold([]review.Decision{d}), newSpeaker("es"))
		if strings.ContainsFunc(page, func(r rune) bool { return unicode.In(r, unicode.Bidi_Control) }) {
			t.Fatalf("%q turns the direction of the page", s)
		}
		x := xml.NewDecoder(strings.NewReader(page))
		for {
			tok, err := x.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0xfffe || r == 0xffff || r == 0xfffd }) {
					return // no letter of XML, though one of HTML
				}
				t.Fatalf("%q: %v", s, err)
			}
			if e, ok := tok.(xml.StartElement); ok {
				names[e.Name.Local]++
				for _, a := range e.Attr {
					if strings.HasPrefix(a.Name.Local, "on") {
						t.Fatalf("%q made the attribute %s", s, a.Name.Local)
					}
				}
			}
		}
		if names["script"]+names["img"] > 0 || names["html"] != 1 {
			t.Fatalf("%q made %v", s, slices.Sorted(maps.Keys(names)))
		}
	})
}
