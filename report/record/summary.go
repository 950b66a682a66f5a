package record

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/proportion"
	"coursegauge/report/record/bag"
	"coursegauge/report/review"
	"coursegauge/report/schedule"
	"coursegauge/vision/length"
)

//go:embed summary.html.tmpl
var summarySource string

//go:embed summary.css
var summaryStyle string

var summaryPage = template.Must(template.New("summary").Parse(summarySource))

// How much stands on the two pages; the rest is counted, and lies in the record.
const (
	mostFindings = 8
	mostRefusals = 6
	mostNotes    = 5
	longestText  = 150
	longestTitle = 120
)

// SummaryOptions is what a person adds.
type SummaryOptions struct {
	Property string  // whose roof or where, "" when it is not to be told
	Squares  float64 // size of the roof in squares of 100 sq ft, 0 unknown
	Name     string  // of the record's file
}

type pair struct{ Name, Value string }

type ruleRow struct {
	Rule                                              string
	Suspect, Unresolved, Wrong, Sound, Unsure, Undone int
}

type findingRow struct{ Where, What, Settled string }

// summary is what the template shows.
type summary struct {
	Policy, Title, Property, Number string
	Style                           template.CSS
	Facts, Limits                   []pair
	Coverage                        []string
	Rules                           []ruleRow
	Findings                        []findingRow
	MoreFindings                    int
	Refused                         []pair
	MoreRefused                     int
	Accuracy                        []string
	Seals, LeftOut                  []string
	Cautions                        []string
	Name, TagManifest               string
}

// WriteSummary writes two pages for a warranty folder, as HTML to be printed, of a
// record that was checked: v is its verdict, without problems.
func WriteSummary(w io.Writer, src bag.Source, v Verdict, o SummaryOptions) error {
	data, err := bag.Read(src, bag.Payload+v.Contents.Settings.Schedule, maxContents)
	if err != nil {
		return err
	}
	sch, err := schedule.Read(v.Contents.Settings.Schedule, data)
	if err != nil {
		return err
	}
	if len(v.Problems) > 0 {
		return errors.New("something is wrong with the record")
	}
	style := summaryFonts() + summaryStyle
	sum := sha256.Sum256([]byte(style))
	s := summary{
		Policy: "default-src 'none'; font-src data:; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'",
		Style:  template.CSS(style), Title: cut(v.Contents.Title, longestTitle), Property: cut(o.Property, longestTitle), Number: v.Digest,
		Cautions: Cautions, Name: cut(o.Name, longestTitle), TagManifest: bag.TagManifestFile,
	}
	s.facts(v, sch)
	s.limits(sch)
	if n := len(v.Document.NotDone); n > 0 {
		s.Coverage = append(s.Coverage, fmt.Sprintf("Not complete: the run was stopped before %d photos, which are not in the record.", n))
	}
	if other := v.Document.Product().String(); other != "" {
		s.Coverage = append(s.Coverage, other)
	}
	s.coverage(v.Document.Totals, sch, o.Squares)
	s.rules(v)
	s.findings(v)
	s.refused(v.Document.Photos)
	s.accuracy(v)
	s.seals(v)
	return escape.Execute(w, summaryPage, summaryPage.Name(), s)
}

// summaryFonts puts the fonts into the page: it looks the same wherever and
// whenever it is printed.
func summaryFonts() string {
	face := func(weight string, data []byte) string {
		return "@font-face { font-family: \"Liberation Sans\"; font-weight: " + weight + "; src: url(\"data:font/ttf;base64," +
			base64.StdEncoding.EncodeToString(data) + "\") format(\"truetype\"); }\n"
	}
	return face("400", liberationsansregular.TTF) + face("700", liberationsansbold.TTF)
}

// cut keeps a text to one place on the page, with nothing in it that turns the letters
// around it or is not seen.
func cut(s string, most int) string {
	r := []rune(escape.Text(strings.Join(strings.Fields(s), " ")))
	if len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return string(r)
}

func (s *summary) facts(v Verdict, sch schedule.Schedule) {
	add := func(name, format string, args ...any) {
		s.Facts = append(s.Facts, pair{name, cut(fmt.Sprintf(format, args...), longestText)})
	}
	if from, to := TakenBetween(v.Document.Photos); from != "" {
		add("photos taken", "%s to %s, by the cameras' clocks", clock(from), clock(to))
	} else {
		add("photos taken", "the photos do not tell")
	}
	add("measured", "%s, coursegauge %s", clock(v.Document.Made), v.Document.Tool.Version)
	add("record made", "%s", clock(v.Contents.Made))
	if f := v.Contents.Follows; f != nil {
		add("adds to", "%s of %s", f.Name, clock(f.Made))
	}
	name := sch.Shingle.Name
	if name == "" {
		name = "not named"
	}
	add("product, as scheduled", "%s (%s)", name, sch.Shingle.Family)
	if sch.Source != "" {
		add("figures from", "%s", sch.Source)
	}
}

