package page

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
	"coursegauge/report/sign"
	"coursegauge/vision/length"
)

//go:embed *.tmpl
var files embed.FS

//go:embed page.css
var style string

//go:embed page.js
var script string

var templates = template.Must(template.New("").Funcs(template.FuncMap{
	"sign":     func(verdict string) string { return sign.Path(verdict, 5.5) }, // in a box of 20 by 20
	"signName": sign.Name,
}).ParseFS(files, "*.tmpl"))

// Style is the look of the report, for the other pages of the program.
func Style() string { return style }

// policy allows this style, this script, pictures inside the file, and talk
// with the server that the page came from; nothing else: no network, no form.
func policy() string {
	return "default-src 'none'; img-src data:; style-src " + hashed(style) + "; script-src " + hashed(script) +
		"; connect-src 'self'; base-uri 'none'; form-action 'none'"
}

func hashed(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// cautions are what every report says before any figure.
func cautions() []string {
	return []string{
		"Follow the instructions printed on the shingle's wrapper and the local building code. Where they differ from the schedule below, they win.",
		"This report tells where heads were measured, and how well. It does not tell that a roof meets a code or that a warranty applies.",
		"Only what the photos show was judged. What is hidden, cut off or blurred was not.",
		"Unresolved means that the measurement cannot tell: look, or use a tape.",
		"Do not go on a roof for a photo unless you are trained, allowed and protected from falling (29 CFR 1926 subpart M, or your local rule). Stand still, frame first, and never walk while you look at a screen.",
		"Licensed practice and the building official decide.",
	}
}

// summary is the page around its sections.
type summary struct {
	Style        template.CSS
	Script       template.JS
	Policy       string
	Title        string
	PhotosAt     string
	Schedule     schedule.Schedule
	Limits       []limit
	Defaults     bool
	Practice     string
	Cautions     []string
	Doc          inspection.Document
	Made         string
	Facts        []pair
	Located      string
	Sample       []string
	Rules        []ruleRow
	Crews        []crewRow
	CrewScale    string
	Refused      []refusedRow
	RefusedWords string
	FewRefused   bool
	Entries      int
	EntriesWords string
	Chances      []pair
	Stopped      string // what is missing, "" when the run went to its end
	Product      string // that the photos look like another one; "" when they do not
	Nominal      string // about cards whose print was not measured, "" when all were
}

// limit is one line of the schedule.
type limit struct {
	Name, Value, Small string
	Default            bool
}

// item is a link to an entry.
type item struct{ Link, Name string }

type refusedRow struct{ Link, File, Why, Advice string }

func newSummary(doc inspection.Document, s schedule.Schedule, o Options, entries int) summary {
	title := s.Title
	if title == "" {
		title = "untitled job"
	}
	sum := summary{
		Style: template.CSS(style), Script: template.JS(script), Policy: policy(), Title: title, Schedule: s, PhotosAt: o.PhotosAt,
		Limits: limits(s), Defaults: len(s.Defaults) > 0, Practice: schedule.Practice,
		Cautions: cautions(), Doc: doc, Made: minute(doc.Made) + " UTC",
		Facts: facts(doc.Photos), Located: located(doc.Photos, o), Sample: sampleWords(doc.Totals, s, o.Squares),
		Rules: ruleRows(doc.Totals), Refused: refusedRows(doc.Photos), RefusedWords: reasons(doc.Totals.RefusedByReason),
		Entries: entries, EntriesWords: entriesWords(entries), Chances: chanceLegend(), Nominal: nominal(doc.Photos), Stopped: stopped(doc),
		Product: doc.Product().String(),
	}
	sum.Crews, sum.CrewScale = crewRows(doc.Photos)
	sum.FewRefused = len(sum.Refused) <= 4
	return sum
}

func entriesWords(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return grouped(n) + " entries"
}

// stopped says what is missing.
func stopped(doc inspection.Document) string {
	n := len(doc.NotDone)
	if n == 0 {
		return ""
	}
	const most = 10
	names := escape.Text(strings.Join(doc.NotDone[:min(n, most)], ", "))
	if n > most {
		names += fmt.Sprintf(" and %d more", n-most)
	}
	return fmt.Sprintf("Incomplete: the run was stopped before %s, and everything below is without %s. Not done: %s.",
		countOf(n, "photo"), map[bool]string{true: "it", false: "them"}[n == 1], names)
}

// nominal says how many measured photos rest on a card whose print nobody measured.
func nominal(photos []inspection.Photo) string {
	n, of := 0, 0
	for _, p := range photos {
		if p.Refusal != nil || p.Card == nil {
			continue
		}
		of++
		if p.Card.Size == "nominal" {
			n++
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("Card size nominal in %d of %s: the print was not measured, and the lengths are only as true as it is. Measure the long side of the board, 10 in, with a steel rule and give the card file to the next run.", n, countOf(of, "measured photo"))
}

func limits(s schedule.Schedule) (out []limit) {
	for _, l := range s.Limits() {
		row := limit{Name: l.Label, Default: l.Default}
		switch v := l.Value.(type) {
		case length.MM:
			row.Value, row.Small = length.Sixteenths(v), length.Inches(v)+", "+length.Millimetres(v)
		case float64:
			row.Value = percent(v)
		case schedule.NextCourse:
			row.Value = stagger(v)
		default:
			row.Value = fmt.Sprint(v)
		}
		out = append(out, row)
	}
	return out
}

func stagger(n schedule.NextCourse) string {
	switch {
	case n.Unknown:
		return "unknown"
	case n.Stagger.Observed:
		return "as seen in the photo"
	}
	return length.Inches(n.Stagger.Length)
}
