package sheet

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"coursegauge/report/ledger"
	"coursegauge/report/sign"
)

// varied is a work in which everything that a sheet can say is so.
func varied(seed uint64, photos int) ledger.Work {
	w := apprentice{9, -3, 9}.work(rand.New(rand.NewPCG(seed, 3)), photos)
	w.Jobs[0].Title = "Bench"
	for i := range w.Photos {
		p := &w.Photos[i]
		h := p.Heads
		set := func(n int, rule, result string) {
			h[n].Rules[rule] = result
			if result == "suspect" {
				h[n].Verdict = result
			}
		}
		near := *h[0].LeftEnd
		for k, rule := range []string{"end", "lower_joint", "next_joint", "drive", "head_size", "exposed"} {
			set(k, rule, []string{"clear", "suspect", "unresolved"}[(i+k)%3])
		}
		near.MM = []float64{20, -10, 60}[i%3]
		h[1].LowerJoint, h[2].NextJoint = &near, &near
		h[0].LeftEnd = &near
		h[3].Drive = []string{"overdriven", "underdriven", "cocked", "unclear"}[i%4]
		for k, rule := range []string{"count", "gap", "narrow"} {
			p.Found = append(p.Found, ledger.Finding{Piece: k % 2, Rule: rule, Result: []string{"suspect", "unresolved", "clear"}[(i+k)%3]})
		}
		p.Found = append(p.Found, ledger.Finding{Piece: -1, Rule: "offset", Result: "suspect"})
		p.Missed = i % 2
	}
	w.Photos[1].Refused, w.Photos[1].Heads, w.Photos[1].Found = "blurred", nil, nil
	return w
}

// sheets writes every kind of sheet, and hands on what was asked of the words.
func sheets(t *testing.T, lang string, asked func(string)) []string {
	t.Helper()
	s := newSpeaker(lang)
	s.asked = asked
	w, better, one := varied(1, 40), apprentice{0, 0, 5}.work(rand.New(rand.NewPCG(5, 5)), 40), varied(2, 4)
	for i := range one.Photos {
		one.Photos[i].Day = "2026-05-01"
	}
	perfect := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 5)
	estimated := varied(4, 40)
	estimated.Jobs[0].Product = ledger.Product{BandLow: product.BandLow, BandHigh: product.BandHigh}
	unjudged := ledger.Work{Crew: "x", Jobs: w.Jobs, Photos: []ledger.Photo{{Refused: "far", Day: "2026-05-01"}}}
	low := apprentice{-4, -60, 5}.work(rand.New(rand.NewPCG(7, 7)), 8)
	for i := range perfect.Photos {
		for k := range perfect.Photos[i].Heads {
			perfect.Photos[i].Heads[k].AboveButt.MM = (product.BandLow + product.BandHigh) / 2
		}
	}
	months := varied(6, 60)
	for i := range months.Photos {
		months.Photos[i].Day = monthly(i)
	}
	weeks := varied(7, 60)
	for i := range weeks.Photos {
		weeks.Photos[i].Day = weekly(i)
	}
	some, none, left := varied(9, 8), varied(9, 4), varied(9, 8)
	some.Photos[0].Day, left.LeftOut = "", 3
	for i := range none.Photos {
		none.Photos[i].Day = ""
	}
	picture := func(c Case) Picture {
		if c.Photo.Day > "2026-05-15" {
			return Picture{}
		}
		return Picture{Href: `href="data:image/jpeg;base64,AA=="`, Width: 40, Height: 30}
	}
	var out []string
	periods := []Periods{
		{Work: w, Compared: true, Earlier: better, Later: w},
		{Work: better, Compared: true, Earlier: w, Later: better},
		{Work: w, Compared: true, Halved: true, Earlier: w, Later: varied(3, 40)},
		{Work: one, Halved: true}, {Work: perfect, Before: ledger.Span{From: "2026-01-01", To: "2026-01-31"}},
		{Work: estimated, Halved: true}, {Work: unjudged, Compared: true, Earlier: unjudged, Later: unjudged}, {Work: months, Halved: true}, {Work: weeks, Halved: true}, {Work: low, Halved: true},
		{Work: some, Halved: true}, {Work: none, Halved: true}, {Work: left, Halved: true}, {Work: habitual("high", true), Halved: true},
	}
	for key := range habitWords {
		periods = append(periods, Periods{Work: habitual(key, false), Halved: true})
	}
	for _, p := range periods {
		var b strings.Builder
		if err := write(&b, p, picture, Look{"body { color: red }", lang}, s); err != nil {
			t.Fatal(err)
		}
		out = append(out, b.String())
	}
	broken := varied(8, 6)
	broken.Photos[0].Heads[0].Rules = nil
	broken.Photos[0].Heads[0].Verdict = "suspect"
	for _, w := range []ledger.Work{broken, varied(9, 30), perfect, habitual("low", false)} {
		var b strings.Builder
		whole := func(p ledger.Photo) Whole {
			if p.File == "p2.jpg" {
				return Whole{}
			}
			return Whole{`src="data:image/jpeg;base64,AA=="`, 400, 300}
		}
		if err := writeExercise(&b, w, whole, Look{"", lang}, s); err != nil {
			t.Fatal(err)
		}
		out = append(out, b.String())
	}
	return out
}

func monthly(i int) string { return fmt.Sprintf("20%02d-%02d-01", i/12, 1+i%12) }
func weekly(i int) string  { return fmt.Sprintf("2026-%02d-%02d", 1+i/28, 1+i%28) }

