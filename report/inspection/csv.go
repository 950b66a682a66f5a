package inspection

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/vision/length"
)

// csvLengths are the measured columns, each written four times: value and
// U95 in inches and in millimetres.
var csvLengths = []struct {
	name string
	of   func(Fastener) *Length
}{
	{"above_butt", func(f Fastener) *Length { return f.AboveButt }},
	{"left_end", func(f Fastener) *Length { return f.LeftEnd }},
	{"right_end", func(f Fastener) *Length { return f.RightEnd }},
	{"end", func(f Fastener) *Length { return f.End }},
	{"lower_joint", func(f Fastener) *Length { return f.LowerJoint }},
	{"next_joint", func(f Fastener) *Length { return f.NextJoint }},
	{"head_diameter", func(f Fastener) *Length { return f.HeadDiameter }},
}

// Decided is what people decided about a head, all "" while they did not; Px is
// the place of one that was not found.
type Decided struct {
	Answer, Who, When, Note string
	Px                      XY
}

// Decider knows what people decided. Missed are the heads of a photo that
// people saw and the measurement did not.
type Decider interface {
	Head(p Photo, id int) Decided
	Missed(p Photo) []Decided
}

// EncodeCSV writes one row a fastener, in the form of escape.CSV: no text of a
// photo or a person begins a formula.
func EncodeCSV(w io.Writer, d Document) error { return EncodeCSVDecided(w, d, undecided{}) }

type undecided struct{}

func (undecided) Head(Photo, int) Decided { return Decided{} }
func (undecided) Missed(Photo) []Decided  { return nil }

// EncodeCSVDecided writes the same with what people decided, and a row for each
// head that only people saw: its verdict is "missed", its lengths are empty.
func EncodeCSVDecided(w io.Writer, d Document, by Decider) error {
	c := escape.NewCSV(w, csvHeader())
	for _, p := range d.Photos {
		for _, f := range p.Heads {
			c.Row(append(csvRow(p, f), csvDecided(by.Head(p, f.ID))...)...)
		}
		for _, m := range by.Missed(p) {
			c.Row(csvMissed(p, m)...)
		}
	}
	return c.Flush()
}

// WriteCSVDecided puts the fasteners with what people decided at path, whole
// or not at all.
func WriteCSVDecided(path string, d Document, by Decider) error {
	return writeFile(path, func(w io.Writer) error { return EncodeCSVDecided(w, d, by) })
}

func csvHeader() []string {
	h := []string{"file", "taken", "device", "crew", "fastener", "verdict", "suspect_rules", "unresolved_rules"}
	for _, l := range csvLengths {
		h = append(h, l.name+"_in", l.name+"_u95_in", l.name+"_mm", l.name+"_u95_mm")
	}
	return append(h, "drive", "piece", "exposed", "score", "x_px", "y_px", "card", "tilt_deg", "text",
		"decision", "decided_by", "decided_at", "note")
}

func csvDecided(d Decided) []string {
	return []string{escape.Text(d.Answer), escape.Text(d.Who), escape.Text(d.When), lines(d.Note)}
}

// lines is a text whose ends of lines stay; a person wrote them.
func lines(s string) string {
	out := slices.Collect(strings.SplitSeq(s, "\n"))
	for i, line := range out {
		out[i] = escape.Text(strings.TrimSuffix(line, "\r"))
	}
	return strings.Join(out, "\n")
}

// csvMissed is a row of which little is known.
func csvMissed(p Photo, m Decided) []string {
	row := make([]string, len(csvHeader()))
	for i, name := range csvHeader() {
		switch name {
		case "file":
			row[i] = p.Shown()
		case "taken":
			row[i] = escape.Text(p.Taken)
		case "device":
			row[i] = escape.Text(p.Device)
		case "crew":
			row[i] = escape.Text(p.Crew)
		case "verdict":
			row[i] = "missed"
		case "x_px":
			row[i] = decimal(m.Px[0], 2)
		case "y_px":
			row[i] = decimal(m.Px[1], 2)
		}
	}
	return append(row[:len(row)-4], csvDecided(m)...)
}

func csvRow(p Photo, f Fastener) []string {
	suspect, unresolved, text := rulesBy(f, "suspect"), rulesBy(f, "unresolved"), []string{}
	for _, r := range f.Rules {
		if r.Result == "suspect" || r.Result == "unresolved" {
			text = append(text, r.Text)
		}
	}
	row := []string{
		p.Shown(), escape.Text(p.Taken), escape.Text(p.Device), escape.Text(p.Crew), strconv.Itoa(f.ID), escape.Text(f.Verdict),
		escape.Text(strings.Join(suspect, " ")), escape.Text(strings.Join(unresolved, " ")),
	}
	for _, l := range csvLengths {
		row = append(row, csvLength(l.of(f))...)
	}
	piece, number, tilt := "", "", ""
	if f.Piece != nil {
		piece = strconv.Itoa(*f.Piece)
	}
	if p.Card != nil {
		number = strconv.Itoa(p.Card.Number)
	}
	if p.Tilt != nil {
		tilt = decimal(*p.Tilt, 1)
	}
	return append(row, escape.Text(f.Drive.Class), piece, strconv.FormatBool(f.Exposed), decimal(f.Score, 4),
		decimal(f.Px[0], 2), decimal(f.Px[1], 2), number, tilt, lines(strings.Join(text, " ")))
}

func csvLength(l *Length) []string {
	if l == nil {
		return make([]string, 4)
	}
	u95 := length.K95 * l.U
	in := float64(length.Inch)
	return []string{decimal(l.MM/in, 3), decimal(u95/in, 3), decimal(l.MM, 2), decimal(u95, 2)}
}

func rulesBy(f Fastener, result string) (names []string) {
	for _, r := range f.Rules {
		if r.Result == result {
			names = append(names, r.Rule)
		}
	}
	return names
}

func decimal(v float64, n int) string { return strconv.FormatFloat(v, 'f', n, 64) }