// clock is a time without what nobody reads.
func clock(rfc3339 string) string {
	if len(rfc3339) < 16 {
		return rfc3339
	}
	return rfc3339[:10] + " " + rfc3339[11:16]
}

func (s *summary) limits(sch schedule.Schedule) {
	add := func(key, name, format string, lengths ...any) {
		value := fmt.Sprintf(format, lengths...)
		if sch.IsDefault(key) {
			value += " (common practice, not from the product)"
		}
		s.Limits = append(s.Limits, pair{name, value})
	}
	in := length.Sixteenths
	add("", "piece, width and height", "%s by %s", in(sch.Shingle.Width), in(sch.Shingle.Height))
	add("", "exposure", "%s", in(sch.Shingle.Exposure))
	add("", "heads above the butt edge", "%s to %s", length.Inches(sch.Band.Low), length.Inches(sch.Band.High))
	add("", "heads in a full piece", "%d", sch.Fasteners.PerPiece)
	add("fasteners.head_diameter", "smallest head", "%s", in(sch.Fasteners.HeadDiameter))
	add("ends.min", "outermost heads to the ends", "%s to %s", in(sch.Ends.Min), in(sch.Ends.Max))
	add("joints.clearance", "heads to joints, at least", "%s", in(sch.Joints.Clearance))
	add("joints.offset", "joints of neighbouring courses, at least", "%s", in(sch.Joints.Offset))
}

func (s *summary) coverage(t inspection.Totals, sch schedule.Schedule, squares float64) {
	say := func(format string, args ...any) { s.Coverage = append(s.Coverage, fmt.Sprintf(format, args...)) }
	say("%d photos, %d measured, %d refused; %d fastener heads.", t.Photos, t.Measured, t.Refused, t.Fasteners)
	piece := float64(sch.Shingle.Exposure * sch.Shingle.Width / (length.Inch * length.Inch))
	if squares > 0 && piece > 0 {
		all := squares * 100 * 144 / piece * float64(sch.Fasteners.PerPiece)
		say("That is about %.1f %% of the heads that a roof of %g squares (100 sq ft each) of this product has.", math.Min(100, 100*float64(t.Fasteners)/all), squares)
	} else {
		say("Which share of the roof's heads that is, is not known: nobody told the size of the roof.")
	}
	k, n := t.Verdicts["suspect"], t.Fasteners
	switch {
	case n == 0:
		say("No head was measured, so nothing can be said of the roof.")
	case k == 0:
		say("None of %d was suspect: by 95 %% confidence under %.1f %% of heads like these (exact one-sided bound).", n, 100*proportion.NoneSeen(n))
	default:
		i := proportion.Wilson(k, n)
		say("%d of %d were suspect: by 95 %% confidence between %.1f and %.1f %% of heads like these (Wilson).", k, n, 100*i.Low, 100*i.High)
	}
	say("Photos of neighbouring pieces are no random sample; faults come in runs.")
}

// ruleWords says in plain words what a rule looks at.
func ruleWords(rule string) string {
	for _, r := range []pair{
		{"height", "height above the butt edge"}, {"end", "distance to the end of the piece"}, {"lower_joint", "distance to a joint below"},
		{"next_joint", "distance to a joint of the next course"}, {"gap", "spacing of the heads"}, {"count", "number of heads in a piece"},
		{"drive", "how the head is driven"}, {"head_size", "size of the head"}, {"exposed", "head left exposed"},
		{"offset", "offset of the joints"}, {"narrow", "width of the piece"},
	} {
		if r.Name == rule {
			return r.Value
		}
	}
	return cut(strings.ReplaceAll(rule, "_", " "), 40)
}

// marked calls back for everything that a rule found suspect or unresolved.
func marked(v Verdict, each func(p inspection.Photo, target, where, rule, result, text string)) {
	for _, p := range v.Document.Photos {
		for _, h := range p.Heads {
			for _, r := range h.Rules {
				if r.Result == "suspect" || r.Result == "unresolved" {
					each(p, review.HeadTarget(h.ID), fmt.Sprintf("head %d", h.ID), r.Rule, r.Result, r.Text)
				}
			}
		}
		targets := review.FindingTargets(p.Findings)
		for i, f := range p.Findings {
			if f.Result == "suspect" || f.Result == "unresolved" {
				each(p, targets[i], where(targets[i]), f.Rule, f.Result, f.Text)
			}
		}
	}
}

