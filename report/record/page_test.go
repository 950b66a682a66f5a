package record

import (
	"context"
	"flag"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/review"
)

func TestWhere(t *testing.T) {
	for target, want := range map[string]string{
		"head/5": "head 5", "piece/0/gap/1": "piece 0, gap", "joint/1/lower_joint/0": "joint 1, lower joint", "place/812.5/430.0": "at 812.5, 430.0 px", "photo": "photo", "photo/x": "photo x",
	} {
		if got := where(target); got != want {
			t.Errorf("%s: %q, want %q", target, got, want)
		}
	}
}

// The plain page says what there is, and nothing of what there is not.
func TestPlainPage(t *testing.T) {
	base := func() pageInput {
		in := job(t)
		known := review.Fold(in.Decisions)
		return pageInput{Contents{Made: "2026-05-05T08:00:00Z", Version: "1", Photos: []Photo{{}, {Original: "x"}, {}}, Decisions: 2, Settings: Settings{Schedule: "settings/a.yaml"}}, in.Document, known, false, false}
	}
	for _, c := range []struct {
		name   string
		change func(in *pageInput)
		has    []string
		lacks  []string
	}{
		{"as it is", func(*pageInput) {}, []string{"3 files", "2 byte for byte", "1 written anew", "Of 3 photos 2 were measured and 1 refused. In them 4 fastener heads", "The record is not signed.", "first reader", "note: looked at it", "it is wrong, a limit is broken", "inspection/decisions.jsonl: every decision",
			"Schedule: settings/a.yaml, SHA-256 " + hashOf(mustRead(t, filepath.Join(testdata, "photos/laminated-metric/schedule.yaml"))) + ".", "Measured with coursegauge test and OpenCV 4.6.0."},
			[]string{"NOT COMPLETE", "minisign -V", "openssl", "earlier record", "report.html", "decisions-elsewhere", "left out on purpose", "not judged (", "not kept", "the list that tells crews", "lenses", "printed cards"}},
		{"cautions", func(*pageInput) {}, append([]string{"Cautions and limits"}, cautions...), nil},
		{"nobody decided", func(in *pageInput) { in.answers, in.contents.Decisions = review.Answers{}, 0 }, []string{"Nobody has decided"}, []string{"decisions.jsonl: every"}},
		{"one open", func(in *pageInput) { in.answers = review.Answers{} }, nil, nil},
		{"stopped", func(in *pageInput) { in.document.NotDone = []string{"z.jpg"} }, []string{"NOT COMPLETE: the run was stopped before 1 of the photos", "* z.jpg"}, nil},
		{"signed", func(in *pageInput) { in.contents.SignedBy = "RWkey" }, []string{"minisign -V -P RWkey -m tagmanifest-sha256.txt"}, []string{"is not signed"}},
		{"stamped", func(in *pageInput) { in.contents.Stamped = true }, []string{"-CAfile AUTHORITY.pem"}, []string{authorityFile}},
		{"stamped, with its authority", func(in *pageInput) { in.contents.Stamped, in.authority = true, true }, []string{"-CAfile " + authorityFile}, []string{"AUTHORITY.pem"}},
		{"follows", func(in *pageInput) {
			in.contents.Follows = &Predecessor{"first.zip", hashOf(nil), "2026-05-01T00:00:00Z"}
		}, []string{"earlier record, first.zip, made on 2026-05-01T00:00:00Z", hashOf(nil)}, nil},
		{"elsewhere", func(in *pageInput) { in.contents.Elsewhere = 1 }, []string{"decisions-elsewhere.jsonl: 1 decisions"}, nil},
		{"report", func(in *pageInput) { in.report = true }, []string{"inspection/report.html: the report"}, nil},
		{"settings", func(in *pageInput) { in.contents.Settings = Settings{"s", "c", []string{"p"}, "w"} }, []string{"printed cards, what is known of the cameras' lenses, the list that tells crews"}, nil},
		{"left out", func(in *pageInput) { in.contents.LeftOut = []string{"something"} }, []string{"* something", "Of 3 photos in this record 2 are byte for byte those that were inspected; 1 were written anew"}, nil},
		{"not judged", func(in *pageInput) { in.document.Totals.Verdicts["not_judged"] = 1 }, []string{"not judged (1)"}, nil},
		{"no lengths", func(in *pageInput) { in.document.Photos = in.document.Photos[:1] }, nil, []string{"Each length stands with"}},
		{"unread", func(in *pageInput) { in.document.Photos[0].SHA256 = "" }, []string{"(no_card); not kept, since it could not be read at all"}, nil},
		{"no clock", func(in *pageInput) { in.document.Photos = nil }, nil, []string{"The photos were taken between"}},
	} {
		in := base()
		c.change(&in)
		page := plainPage(in)
		flat := strings.Join(strings.Fields(page), " ")
		for _, w := range c.has {
			if !strings.Contains(flat, w) {
				t.Errorf("%s: never says %q", c.name, w)
			}
		}
		for _, w := range c.lacks {
			if strings.Contains(flat, w) {
				t.Errorf("%s: says %q", c.name, w)
			}
		}
		if at := strings.Index(page, "  * z.jpg\n"); at >= 0 && !strings.HasPrefix(page[at:], "  * z.jpg\n\nOf 3 photos") {
			t.Errorf("%s: no blank line behind the list", c.name)
		}
		for line := range strings.Lines(page) { // commands and hashes cannot be wrapped
			if n := len([]rune(strings.TrimRight(line, "\n"))); n > pageWidth && !strings.HasPrefix(line, "    ") {
				t.Errorf("%s: a line of %d letters: %s", c.name, n, line)
			}
		}
	}
}

