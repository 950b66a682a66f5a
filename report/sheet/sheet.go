package sheet

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"maps"
	"math"
	"slices"

	"coursegauge/report/escape"
	"coursegauge/report/judge"
	"coursegauge/report/ledger"
	"coursegauge/report/sign"
)

//go:embed *.tmpl
var files embed.FS

//go:embed sheet.css
var style string

var templates = template.Must(template.New("").ParseFS(files, "*.tmpl"))

// Look is what a sheet takes from the program around it.
type Look struct {
	Style string // shared by all pages of the program
	Lang  string // one of Languages
}

// Picture is a cut-out of a photo about a nail, as an attribute href="data:...",
// with the lines of the course in its pixels. The zero value is none.
type Picture struct {
	Href          template.HTMLAttr
	Width, Height int
	Band, Butt    string // paths, "" where they are not known
	X, Y, R       float64
}

// Pictures finds the picture of a case; the zero Picture when it is not to be had.
type Pictures func(Case) Picture

// Periods are the work that a sheet shows and what it is compared with: the
// work before, or, when Halved, two halves of the work itself. No comparison is
// made when Compared is false.
type Periods struct {
	Work             ledger.Work
	Compared, Halved bool
	Earlier, Later   ledger.Work
	Before           ledger.Span // of which nothing is there, when not Compared and not Halved
}

// base is what every sheet has.
type base struct {
	speaker
	Title, Crew, Policy string
	Style               template.CSS
}

func newBase(title string, crew string, l Look, s speaker) base {
	css := l.Style + style
	sum := sha256.Sum256([]byte(css))
	return base{
		speaker: s, Title: title, Crew: crew, Style: template.CSS(css),
		Policy: "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'",
	}
}

// Say gives the templates their words.
func (b base) Say(key string, args ...any) string { return b.say(key, args...) }

// Lang is the language for the document's root.
func (b base) Lang() string { return b.lang }

// document is a crew's sheet as the template takes it.
type document struct {
	base
	Period             string
	Facts              []fact
	Lead               []string
	Pieces             []*plot
	Estimated          bool
	Target, Joint      *plot
	Placements         []placementRow
	Rules              []ruleRow
	Drive              []fact
	Chart              *plot
	Verdict, Change    string
	VerdictClass, Note string
	Habits             []habitBlock
}

type fact struct{ Name, Value string }

type placementRow struct{ Name, N, Bias, Interval, Spread, SpreadInterval, Measured, Measurement string }

type ruleRow struct{ Rule, Of, Bad, Judged, Share, Interval, Open string }

type habitBlock struct {
	N                  int
	Title, Do, Figures string
	Bad                []shown
	Good               *shown
}

type shown struct {
	Picture
	Alt, Where, Length string
	Sign               string // what stands about the nail, as a shape
}

// Write writes the sheet of one crew.
func Write(w io.Writer, p Periods, pictures Pictures, l Look) error {
	return write(w, p, pictures, l, newSpeaker(l.Lang))
}

func write(w io.Writer, p Periods, pictures Pictures, l Look, s speaker) error {
	st := newStudy(p.Work)
	d := document{base: newBase(s.say("Nailing of %s", p.Work.Crew), p.Work.Crew, l, s)}
	dated := p.Work.Dated().Photos
	if n := len(dated); n > 0 {
		d.Period = s.say("From %s to %s.", dated[0].Day, dated[n-1].Day)
	}
	d.lead(st)
	if n := len(p.Work.Photos) - len(dated); n > 0 {
		d.Lead = append(d.Lead, s.say("Photos without a date: %s. They count here, but in no change over time.", s.count(n)))
	}
	if n := p.Work.LeftOut; n > 0 {
		d.Lead = append(d.Lead, s.say("Photos without a date: %s. They are left out, since nobody knows whether they are of these days.", s.count(n)))
	}
	for i := range st.frames {
		f := &st.frames[i]
		on := slices.DeleteFunc(slices.Clone(st.points), func(q point) bool { return q.frame != f || math.IsNaN(q.x) })
		if q := s.piecePlot(fmt.Sprintf("piece-%d", i), f, on); q != nil && len(on) > 0 {
			d.Pieces = append(d.Pieces, q)
			d.Estimated = d.Estimated || f.estimated
		}
	}
	d.Target, d.Joint = s.targetPlot("aim", st), s.jointPlot("joint", st)
	d.tables(st)
	d.Chart = s.chartPlot("chart", p.Work)
	d.change(p)
	for i, h := range newHabits(p.Work) {
		if i == 3 {
			break
		}
		d.Habits = append(d.Habits, s.block(i+1, h, pictures))
	}
	return escape.Execute(w, templates, "sheet.html.tmpl", d)
}