func (s *summary) rules(v Verdict) {
	rows := map[string]*ruleRow{}
	marked(v, func(p inspection.Photo, target, _, rule, result, _ string) {
		r := rows[rule]
		if r == nil {
			r = &ruleRow{Rule: ruleWords(rule)}
			rows[rule] = r
		}
		if result == "suspect" {
			r.Suspect++
		} else {
			r.Unresolved++
		}
		switch what, _ := v.Answers.Answer(p.SHA256, target); what {
		case review.Wrong:
			r.Wrong++
		case review.Sound, review.NoNail:
			r.Sound++
		case review.Unsure:
			r.Unsure++
		default:
			r.Undone++
		}
	})
	for _, rule := range slices.Sorted(maps.Keys(rows)) {
		s.Rules = append(s.Rules, *rows[rule])
	}
	slices.SortStableFunc(s.Rules, func(a, b ruleRow) int {
		return cmp.Or(b.Suspect-a.Suspect, b.Unresolved-a.Unresolved)
	})
}

// findings lists what people called wrong or disagree about, and what nobody
// decided though it is suspect: one row a head or a finding, with every limit that
// it breaks.
func (s *summary) findings(v Verdict) {
	var first, second []*findingRow
	rows := map[string]*findingRow{}
	marked(v, func(p inspection.Photo, target, at, _, result, text string) {
		reason, _, _ := strings.Cut(text, "; ") // what is usually done stands in the report
		if strings.Count(reason, "(") > strings.Count(reason, ")") {
			reason += ")"
		}
		if row := rows[p.SHA256+target]; row != nil {
			row.What = cut(row.What+"; "+reason, longestText)
			return
		}
		what, by := v.Answers.Answer(p.SHA256, target)
		row := &findingRow{Where: cut(p.File, 60) + ", " + at, What: cut(reason, longestText)}
		switch {
		case what == review.Wrong || what == review.Conflict:
			row.Settled = fmt.Sprintf("%s; %s, %s", words[what], cut(by.Who, 40), clock(by.When))
			if by.Note != "" {
				row.Settled += "; " + cut(by.Note, 80)
			}
			first = append(first, row)
		case what == "" && result == "suspect":
			row.Settled = "nobody decided"
			second = append(second, row)
		default:
			return
		}
		rows[p.SHA256+target] = row
	})
	all := append(first, second...)
	for _, row := range all[:min(len(all), mostFindings)] {
		s.Findings = append(s.Findings, *row)
	}
	s.MoreFindings = len(all) - len(s.Findings)
}

func (s *summary) refused(photos []inspection.Photo) {
	for _, p := range photos {
		if p.Refusal == nil {
			continue
		}
		if len(s.Refused) == mostRefusals {
			s.MoreRefused++
			continue
		}
		s.Refused = append(s.Refused, pair{cut(p.File, 60), cut(page.ReasonWords(p.Refusal.Reason), 60)})
	}
}

func (s *summary) accuracy(v Verdict) {
	say := func(format string, args ...any) { s.Accuracy = append(s.Accuracy, fmt.Sprintf(format, args...)) }
	if half, most := Uncertainty(v.Document.Photos); most > 0 {
		say("Height of a head above the butt edge: half of the heads are known to ±%.2f mm (±%.3f in) or better, nineteen in twenty to ±%.2f mm (±%.3f in) or better (U95, as the program estimates it for each head).",
			half, half/float64(length.Inch), most, most/float64(length.Inch))
	}
	proved, bare := 0, 0
	for _, p := range v.Document.Photos {
		switch {
		case p.Card == nil:
		case p.Card.Size == "proved":
			proved++
		default:
			bare++
		}
	}
	say("The printed card, which all lengths rest on, was measured with a steel rule for %d of the photos; for %d it counts as printed true to size, give or take 0.4 %%.", proved, bare)
}

func (s *summary) seals(v Verdict) {
	say := func(format string, args ...any) {
		s.Seals = append(s.Seals, cut(fmt.Sprintf(format, args...), 2*longestText))
	}
	if v.Signed != "" {
		say("Signed with %s.", v.Signed)
	} else {
		say("Not signed.")
	}
	if v.Stamp != nil {
		trusted := "whether it is to be trusted was not looked at"
		if v.Stamp.Trusted {
			trusted = "trusted when this page was made"
		}
		say("Time stamp of %s by %s, %s.", v.Stamp.Time.Format("2006-01-02 15:04 UTC"), v.Stamp.Authority, trusted)
	} else {
		say("No time stamp.")
	}
	for _, what := range v.Contents.LeftOut {
		if len(s.LeftOut) < mostNotes {
			s.LeftOut = append(s.LeftOut, cut(what, 2*longestText))
		}
	}
}

// Summary is WriteSummary into memory.
func Summary(src bag.Source, v Verdict, o SummaryOptions) ([]byte, error) {
	var b bytes.Buffer
	err := WriteSummary(&b, src, v, o)
	return b.Bytes(), err
}
