package trial

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/vision/length"
)

//go:embed *.tmpl
var files embed.FS

//go:embed trial.css
var style string

var templates = template.Must(template.New("").ParseFS(files, "*.tmpl"))

// Look is what a page takes from the program around it.
type Look struct {
	Style    string // shared by all pages of the program
	Made     string // when and by what
	Cautions []string
}

// base is what every page of a trial has.
type base struct {
	Title, Made, Policy string
	Style               template.CSS
	Cautions            []string
}

// newBase allows the page its own style and the pictures inside it, nothing else.
func newBase(title string, l Look) base {
	css := l.Style + style
	sum := sha256.Sum256([]byte(css))
	return base{
		Title: title, Made: l.Made, Style: template.CSS(css), Cautions: l.Cautions,
		Policy: "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'",
	}
}

// Picture is a photo of the sheet: its file, its full size in pixels, and
// itself as an attribute src="data:...".
type Picture struct {
	File          string
	Width, Height int
	Src           template.HTMLAttr
	Along         [2]float64 // direction of the courses in the picture, left to right, of length 1
}

// sheetPage is the printable sheet.
type sheetPage struct {
	base
	Rows   int
	Photos []sheetPhoto
}

type sheetPhoto struct {
	Picture
	ViewBox, Type string
	Marks         []sheetMark
	Rows          []sheetRow
}

type sheetMark struct {
	No                    int
	X, Y, R, TextX, TextY string
	Tail                  string // path from the ring towards the end, "" without one
}

type sheetRow struct {
	No                         int
	AboveButt, End, LowerJoint string // what stands there already, or "-"
	Side, Name                 string
}

// WriteSheetPage writes the sheet for printing: each photo with its heads
// numbered, and boxes for the tape's figures. It shows nothing that the photo
// measured, so that the tape is read without knowing.
func WriteSheetPage(w io.Writer, rows []Row, pictures []Picture, l Look) error {
	p := sheetPage{base: newBase("Tape sheet", l), Rows: len(rows)}
	for _, pic := range pictures {
		s := sheetPhoto{Picture: pic, ViewBox: fmt.Sprintf("0 0 %d %d", pic.Width, pic.Height), Type: num(float64(pic.Width) / 45)}
		r := float64(pic.Width) / 110
		for _, row := range rows {
			if row.Photo != pic.File {
				continue
			}
			s.Marks = append(s.Marks, newSheetMark(row, pic.Along, r))
			s.Rows = append(s.Rows, sheetRow{row.No, row.Typed[AboveButt], row.Typed[End], row.Typed[LowerJoint], string(row.Side), row.Name})
		}
		if len(s.Rows) > 0 {
			p.Photos = append(p.Photos, s)
		}
	}
	return escape.Execute(w, templates, "sheet.html.tmpl", p)
}

// newSheetMark is a ring of radius r about a head; its tail points to the end
// that is taped to, its number stands away from the tail.
func newSheetMark(row Row, along [2]float64, r float64) sheetMark {
	x, y := row.X+.5, row.Y+.5
	m := sheetMark{No: row.No, X: num(x), Y: num(y), R: num(r), TextX: num(x + 1.25*r), TextY: num(y - .8*r)}
	if row.Side == "" || row.Typed[End] == notTaped {
		return m
	}
	if row.Side == Left {
		along = [2]float64{-along[0], -along[1]}
	}
	if along[0] > .3 && along[1] < .3 { // the number's usual place
		m.TextX = num(x - 2.6*r)
	}
	m.Tail = fmt.Sprintf("M%s %sL%s %s", num(x+r*along[0]), num(y+r*along[1]), num(x+3*r*along[0]), num(y+3*r*along[1]))
	return m
}

// judgementPage is the result.
type judgementPage struct {
	base
	Sentence    string
	Judgement   *Judgement
	Kinds       []kindSection
	NoHead      string
	Lost        string
	Repeats     *Repeats
	Studies     []studyRow
	RepeatLead  []string
	TapeU, Tape string
}

type kindSection struct {
	Kind, Trust, Why string
	Plot             *plot
	Facts            []fact
	Pairs            []pairRow
}

type fact struct{ Name, Value, Note string }

type pairRow struct {
	No, Head                    int
	File, Photo, Tape, Off, Out string
}

type studyRow struct {
	Kind, Design, Repeatability, CI, Reproducibility, Both, Limit string
	Share                                                         string
	Categories                                                    int
}

// WriteJudgementPage writes the result of a trial; j is nil when no tape was
// used, r when no photos were compared with each other.
func WriteJudgementPage(w io.Writer, j *Judgement, r *Repeats, l Look) error {
	p := judgementPage{base: newBase("Trial of photo against tape", l), Judgement: j, Repeats: r}
	if j != nil {
		p.Sentence, p.Tape, p.TapeU = j.Sentence(), j.Tape.String(), inches(float64(j.Tape.U()))
		p.NoHead, p.Lost = rowList(j.NoHead), rowList(j.Lost)
		for _, c := range j.Comparisons {
			p.Kinds = append(p.Kinds, newKind(c, j.Tape))
		}
	} else {
		p.Title = "Trial of photos against each other"
	}
	if r != nil {
		for _, s := range r.Studies {
			p.RepeatLead = append(p.RepeatLead, s.sentence(r.By))
			p.Studies = append(p.Studies, newStudy(s, r.By))
		}
	}
	return escape.Execute(w, templates, "judgement.html.tmpl", p)
}