// habitual is a work whose only fault is one habit; without good nails when
// every nail has it.
func habitual(key string, every bool) ledger.Work {
	w := apprentice{}.work(rand.New(rand.NewPCG(1, 1)), 4)
	for i := range w.Photos {
		p := &w.Photos[i]
		for n := range p.Heads {
			h := &p.Heads[n]
			if n > 0 && !every {
				break
			}
			for _, r := range habitRules {
				if r.key == key {
					h.Verdict, h.Rules[r.rule] = "suspect", "suspect"
				}
			}
			left, right := *h.LeftEnd, *h.RightEnd
			switch key {
			case "high":
				h.AboveButt.MM = product.BandHigh + 9
			case "low":
				h.AboveButt.MM = product.BandLow - 9
			case "near_end", "far_end":
				left.MM = map[string]float64{"near_end": 9, "far_end": 200}[key]
				right.MM = product.Width - left.MM
				h.LeftEnd, h.RightEnd = &left, &right
			case "joint":
				left.MM = -20
				h.LowerJoint = &left
			case "next_joint":
				left.MM = 20
				h.NextJoint = &left
			case "deep", "proud", "slant":
				h.Drive = map[string]string{"deep": "overdriven", "proud": "underdriven", "slant": "cocked"}[key]
			}
		}
		for rule, k := range pieceHabits {
			if k == key {
				p.Found = append(p.Found, ledger.Finding{Piece: 1, Rule: rule, Result: "suspect"})
			}
		}
	}
	return w
}

// Every text has both languages, and every text is said somewhere: a sheet that
// asks for one that is missing would speak English in Spanish.
func TestEveryTextIsSaid(t *testing.T) {
	for _, lang := range Languages() {
		unsaid := maps.Clone(spoken)
		for _, page := range sheets(t, lang, func(key string) {
			if !spoken[key] {
				t.Errorf("%s: no text %q", lang, key)
			}
			delete(unsaid, key)
		}) {
			for _, bad := range []string{"%!", "(MISSING", "NaN", "Inf"} {
				if strings.Contains(page, bad) {
					i := strings.Index(page, bad)
					t.Errorf("%s: %q in ...%s...", lang, bad, page[max(0, i-200):min(len(page), i+80)])
				}
			}
		}
		for key := range unsaid {
			t.Errorf("%s: never said: %q", lang, key)
		}
	}
	for _, p := range texts {
		if p[1] == "" || strings.Count(p[0], "%") != strings.Count(p[1], "%") {
			t.Errorf("%q and %q do not take the same", p[0], p[1])
		}
	}
	for key := range habitWords {
		if habitSpanish[key] == (habitText{}) {
			t.Errorf("habit %q has no Spanish", key)
		}
	}
}

// Each page is well-formed, holds no script, fetches nothing, and every plot
// has a title and a description.
func TestPages(t *testing.T) {
	for i, page := range sheets(t, "en", func(string) {}) {
		d := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(page, "<!DOCTYPE html>")))
		d.Entity = xml.HTMLEntity
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("page %d: %v", i, err)
			}
		}
		for _, bad := range []string{"<script", "http:", "https:", " style=", "ZgotmplZ"} {
			if strings.Contains(page, bad) {
				t.Errorf("page %d holds %q", i, bad)
			}
		}
		plots := strings.Count(page, `role="img" aria-labelledby=`)
		if strings.Count(page, "<desc id=") != plots || strings.Count(page, "<desc id=\"print-d\"></desc>") > 0 {
			t.Errorf("page %d: %d plots, %d descriptions", i, plots, strings.Count(page, "<desc id="))
		}
	}
}

// Nothing of another crew gets onto a sheet, and a name is shown as text.
func TestOnlyOne(t *testing.T) {
	w := varied(1, 10)
	w.Crew = `<img src=x onerror="alert(1)">`
	w.Photos[0].File = `"><script>alert(1)</script>`
	var b strings.Builder
	if err := Write(&b, Periods{Work: w, Halved: true}, func(Case) Picture { return Picture{} }, Look{"", "en"}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "<img src=x") || strings.Contains(b.String(), "<script") {
		t.Error("a name is taken for markup")
	}
}

// Every nail of the period is in the picture of the piece.
func TestEveryNailIsDrawn(t *testing.T) {
	st := newStudy(varied(1, 40))
	p := newSpeaker("en").piecePlot("x", &st.frames[0], st.points)
	drawn := 0
	for _, d := range p.Dots {
		drawn += strings.Count(d.D, "M")
	}
	if drawn != 39*8 || len(st.points) != drawn {
		t.Errorf("%d of %d", drawn, len(st.points))
	}
}

// The legend names the shapes as the report does, and draws those that it names.
func TestLegendSpeaksAsTheReport(t *testing.T) {
	found := 0
	for _, k := range (base{speaker: newSpeaker("en")}).Legend() {
		for s, verdict := range verdicts {
			if k.Class != "dots "+statusClass[s] {
				continue
			}
			found++
			if !strings.HasPrefix(k.Text, sign.Name(verdict)+": ") || k.D != "M0 0"+mark(s, 1) {
				t.Errorf("%s: %q drawn as %s; the report has a %s", k.Class, k.Text, k.D, sign.Name(verdict))
			}
		}
		if k.Text != "cross in a ring: aim point" && strings.HasPrefix(k.Text, sign.Name(sign.Missed)) {
			t.Errorf("%q is the sign of a missed head", k.Text)
		}
	}
	if found != len(verdicts) {
		t.Errorf("%d of %d states are explained", found, len(verdicts))
	}
}

// No text puts a noun in the plural right behind a count: the count may be one.
func TestNoTextDependsOnACount(t *testing.T) {
	plural := regexp.MustCompile(`%s (nails|pieces|photos|days|clavos|piezas|fotos|días)\b`)
	for _, pair := range texts {
		for _, text := range pair {
			if plural.MatchString(text) {
				t.Errorf("%q reads wrong with 1", text)
			}
		}
	}
}
