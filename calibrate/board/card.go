package board

import (
	"fmt"
	"strings"

	"coursegauge/vision/card"

	"gonum.org/v1/plot/vg"
)

// Paper is a sheet of paper lying on its long side, mm.
type Paper struct{ W, H float64 }

// The papers that the card fits on with a white rim of 12 mm or more.
var (
	Letter = Paper{279.4, 215.9}
	A4     = Paper{297, 210}
)

// Options of a card.
type Options struct {
	Number int
	Paper  Paper
	Lang   Lang
}

func (o Options) check() error {
	b := card.Standard
	switch {
	case o.Number < 0 || o.Number > b.MaxNumber:
		return fmt.Errorf("card number %d: 0 to %d are legal", o.Number, b.MaxNumber)
	case o.Paper != Letter && o.Paper != A4:
		return fmt.Errorf("paper of %g x %g mm: US Letter and A4 are legal", o.Paper.W, o.Paper.H)
	case words[o.Lang].title == "":
		return fmt.Errorf("language %q: legal are %s", o.Lang, strings.Join(Langs(), ", "))
	}
	return nil
}

// Origin is where the board's upper left corner lies on the page.
func (p Paper) Origin() (x, y float64) {
	b := card.Standard
	return (p.W - float64(b.Cols)*b.SquareMM) / 2, (p.H - float64(b.Rows)*b.SquareMM) / 2
}

// drawCard is the first page: the board and what a person needs beside it.
func (s *sheet) drawCard(o Options) error {
	x, y := o.Paper.Origin()
	if err := s.drawBoard(o.Number, x, y); err != nil {
		return err
	}
	w := words[o.Lang]
	wide, high := float64(card.Standard.Cols)*card.Standard.SquareMM, float64(card.Standard.Rows)*card.Standard.SquareMM
	top, foot := y-3.6, y+high
	s.text(face(17), left, x, top, fmt.Sprintf("%s %d", w.card, o.Number))
	s.text(face(13), left, x+33, top, w.numbers[o.Number])
	s.fitted(8, middle, x+150, top-3.4, 125, w.print)
	s.fitted(7, middle, x+150, top, 125, w.mount)
	s.text(face(8), right, x+wide-8, top, w.upSlope)
	s.arrow(.9, x+wide-3, top, x+wide-3, top-7)

	// On A4 the lowest letters end just over 6 mm from the edge: many printers
	// reach no farther.
	s.bar(x, foot+3.3, wide, w.bar)
	s.fitted(7, left, x, foot+7.1, wide, w.steps)
	s.fitted(7, left, x, foot+9.5, wide, w.caution)
	return nil
}

// bar is the line to prove the print with: as long as the board, from the
// outer edge of one end tick to that of the other.
func (s *sheet) bar(x, y, long float64, label string) {
	const thick = .25
	s.fill(s.box(s.box(s.box(nil, x, y-thick/2, long, thick), x, y-1.5, thick, 3), x+long-thick, y-1.5, thick, 3), black)
	f := face(7)
	w := f.Width(label).Dots(72) / vg.Millimeter.Dots(72)
	s.fill(s.box(nil, x+long/2-w/2-1.5, y-1.5, w+3, 3), white)
	s.text(f, middle, x+long/2, y+.9, label)
}

// drawBoard draws the ChArUco board of a number with its upper left corner at
// x, y. All black goes into one path: neighbouring modules then show no seam.
func (s *sheet) drawBoard(number int, x, y float64) error {
	b := card.Standard
	var p vg.Path
	for r := range b.Rows {
		for c := range b.Cols {
			if b.Black(c, r) {
				p = s.box(p, x+float64(c)*b.SquareMM, y+float64(r)*b.SquareMM, b.SquareMM, b.SquareMM)
			}
		}
	}
	for i := range b.Markers() {
		bits, err := card.Pattern(b.Dictionary, number*b.IDStep+i)
		if err != nil {
			return err
		}
		c, r := b.MarkerSquare(i)
		rim := (1 - b.MarkerRatio) / 2 * b.SquareMM
		p = s.marker(p, bits, x+float64(c)*b.SquareMM+rim, y+float64(r)*b.SquareMM+rim, b.MarkerRatio*b.SquareMM)
	}
	s.fill(p, black)
	return nil
}

// marker adds the black modules of a marker, its border of one module included.
func (s *sheet) marker(p vg.Path, bits [][]bool, x, y, side float64) vg.Path {
	n := len(bits) + 2
	m := side / float64(n)
	for r := range n {
		for c := range n {
			if r == 0 || c == 0 || r == n-1 || c == n-1 || !bits[r-1][c-1] {
				p = s.box(p, x+float64(c)*m, y+float64(r)*m, m, m)
			}
		}
	}
	return p
}
