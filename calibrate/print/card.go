// Package print keeps what was measured of printed cards: the card file.
//
// In: what a person read from a steel rule. Out: printed over nominal size with
// its standard uncertainty, as the measurement of photos takes it. Lengths are
// millimetres.
package print

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	"coursegauge/vision"
	"coursegauge/vision/card"
	"coursegauge/vision/length"
)

// Size is a length as it was read.
type Size struct {
	Read string    `json:"read"` // as the person wrote it
	MM   length.MM `json:"mm"`
	U    length.MM `json:"u"` // standard uncertainty (k = 1)
}

// Card is one proved card.
type Card struct {
	Number     int       `json:"number"`
	Long       Size      `json:"long"`            // side of the board, 10 squares
	Short      *Size     `json:"short,omitempty"` // 7 squares
	Thickness  *Size     `json:"thickness,omitempty"`
	Resolution length.MM `json:"resolution_mm"` // to which the sides were read
}

// Reading is what a person read from a rule, as text with units; Short,
// Thickness and Resolution may be "".
type Reading struct {
	Number                             int
	Long, Short, Thickness, Resolution string
}

const (
	// finest is the narrowest division of a usual steel rule that is believed
	// without being told another: 1/64 in.
	finest = length.Inch / 64
	// coarsest is a resolution with which a proof is worth less than none.
	coarsest = 2 * length.MM(1)
	// ruleU is what a steel rule errs by over 10 in: class II of the European
	// directive on measuring instruments allows 0.3 mm + 0.2 mm/m, uniform (from
	// memory). wetU is what paper swells with damp (common practice, no source).
	ruleU = .35 / 1.7320508
	wetU  = .1
	// thickest is the thickest card that lies flat enough.
	thickest = 30
)

// Nominal sides of the board.
var (
	nominalLong  = length.MM(float64(card.Standard.Cols) * card.Standard.SquareMM)
	nominalShort = length.MM(float64(card.Standard.Rows) * card.Standard.SquareMM)
)

// New makes a card of what was read. The error is one line that says what
// would be taken; a print that cannot be measured with is not an error here,
// see Wrong.
func New(r Reading) (Card, error) {
	c := Card{Number: r.Number}
	if r.Number < 0 || r.Number > card.Standard.MaxNumber {
		return c, fmt.Errorf("card number %d: 0 to %d are legal", r.Number, card.Standard.MaxNumber)
	}
	var err error
	if r.Resolution != "" {
		if c.Resolution, err = length.Parse(r.Resolution); err != nil {
			return c, err
		}
	}
	if c.Long, err = c.side(r.Long, nominalLong); err != nil {
		return c, err
	}
	if r.Short != "" {
		s, err := c.side(r.Short, nominalShort)
		if err != nil {
			return c, err
		}
		c.Short = &s
	}
	if r.Thickness != "" {
		t, err := thickness(r.Thickness)
		if err != nil {
			return c, err
		}
		c.Thickness = &t
	}
	return c, nil
}

// side reads one side of the board. Both ends are read, each to within half
// the resolution (GUM 4.3.7: uniform), so the difference has resolution/√6.
func (c *Card) side(text string, nominal length.MM) (Size, error) {
	v, err := length.Parse(text)
	if err != nil {
		return Size{}, err
	}
	if v < nominal/2 || v > 2*nominal {
		return Size{}, fmt.Errorf("length %q: the side of the board is %s nominally; check the number, the unit and the side", text, both(nominal))
	}
	res := c.Resolution
	if res == 0 {
		res = max(finest, step(text))
	}
	if res > coarsest && math.Abs(float64(v/nominal)-1) < .03 { // farther off is refused for that
		return Size{}, fmt.Errorf("length %q: read to %s only, and %s or finer is needed; write all digits that were read%s, as in 10.02in, 10-1/32in or 254.5mm", text, length.Millimetres(res), length.Millimetres(coarsest), exactly(text))
	}
	c.Resolution = max(c.Resolution, res)
	return Size{Read: strings.TrimSpace(text), MM: v, U: length.MM(math.Hypot(math.Hypot(float64(res)/math.Sqrt(6), ruleU), wetU))}, nil
}

// exactly tells how a length without decimals is written when it was read to
// hundredths: 10in as 10.00in.
func exactly(text string) string {
	text = strings.TrimSpace(text)
	unit := strings.TrimLeft(text, "0123456789")
	if whole := text[:len(text)-len(unit)]; whole != "" && strings.Trim(unit, ` abcdefghijklmnopqrstuvwxyz"`) == "" {
		return fmt.Sprintf(" (%s.00%s when it is exactly that)", whole, strings.TrimSpace(unit))
	}
	return ""
}

func both(v length.MM) string { return length.Inches(v) + " (" + length.Millimetres(v) + ")" }

func thickness(text string) (Size, error) {
	v, err := length.Parse(text)
	switch {
	case err != nil:
		return Size{}, err
	case v > thickest:
		return Size{}, fmt.Errorf("thickness %q: over %d mm; how thick the mounted card is was asked for", text, thickest)
	}
	return Size{Read: strings.TrimSpace(text), MM: v, U: max(step(text), .25) / length.MM(math.Sqrt(12))}, nil
}

var (
	fractionOf = regexp.MustCompile(`/\s*([0-9]+)`)
	decimalsOf = regexp.MustCompile(`\.([0-9]+)`)
)

// step is the value of the last digit, or of the fraction's denominator.
func step(text string) length.MM {
	unit := length.MM(1)
	text = strings.TrimSpace(text)
	if number := strings.TrimRight(text, `abcdefghijklmnopqrstuvwxyz"`); number != "" {
		if one, err := length.Parse("1" + text[len(number):]); err == nil {
			unit = one
		}
	}
	if m := fractionOf.FindStringSubmatch(text); m != nil {
		var d float64
		fmt.Sscan(m[1], &d)
		return unit / length.MM(max(d, 1))
	}
	if m := decimalsOf.FindStringSubmatch(text); m != nil {
		return unit * length.MM(math.Pow10(-len(m[1])))
	}
	return unit
}

// Print is the card as the measurement takes it. Where the short side was not
// read, the print is taken to be even.
func (c *Card) Print() vision.Print {
	p := vision.Print{ScaleX: float64(c.Long.MM / nominalLong), U: float64(c.Long.U / nominalLong)}
	p.ScaleY = p.ScaleX
	if c.Short != nil {
		p.ScaleY = float64(c.Short.MM / nominalShort)
		p.U = max(p.U, float64(c.Short.U/nominalShort))
	}
	if c.Thickness != nil {
		p.Thickness, p.ThicknessU = c.Thickness.MM, c.Thickness.U
	}
	return p
}

// Wrong says why the print cannot be measured with; nil when it can.
func (c *Card) Wrong() *vision.Refusal { return c.Print().Wrong() }