var update = flag.Bool("update", false, "renew the goldens")

// golden holds a text against a file, line by line.
func golden(t *testing.T, file, got string) {
	t.Helper()
	path := filepath.Join(testdata, "goldens", file)
	if *update {
		mustWrite(t, path, []byte(got))
	}
	have, want := strings.Split(got, "\n"), strings.Split(string(mustRead(t, path)), "\n")
	for i := range max(len(have), len(want)) {
		if i >= len(have) || i >= len(want) || have[i] != want[i] {
			t.Fatalf("%s: line %d differs: %q, want %q", path, i+1, have[min(i, len(have)):min(i+1, len(have))], want[min(i, len(want)):min(i+1, len(want))])
		}
	}
}

// The page and the summary of a record with everything that can be told in it, word for
// word: people disagree, something is left out, photos were decided, signed and refused.
func TestWordForWord(t *testing.T) {
	in := job(t)
	other := in.Decisions[1]
	other.ID, other.What, other.Who, other.Note = hashOf(nil)[:32], review.Wrong, "second reader", "a second look"
	earlier := in.Decisions[0]
	earlier.ID, earlier.Target = hashOf([]byte{1})[:32], "head/77"
	in.Decisions = append(in.Decisions, other, earlier)
	in.Document.NotDone = []string{"later.jpg"}
	in.Document.Photos[1].Card = &inspection.Card{Number: 3, Size: "proved"}
	in.Inspection = encoded(t, in.Document)
	in.Cards, in.Crews = &NamedFile{"cards.yaml", []byte("cards")}, &NamedFile{"crews.yaml", []byte("crews")}
	in.Follows = &Predecessor{"first record.zip", hashOf([]byte("first")), "2026-05-01T00:00:00Z"}
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, path)
	golden(t, "record-page.txt", string(mustRead(t, filepath.Join(path, "data", pagePath))))
	src, err := bag.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	v := verdictOf(t, path, Options{Version: "test"})
	html, err := Summary(src, v, SummaryOptions{Property: "Example Street 1", Squares: 24, Name: "r.zip"})
	if err != nil {
		t.Fatal(err, said(v))
	}
	head, rest, _ := strings.Cut(string(html), "<style>")
	_, body, _ := strings.Cut(rest, "</style>") // without the fonts
	golden(t, "record-summary.html", strings.ReplaceAll(head+body, v.Digest, "NUMBER"))
}

