package trial

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coursegauge/vision/length"
)

// Taped is what a person typed for one length.
type Taped struct {
	Value      length.MM
	Graduation length.MM // the finest mark that the writing needs: 1/16 in of "5-3/16 in"
	Metric     bool
}

// The words that stand for no length.
const (
	notTaped = "-"       // cannot be reached, or nothing to hold against it
	noHead   = "no head" // what the photo took for a head is none
)

// state of one cell of the sheet.
type state int

const (
	blank state = iota
	skipped
	wrong // no head there
	taped
)

// readCell takes a cell: blank, "-", "no head" or a length with its unit.
func readCell(text string) (Taped, state, error) {
	text = strings.TrimSpace(text)
	switch strings.ToLower(text) {
	case "":
		return Taped{}, blank, nil
	case notTaped, "–", "—": // spreadsheets make dashes of hyphens
		return Taped{}, skipped, nil
	case noHead:
		return Taped{}, wrong, nil
	}
	v, err := length.Parse(text)
	if err != nil {
		return Taped{}, taped, err
	}
	step, unit := graduation(text)
	return Taped{v, step * unit, unit != length.Inch && unit != 12*length.Inch}, taped, nil
}

// graduation is the step, in units, that a length's writing shows, and the
// unit: 1/16 and an inch for "5-3/16 in", 0.1 and a centimetre for "12.3 cm".
// The text has passed length.Parse.
func graduation(text string) (step, unit length.MM) {
	number := strings.TrimRight(text, `abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"'`)
	if size, err := length.Parse("1 " + text[len(number):]); err == nil {
		unit = size
	}
	number = strings.TrimSpace(number)
	if _, under, fraction := strings.Cut(number, "/"); fraction {
		if d, err := strconv.ParseFloat(under, 64); err == nil && d > 0 {
			return length.MM(1 / d), unit
		}
	}
	_, digits, _ := strings.Cut(number, ".")
	return length.MM(math.Pow10(-len(digits))), unit
}

// Tape is the tape that a trial was read with.
type Tape struct {
	Graduation length.MM // what is read to
	Said       bool      // given by the person, not taken from what was typed
}

// The coarsest graduations that are taken from typed lengths alone: a coarser
// tape would excuse the photos, so a person must say that it was.
const (
	coarsestInch   = length.Inch / 16
	coarsestMetric = length.MM(1)
)

// tapeOf is the tape that typed lengths show: the finest graduation of any.
func tapeOf(typed []Taped) Tape {
	var t Tape
	for _, v := range typed {
		coarsest := coarsestInch
		if v.Metric {
			coarsest = coarsestMetric
		}
		if g := min(v.Graduation, coarsest); t.Graduation == 0 || g < t.Graduation {
			t.Graduation = g
		}
	}
	return t
}

// U is the standard uncertainty of a reading to the nearest mark: a
// rectangular distribution, graduation / sqrt(12) (JCGM 100:2008, F.2.2.1).
// How the tape was held is not in it.
func (t Tape) U() length.MM { return t.Graduation / length.MM(math.Sqrt(12)) }

// String is "1/16 in" or "1 mm".
func (t Tape) String() string { return mark(t.Graduation) }

// mark writes a graduation as a tape has it.
func mark(g length.MM) string {
	for d := 2; d <= 64; d *= 2 {
		if math.Abs(float64(g-length.Inch/length.MM(d))) < 1e-6 {
			return fmt.Sprintf("1/%d in", d)
		}
	}
	if in := float64(g / length.Inch); math.Abs(in-math.Pow10(int(math.Round(math.Log10(in))))) < 1e-9 {
		return strconv.FormatFloat(in, 'g', 3, 64) + " in"
	}
	return strconv.FormatFloat(float64(g), 'g', 3, 64) + " mm"
}