// key is one line of the legend.
type key struct{ Class, D, Text string }

// Legend explains the marks of the plots.
func (b base) Legend() []key {
	return []key{
		{"dots bad", "M0 0" + mark(bad, 1), b.say("diamond: bad")},
		{"dots open", "M0 0" + mark(open, 1), b.say("square: cannot be told")},
		{"dots good", "M0 0" + mark(good, 1), b.say("circle: good")},
		{"dots unknown", "M0 0" + mark(unknown, 1), b.say("triangle: not judged")},
		{"line aim", "M0 0" + aimMark(11), b.say("cross in a ring: aim point")},
		{"line ellipse", "M-11 0a11 6 0 1 0 22 0a11 6 0 1 0 -22 0", b.say("ring: 95 of 100 nails")},
		{"band", "M-12 -7h24v14h-24z", b.say("shaded: nailing band")},
		{"line joint", "M0 -11v22", b.say("line: joint of the course below")},
	}
}

// lead is what the sheet says first.
func (d *document) lead(st Study) {
	s := d.speaker
	d.Facts = []fact{
		{s.say("photos"), s.count(st.Photos)}, {s.say("days"), s.count(st.Days)},
		{s.say("nails"), s.count(st.Heads.Judged() + st.Heads.Open)}, {s.say("bad"), s.count(st.Heads.Bad)}, {s.say("cannot be told"), s.count(st.Heads.Open)},
	}
	if st.Heads.Judged() > 0 {
		i := st.Heads.Interval()
		d.Lead = append(d.Lead, s.say("%s of the nails that could be judged are bad (%s to %s).", s.percent(st.Heads.Share()), s.percent(i.Low), s.percent(i.High)))
	} else {
		d.Lead = append(d.Lead, s.say("No nail could be judged."))
	}
	if st.Pieces > 0 {
		d.Lead = append(d.Lead, s.say("Nails that full pieces lack: %s in %s checked (%s a piece).", s.count(st.Lacking), s.count(st.Pieces), fmt.Sprintf("%.2f", float64(st.Lacking)/float64(st.Pieces))))
	}
	if st.Refused > 0 {
		d.Lead = append(d.Lead, s.say("%s of the photos could not be measured.", s.count(st.Refused)))
	}
	if st.SeenByPeople > 0 {
		d.Lead = append(d.Lead, s.say("Nails that people saw and the measurement did not find: %s.", s.count(st.SeenByPeople)))
	}
}

// driveOrder is the order of the classes in the table.
var driveOrder = []string{"flush", "overdriven", "underdriven", "cocked", "unclear"}

func (d *document) tables(st Study) {
	s := d.speaker
	for _, p := range []struct {
		name string
		of   Placement
	}{{"height", st.Height}, {"along the course, to the right", st.Along}} {
		if p.of.N > 1 {
			d.Placements = append(d.Placements, s.placement(s.named(p.name), p.of))
		}
	}
	for _, r := range st.Rules {
		row := ruleRow{Rule: s.named(r.Rule), Of: s.say(r.Of), Bad: s.count(r.Bad), Judged: s.count(r.Judged()), Open: s.count(r.Open)}
		if r.Judged() > 0 {
			i := r.Interval()
			row.Share, row.Interval = s.percent(r.Share()), s.say("%s to %s", s.percent(i.Low), s.percent(i.High))
		}
		d.Rules = append(d.Rules, row)
	}
	for _, c := range append(slices.Clone(driveOrder), slices.Sorted(maps.Keys(st.Drive))...) {
		if n := st.Drive[c]; n > 0 && !slices.ContainsFunc(d.Drive, func(f fact) bool { return f.Name == s.named(c) }) {
			d.Drive = append(d.Drive, fact{s.named(c), s.count(n)})
		}
	}
}

// named says a word of the inspection; one that is not known stays as it is.
func (s speaker) named(word string) string {
	if t, ok := judge.TextsOf(word); ok {
		word = t.Site.English
	}
	if !spoken[word] {
		return word
	}
	return s.say(word)
}