func rowList(rows []Row) string {
	var s []string
	for _, r := range rows {
		s = append(s, fmt.Sprintf("no %d (%s)", r.No, r.Photo))
	}
	return joined(s)
}

func newKind(c Comparison, tape Tape) kindSection {
	k := kindSection{Kind: capital(c.Kind.Words()), Trust: string(c.Trust), Why: c.Why}
	if c.N >= 2 {
		p := newPlot(c, tape)
		k.Plot = &p
		k.Facts = c.facts(tape)
	}
	for _, q := range c.Pairs {
		row := pairRow{No: q.Row, Head: q.Head, File: q.File, Photo: q.Photo.String(), Tape: length.Sixteenths(q.Tape), Off: signed(float64(q.Off()))}
		if tape.Graduation < length.Inch/16-1e-9 {
			row.Tape = length.Inches(q.Tape)
		}
		if math.Abs(float64(q.Off())) > q.bound(tape) {
			row.Out = "outside"
		}
		k.Pairs = append(k.Pairs, row)
	}
	slices.SortStableFunc(k.Pairs, func(a, b pairRow) int { return a.No - b.No })
	return k
}

func (c Comparison) facts(tape Tape) []fact {
	ci := func(i Interval) string { return signed(i.Low) + " to " + signed(i.High) }
	share := func(k, n int, i Interval) string {
		if n == 0 {
			return "none"
		}
		return fmt.Sprintf("%d of %d (%.0f %%; 95 %% interval %.0f to %.0f %%)", k, n, 100*float64(k)/float64(n), 100*i.Low, 100*i.High)
	}
	pairs := fmt.Sprintf("%d, in %s", c.N, count(c.Photos, "photo", "photos"))
	note := "taken as independent of each other"
	if c.Effective < float64(c.N)-.5 {
		note = fmt.Sprintf("heads of one photo err alike, so the intervals are those of %.0f", c.Effective)
	}
	left := ""
	if c.Unresolved > 0 {
		left = fmt.Sprintf("%d more are unresolved by the photo", c.Unresolved)
	}
	if c.TapeOpen > 0 {
		left = strings.TrimPrefix(left+fmt.Sprintf("; %d more lie nearer to the limit than the tape can tell", c.TapeOpen), "; ")
	}
	return []fact{
		{"heads taped", pairs, note},
		{"bias (mean of photo less tape)", signed(c.Bias), "95 % interval " + ci(c.BiasCI)},
		{"standard deviation", inches(c.SD), fmt.Sprintf("%s without the tape's own share", inches(c.Own))},
		{"lower limit of agreement", signed(c.Lower), "95 % interval " + ci(c.LowerCI)},
		{"upper limit of agreement", signed(c.Upper), "95 % interval " + ci(c.UpperCI)},
		{"limits without the tape's share", signed(c.OwnLower) + " to " + signed(c.OwnUpper), "these count for 1/16 in"},
		{"within the stated U95", share(c.Within, c.N, c.Coverage()), "the U95 widened by the tape's, which is " + inches(float64(length.K95*tape.U())) + "; 95 % are expected"},
		{"verdicts that the tape confirms", share(c.Confirmed, c.Judged, c.ConfirmedCI()), left},
	}
}

func newStudy(s RepeatStudy, by string) studyRow {
	r := studyRow{
		Kind: capital(s.Kind.Words()), Repeatability: inches(s.Repeatability),
		CI:    inches(s.RepeatabilityCI.Low) + " to " + inches(s.RepeatabilityCI.High),
		Limit: inches(s.Limit()), Both: inches(s.Both), Categories: s.Categories,
		Share: fmt.Sprintf("%.0f %%", 100*s.Both/max(s.Total, 1e-9)), Reproducibility: "one only",
	}
	r.Design = fmt.Sprintf("%s, %s", count(s.Parts, "head", "heads"), count(s.Trials, "photo", "photos"))
	if by != "" {
		r.Design = fmt.Sprintf("%s, %d %s, %s each", count(s.Parts, "head", "heads"), s.Operators, by, count(s.Trials, "photo", "photos"))
		r.Reproducibility = inches(s.Reproducibility)
	}
	return r
}

// Sentences tells the studies in words.
func (r Repeats) Sentences() (out []string) {
	for _, s := range r.Studies {
		out = append(out, s.sentence(r.By))
	}
	return out
}

func (s RepeatStudy) sentence(by string) string {
	text := fmt.Sprintf("%s: two photos of one head differ by less than %s, 19 times in 20", capital(s.Kind.Words()), inches(s.Limit()))
	if by != "" {
		text += fmt.Sprintf("; between %s the spread is %s (k = 1)", by, inches(s.Reproducibility))
	}
	return text + "."
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
