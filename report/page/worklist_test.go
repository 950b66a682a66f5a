package page

import (
	"fmt"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// The words and their shares are those of the guidance note that chanceWords
// names (from memory); the borders belong to the higher word.
func TestChance(t *testing.T) {
	for p, want := range map[float64]string{1: "almost certain", .99: "almost certain", .989: "very likely", .9: "very likely", .66: "likely", .5: "about as likely as not", .33: "about as likely as not", .2: "unlikely", .0999: "very unlikely", 0: "very unlikely"} {
		if got := chance(p); got != want {
			t.Errorf("%v is %q, want %q", p, got, want)
		}
	}
	legend := chanceLegend()
	if legend[0] != (pair{"almost certain", "99 % and over"}) || legend[2] != (pair{"likely", "66 % to 90 %"}) || legend[5] != (pair{"very unlikely", "under 10 %"}) {
		t.Errorf("%v", legend)
	}
}

// 7 of 118 is the example that the figures of the summary were laid out with:
// Wilson 2.9 % to 11.7 %, worked out by hand. 2,900 fasteners are 11.2 squares at
// 4 in 39-3/8 in by 5-5/8 in: 11.2 x 14400 / 221.5 x 4 = 2913.
func TestSampleWords(t *testing.T) {
	s := sceneSchedule(t)
	s.Shingle.Width, s.Shingle.Exposure, s.Fasteners.PerPiece = 39.375*length.Inch, 5.625*length.Inch, 4
	say := func(suspect, n int, squares float64) string {
		return strings.Join(sampleWords(inspection.Totals{Fasteners: n, Verdicts: map[string]int{"suspect": suspect}}, s, squares), " ")
	}
	for _, c := range []struct {
		got   string
		words []string
	}{
		{say(7, 118, 11.2), []string{"4.1 % of about 2,900 fasteners seen", "7 suspect of 118 (5.9 %)", "between 2.9 % and 11.7 %", "no random sample"}},
		{say(0, 20, 0), []string{"20 fasteners seen", "--squares", "None suspect of 20", "under 13.9 %"}},
		{say(0, 0, 5), []string{"No fastener was measured"}},
		{say(1, 1, 0.01), []string{"38.5 % of about 3 fasteners", "1 suspect of 1 (100.0 %)"}},
	} {
		for _, w := range c.words {
			if !strings.Contains(c.got, w) {
				t.Errorf("%q lacks %q", c.got, w)
			}
		}
	}
}

func TestCrewRows(t *testing.T) {
	head := func(v string) inspection.Fastener { return inspection.Fastener{Verdict: v} }
	photos := []inspection.Photo{
		{Crew: "second", Heads: []inspection.Fastener{head("suspect"), head("clear"), head("unresolved")}},
		{Crew: "first", Heads: []inspection.Fastener{head("clear")}},
		{Heads: []inspection.Fastener{head("suspect")}},
	}
	rows, scale := crewRows(photos)
	if len(rows) != 3 || rows[0].Crew != "not told" || rows[1].Crew != "first" || rows[2].Suspect != 1 || rows[2].Heads != 3 || scale != "100.0 %" {
		t.Errorf("%+v, %s", rows, scale)
	}
	photos[0].Crew, photos[1].Crew = "", ""
	if rows, _ := crewRows(photos); rows != nil {
		t.Errorf("nobody told a crew, and yet %v", rows)
	}
}

func finding(rule string, result judge.Result, p float64, value, low, high length.MM) judge.Finding {
	return judge.Finding{Rule: rule, Result: result, P: p, Observation: rule, Length: measured(value, 1), LimitLow: &low, LimitHigh: &high}
}

// Worst first: each step decides only between those that the steps before leave alike.
func TestOrder(t *testing.T) {
	at := func(n int, verdict string, f ...judge.Finding) entryOrder { return orderOf("a.jpg", n, verdict, f) }
	certain := finding("height", judge.Suspect, .999, 200, 150, 178)
	in := []entryOrder{
		at(5, "suspect", certain, finding("end", judge.Suspect, .7, 10, 19, 38)),
		at(4, "suspect", certain),
		at(3, "suspect", finding("height", judge.Suspect, .999, 185, 150, 178)),
		at(2, "suspect", finding("height", judge.Suspect, .95, 400, 150, 178)),
		at(1, "suspect", finding("drive", judge.Suspect, .95, 0, 0, 0)),
		at(0, "unresolved", finding("height", judge.Unresolved, .49, 900, 150, 178)),
		at(6, "unresolved"),
	}
	for i := range in[1:] {
		if in[i].compare(in[i+1]) >= 0 || in[i+1].compare(in[i]) <= 0 {
			t.Errorf("entry %d does not come before entry %d", in[i].n, in[i+1].n)
		}
	}
}

// Heads of one piece that show the same stand together, others do not.
func TestGroups(t *testing.T) {
	head := func(id, piece int, f ...judge.Finding) judge.Head {
		h := judge.Head{Fastener: vision.Fastener{ID: id, Piece: piece}, Findings: f, Verdict: judge.Suspect}
		if len(f) > 0 && f[0].Result == judge.Clear {
			h.Verdict = judge.Clear
		}
		return h
	}
	high, low := finding("height", judge.Suspect, 1, 200, 150, 178), finding("height", judge.Suspect, 1, 100, 150, 178)
	far := finding("height", judge.Suspect, 1, 290, 150, 178)
	groups := groupHeads([]judge.Head{
		head(1, 0, high), head(2, 0, low), head(3, 0, high), head(4, 1, high), head(5, -1, high), head(6, -1, high),
		head(7, 0, high, finding("end", judge.Suspect, 1, 1, 19, 38)), head(8, 0, finding("height", judge.Clear, 0, 160, 150, 178)), head(9, 0), head(10, 0), head(11, 0, far),
	})
	var got []string
	for _, g := range groups {
		ids := ""
		for _, h := range g {
			ids += fmt.Sprint(h.Fastener.ID, " ")
		}
		got = append(got, strings.TrimSpace(ids))
	}
	if want := "[1 3|2|4|5|6|7|9|10|11]"; "["+strings.Join(got, "|")+"]" != want {
		t.Errorf("groups %q, want %s", got, want)
	}
}

// A line of the report keeps what was seen and what to do apart, whatever words
// either holds, and leaves out what nobody must look at.
func TestFindingLines(t *testing.T) {
	lines := findingLines([]judge.Finding{
		{Rule: "height", Result: judge.Suspect, P: .9, Observation: "low; common practice is to look twice", Remedy: "seal it"},
		{Rule: "drive", Result: judge.Clear, Observation: "looks flush"},
		{Rule: "end", Result: judge.Unresolved, P: .2, Observation: "near the end"},
	})
	if len(lines) != 2 || lines[0].Text != "Low; common practice is to look twice." || lines[0].Do != "Seal it." || lines[1].Text != "Near the end." || lines[1].Do != "" {
		t.Errorf("%+v", lines)
	}
}

// Every finding about a piece has an entry with the view of the piece; the dot
// where a head is measured is where the head is in the view.
func TestPieceEntries(t *testing.T) {
	s := sceneSchedule(t)
	w, doc := added(t, s, "a-scene.jpg")
	r := sceneResult()
	p := doc.Photos[0]
	for _, q := range doc.Photos {
		if q.File == "a-scene.jpg" {
			p = q
		}
	}
	j := judge.Photo{Pieces: []judge.PieceFinding{
		{Finding: finding("gap", judge.Suspect, .99, r.Fasteners[1].Along.Value()-r.Fasteners[0].Along.Value(), 0, 20), Piece: 0, Joint: -1},
		{Finding: finding("offset", judge.Unresolved, .3, 90, 101, 0), Piece: -1, Joint: 0},
		{Finding: finding("narrow", judge.Clear, 0, 900, 152, 0), Piece: 0, Joint: -1},
	}}
	zero := 0
	p.Findings = []inspection.Finding{{Rule: "gap", Piece: &zero}, {Rule: "offset", Joint: &zero}, {Rule: "narrow", Piece: &zero}}
	entries, err := newEntries(subject{p, r, cutOf(t, r, scenePicture(t, r.Fasteners)), View.Shrink, s}, j)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != 2 || entries[0].Title != "Piece 0" || entries[1].Title != "Lower joint 1" || entries[0].Views[0].Target != "piece/0/gap/0" || entries[1].Views[0].Target != "joint/0/offset/0" {
		t.Fatalf("%+v", entries)
	}
	dims := 0
	for _, g := range entries[0].Views[0].Guides {
		if g.Class == "dim" {
			dims++
		}
	}
	if dims != 1 {
		t.Errorf("%d dimensions of the gap", dims)
	}
	img := decoded(t, entries[0].Views[0].Src)
	if size := img.Bounds().Size(); size.X != pieceW*pieceScale || size.Y != pieceH*pieceScale {
		t.Errorf("view of %v px", size)
	}
	var left, top, width, height float64
	if _, err := fmt.Sscanf(entries[0].Views[0].ViewBox, "%f %f %f %f", &left, &top, &width, &height); err != nil {
		t.Fatal(err)
	}
	f := r.Fasteners[0]
	x, y := (float64(f.Along.Value())-left)*pieceScale, (-float64(f.AboveButt.Value())-top)*pieceScale
	if red, _, _, _ := img.At(int(x), int(y)).RGBA(); red < 0xa000 {
		t.Errorf("no white head at %.0f, %.0f of the view", x, y)
	}
	_ = w
}

func FuzzEntryIsOneArticle(f *testing.F) {
	for _, s := range []string{`<script>`, `" onerror=x`, "\u202e", strings.Repeat("x", 10_000), "]]>"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var b strings.Builder
		e := entry{ID: "p1", Verdict: "suspect", Word: "suspect", Title: s, File: s, Crew: s, PhotoID: "p", SHA: s, Lines: []findingLine{{s, s, s, s, s, s}}, Remedies: []string{s},
			Views: []closeup{{Target: s, Px: s, Caption: []string{s}, Alt: s}}}
		if err := templates.ExecuteTemplate(&b, "entry.html.tmpl", e); err != nil {
			t.Fatal(err)
		}
		html := b.String()
		if strings.Count(html, "<article") != 1 || strings.Count(html, "<script") > 0 || strings.Count(html, "<img") > 0 || strings.Count(html, "<figure") != 1 {
			t.Fatalf("%q made %s", s, html)
		}
	})
}