func (s speaker) placement(name string, p Placement) placementRow {
	row := placementRow{
		Name: name, N: s.count(p.N), Bias: s.signed(p.Bias), Interval: s.say("too few nails for an interval"),
		Spread: s.inches(p.Spread), Measured: s.inches(p.Measured), Measurement: s.inches(p.Measurement),
	}
	row.Bias = s.say("%s in", row.Bias)
	if p.u > 0 {
		row.Interval = s.say("%s to %s", s.signed(p.BiasLow), s.say("%s in", s.signed(p.BiasHigh)))
		row.SpreadInterval = s.say("%s to %s", s.inches(p.SpreadLow), s.inches(p.SpreadHigh))
	}
	if p.Spread == 0 {
		row.Spread = s.say("not more than the measurement's own")
	}
	return row
}

// change says whether the later time is better than the earlier one.
func (d *document) change(p Periods) {
	s := d.speaker
	if len(p.Work.Dated().Photos) == 0 {
		d.Note = s.say("No photo has a date, so there is nothing to compare.")
		return
	}
	if !p.Compared {
		d.Note = s.say("There are photos of one day only, so there is nothing to compare.")
		if !p.Halved {
			d.Note = s.say("There are no photos of the time before (%s to %s) to compare with.", p.Before.From, p.Before.To)
		}
		return
	}
	before, after := newStudy(p.Earlier), newStudy(p.Later)
	c := newChange(before.Heads, after.Heads)
	if before.Heads.Judged() == 0 || after.Heads.Judged() == 0 {
		d.Verdict, d.VerdictClass = s.say("Too few nails to tell"), "open"
		return
	}
	d.Verdict = s.say(map[string]string{improved: "Improved", worse: "Got worse", cantTell: "Too few nails to tell"}[c.Verdict()])
	d.VerdictClass = map[string]string{improved: "yes", worse: "no", cantTell: "open"}[c.Verdict()]
	a, b := s.say("the time before"), s.say("this period")
	if p.Halved {
		a, b = s.say("the first half"), s.say("the second half")
	}
	e, l := p.Earlier.Photos, p.Later.Photos
	d.Change = s.say("From %s (%s to %s) to %s (%s to %s) the share of bad nails went from %s to %s: a change of %s percentage points, 95 %% interval %s to %s.",
		a, e[0].Day, e[len(e)-1].Day, b, l[0].Day, l[len(l)-1].Day,
		s.percent(c.Before.Share()), s.percent(c.After.Share()), s.points(c.D), s.points(c.Interval.Low), s.points(c.Interval.High))
	if shift, low, high, ok := Shift(before.Height, after.Height); ok {
		d.Change += " " + s.say("The average height changed by %s (%s to %s).", s.say("%s in", s.signed(shift)), s.signed(low), s.say("%s in", s.signed(high)))
	}
}

// block is one habit with its pictures.
func (s speaker) block(n int, h Habit, pictures Pictures) habitBlock {
	i, w := h.Interval(), habitWords[h.Key]
	b := habitBlock{
		N: n, Title: s.say(w.title), Do: s.say(w.do),
		Figures: s.say("%s of %s (%s; %s to %s)", s.count(h.Bad), s.count(h.Judged()), s.percent(h.Share()), s.percent(i.Low), s.percent(i.High)),
	}
	for _, c := range h.Shown {
		b.Bad = append(b.Bad, s.shown(c, pictures, bad))
	}
	if h.Good != nil {
		g := s.shown(*h.Good, pictures, good)
		g.Length = ""
		b.Good = &g
	}
	return b
}

func (s speaker) shown(c Case, pictures Pictures, stands status) shown {
	out := shown{Picture: pictures(c)}
	out.Sign = sign.Path(verdicts[stands], out.R)
	if c.Head >= 0 {
		out.Where, out.Alt = s.say("%s, nail %s", c.Photo.File, s.count(c.Head)), s.say("photo of nail %s", s.count(c.Head))
	} else {
		out.Where, out.Alt = s.say("%s, piece %s", c.Photo.File, s.count(c.Piece)), s.say("photo of piece %s", s.count(c.Piece))
	}
	if !math.IsNaN(c.Off) && c.Limit > 0 {
		out.Length = s.say("%s; the limit is %s", s.tape(c.Off), s.tape(c.Limit))
	}
	return out
}