// Lines are as long as they may be and no longer.
func TestPara(t *testing.T) {
	word := strings.Repeat("x", 38)
	b := &sheet{}
	b.para("* ", "  ", "%s", word[:37]+" "+word+" y "+strings.Repeat("z", 90))
	if got, want := b.String(), "* "+word[:37]+" "+word+"\n  y\n  "+strings.Repeat("z", 90)+"\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// What is suspect or unresolved is open until somebody answers, and while people disagree.
func TestOpenMarks(t *testing.T) {
	in := job(t)
	for _, c := range []struct {
		name      string
		decisions []review.Decision
		want      int
	}{
		{"nobody", nil, 2}, {"one", in.Decisions[:1], 1}, {"both", in.Decisions, 0},
		{"people disagree", append(slices.Clone(in.Decisions), func() review.Decision {
			d := in.Decisions[0]
			d.ID, d.What, d.Who = hashOf(nil)[:32], review.Sound, "another"
			return d
		}()), 1},
	} {
		if got := openMarks(in.Document, review.Fold(c.decisions)); got != c.want {
			t.Errorf("%s: %d open, want %d", c.name, got, c.want)
		}
	}
	d := in.Document
	d.Photos = slices.Clone(d.Photos)
	d.Photos[1].Heads = slices.Clone(d.Photos[1].Heads)
	d.Photos[1].Heads[1].Verdict = "unresolved"
	d.Photos[1].Findings = []inspection.Finding{{Rule: "gap", Result: "suspect"}, {Rule: "gap", Result: "clear"}}
	if got := openMarks(d, nil); got != 4 {
		t.Errorf("%d open, want 4", got)
	}
}

// The two pages hold so many findings and refusals, and count the rest; shares and
// intervals are those of the published formulas.
func TestSummaryCounts(t *testing.T) {
	in := job(t)
	in.Decisions = nil
	d := in.Document
	for i := range 9 {
		p := d.Photos[1+i%2]
		if p.File = fmt.Sprintf("more-%d.jpg", i); i > 4 {
			p = d.Photos[0]
			p.File = fmt.Sprintf("refused-%d.jpg", i)
		}
		data := picture(t, uint8(100+i))
		mustWrite(t, filepath.Join(in.Photos, p.File), data)
		p.SHA256 = hashOf(data)
		d.Photos = append(d.Photos, p)
	}
	in.Document = inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)
	in.Inspection = encoded(t, in.Document)
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, path)
	src, err := bag.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	v, err := Verify(context.Background(), src, Options{})
	if err != nil || len(v.Problems) > 0 {
		t.Fatal(err, said(v))
	}
	var s summary
	s.findings(v)
	s.refused(v.Document.Photos)
	s.rules(v)
	s.coverage(v.Document.Totals, limits, 24)
	s.accuracy(v)
	s.seals(v)
	s.facts(v, limits)
	if len(s.Findings) != 7 || s.MoreFindings != 0 || s.Findings[0].Settled != "nobody decided" || !strings.Contains(s.Findings[0].What, "above the band") {
		t.Errorf("%d findings and %d more: %+v", len(s.Findings), s.MoreFindings, s.Findings[0])
	}
	if len(s.Refused) != 5 || s.MoreRefused != 0 || s.Refused[0].Name != "Straße.jpg" && s.Refused[4].Name != "Straße.jpg" {
		t.Errorf("%v and %d more", s.Refused, s.MoreRefused)
	}
	if len(s.Rules) != 1 || s.Rules[0] != (ruleRow{Rule: "height above the butt edge", Suspect: 7, Undone: 7}) {
		t.Errorf("%+v", s.Rules)
	}
	// 24 squares of 100 sq ft, pieces of 39.3701 in by 5.6299 in exposed, 4 heads each: 6237 heads; 14 are .2 %
	text := strings.Join(s.Coverage, "\n")
	for _, w := range []string{"12 photos, 7 measured, 5 refused; 14 fastener heads.", "about 0.2 % of the heads that a roof of 24 squares", "7 of 14 were suspect: by 95 % confidence between 26.8 and 73.2 %"} {
		if !strings.Contains(text, w) {
			t.Errorf("never says %q:\n%s", w, text)
		}
	}
	s.coverage(inspection.Totals{Fasteners: 14, Verdicts: map[string]int{}}, limits, 0)
	s.coverage(inspection.Totals{Verdicts: map[string]int{}}, limits, 0)
	// 1 - .05^(1/14)
	for _, w := range []string{"None of 14 was suspect: by 95 % confidence under 19.3 %", "nobody told the size of the roof", "No head was measured"} {
		if text := strings.Join(s.Coverage, "\n"); !strings.Contains(text, w) {
			t.Errorf("never says %q:\n%s", w, text)
		}
	}
	// heads of an uncertainty of .4 mm: 1.96 times .4
	if len(s.Accuracy) != 1 || !strings.HasPrefix(s.Accuracy[0], "Height of a head above the butt edge: half of the heads are known to ±0.78 mm (±0.031 in) or better, nineteen in twenty to ±0.78 mm") {
		t.Errorf("%q", s.Accuracy)
	}
	var without summary
	if without.accuracy(Verdict{}); len(without.Accuracy) != 0 { // no photo with a card, no word of cards
		t.Errorf("of no head: %q", without.Accuracy)
	}
	if s.Seals[0] != "Not signed." || s.Seals[1] != "No time stamp." {
		t.Errorf("%q", s.Seals)
	}
	if s.Facts[0].Value != "2026-05-04 10:00 to 2026-05-04 10:00, by the cameras' clocks" {
		t.Errorf("%+v", s.Facts)
	}
	v.Document.Photos = slices.Repeat(v.Document.Photos, 2)
	for i := range v.Document.Photos {
		v.Document.Photos[i].SHA256 = hashOf([]byte{byte(i)})
	}
	var more summary
	more.findings(v)
	more.refused(v.Document.Photos)
	if len(more.Findings) != mostFindings || more.MoreFindings != 14-mostFindings || len(more.Refused) != mostRefusals || more.MoreRefused != 10-mostRefusals {
		t.Errorf("%d findings and %d more, %d refused and %d more", len(more.Findings), more.MoreFindings, len(more.Refused), more.MoreRefused)
	}
}

