package print

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"coursegauge/vision"
	"coursegauge/vision/card"
	"coursegauge/vision/length"
)

// format is the name and the version of a card file.
const format = "coursegauge-cards/1"

// File is what was measured of a firm's cards.
type File struct {
	Format string `json:"format"`
	Cards  []Card `json:"cards"` // by number
}

// maxFile bytes are read; 28 cards take some 10 kB.
const maxFile = 1 << 17

// Parse reads a card file and checks it; the error is one line.
func Parse(data []byte) (File, error) {
	var f File
	if len(data) > maxFile {
		return f, fmt.Errorf("%d bytes; a card file has less than %d", len(data), maxFile)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return f, fmt.Errorf("no card file: %w", err)
	}
	if f.Format != format {
		return f, fmt.Errorf("no card file: its format is %q; %q is read", f.Format, format)
	}
	seen := map[int]bool{}
	for _, c := range f.Cards {
		if err := c.check(); err != nil {
			return f, err
		}
		if seen[c.Number] {
			return f, fmt.Errorf("card file: card %d stands there twice", c.Number)
		}
		seen[c.Number] = true
	}
	return f, nil
}

func (c *Card) check() error {
	if c.Number < 0 || c.Number > card.Standard.MaxNumber {
		return fmt.Errorf("card file: card number %d: 0 to %d are legal", c.Number, card.Standard.MaxNumber)
	}
	for _, s := range []struct {
		name     string
		size     *Size
		from, to length.MM
	}{{"long", &c.Long, nominalLong / 2, 2 * nominalLong}, {"short", c.Short, nominalShort / 2, 2 * nominalShort}, {"thickness", c.Thickness, 0, thickest}} {
		if s.size == nil {
			continue
		}
		if v := s.size.MM; !(v >= s.from && v <= s.to) {
			return fmt.Errorf("card file: card %d: %s is %g mm; %g to %g mm are legal", c.Number, s.name, float64(v), float64(s.from), float64(s.to))
		}
		if u := float64(s.size.U); !(u > 0 && u < 10) || math.IsNaN(u) {
			return fmt.Errorf("card file: card %d: uncertainty of %s is %g mm; over 0 and under 10 mm are legal", c.Number, s.name, u)
		}
	}
	return nil
}

// With is the file with a card added, or replaced by its number.
func (f File) With(c Card) File {
	out := File{Format: format}
	for _, k := range f.Cards {
		if k.Number != c.Number {
			out.Cards = append(out.Cards, k)
		}
	}
	out.Cards = append(out.Cards, c)
	slices.SortFunc(out.Cards, func(a, b Card) int { return a.Number - b.Number })
	return out
}

// Encode is the bytes of the file.
func (f File) Encode() ([]byte, error) {
	b, err := json.MarshalIndent(f, "", "  ")
	return append(b, '\n'), err
}

// Prints are the cards by number, as the measurement takes them.
func (f File) Prints() map[int]vision.Print {
	out := map[int]vision.Print{}
	for i := range f.Cards {
		out[f.Cards[i].Number] = f.Cards[i].Print()
	}
	return out
}