// Whoever reads the summary or the page alone learns that the photos look like another
// product than the one they were held against.
func TestAnotherProductIsTold(t *testing.T) {
	for _, other := range []bool{false, true} {
		in := job(t)
		for i := range in.Document.Photos {
			in.Document.Photos[i].Checks = []inspection.Check{{Name: "edges", OK: !other}}
		}
		in.Inspection = encoded(t, in.Document)
		path := filepath.Join(t.TempDir(), "r")
		mustMake(t, in, path)
		src, err := bag.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		html, err := Summary(src, verdictOf(t, path, Options{}), SummaryOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for name, text := range map[string]string{"summary": string(html), "page": string(mustRead(t, filepath.Join(path, "data", pagePath)))} {
			flat := strings.Join(strings.Fields(text), " ")
			if got := strings.Contains(flat, "2 of 2 photos that could tell do not fit the width, height and exposure in the schedule: this looks like another product."); got != other {
				t.Errorf("%s: other product %v, told %v", name, other, got)
			}
		}
	}
}

func TestCut(t *testing.T) {
	for _, c := range []struct {
		in   string
		most int
		want string
	}{{"a  b\n c", 9, "a b c"}, {"abcdef", 6, "abcdef"}, {"abcdefg", 6, "abcde…"}, {"a\u202eb", 20, `a\u202Eb`}, {"", 3, ""}} {
		if got := cut(c.in, c.most); got != c.want {
			t.Errorf("%q to %d: %q, want %q", c.in, c.most, got, c.want)
		}
	}
	for in, want := range map[string]string{"2026-05-04T10:00:00Z": "2026-05-04 10:00", "2026-05-04T10:00": "2026-05-04 10:00", "2026-05-04": "2026-05-04", "": ""} {
		if got := clock(in); got != want {
			t.Errorf("%q: %q", in, got)
		}
	}
}
