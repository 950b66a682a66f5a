// Package board draws the card for the printer: a vector drawing, true to
// size, as PDF, SVG or PNG.
//
// Lengths are millimetres. Frame of a page: the origin at its upper left
// corner, x right, y down.
package board

import (
	"image/color"
	"math"
	"strings"
	"sync"

	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
)

// sheet is one page on some canvas.
type sheet struct {
	c      vg.Canvas
	w, h   float64             // mm
	encode func(string) string // what the canvas wants its texts in
}

var (
	black = color.Gray{0}
	white = color.Gray{255}
	grey  = color.Gray{150}
	pale  = color.Gray{225}
)

var faces = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

// face is Liberation Sans (SIL Open Font License) of a size in points. There is
// one face only: the PDF canvas keeps one font file a document.
func face(points float64) font.Face {
	return faces().Lookup(font.Font{Typeface: "Liberation", Variant: "Sans"}, vg.Points(points))
}

// latin is a text in the single-byte encoding of PDF's simple fonts; letters
// that it lacks would come out wrong, so they become question marks.
func latin(s string) string {
	var b strings.Builder
	for _, r := range s {
		if c, ok := charmap.Windows1252.EncodeRune(r); ok {
			b.WriteByte(c)
		} else {
			b.WriteByte('?')
		}
	}
	return b.String()
}

func (s *sheet) at(x, y float64) vg.Point {
	return vg.Point{X: vg.Length(x) * vg.Millimeter, Y: vg.Length(s.h-y) * vg.Millimeter}
}

// path joins points; several calls may go into one path.
func (s *sheet) path(p vg.Path, closed bool, xy ...float64) vg.Path {
	for i := 0; i+1 < len(xy); i += 2 {
		if q := s.at(xy[i], xy[i+1]); i == 0 {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	if closed {
		p.Close()
	}
	return p
}

// box adds a rectangle to a path.
func (s *sheet) box(p vg.Path, x, y, w, h float64) vg.Path {
	return s.path(p, true, x, y, x+w, y, x+w, y+h, x, y+h)
}

func (s *sheet) fill(p vg.Path, c color.Color) {
	s.c.SetColor(c)
	s.c.Fill(p)
}

// stroke draws a path as a line of some mm.
func (s *sheet) stroke(p vg.Path, width float64, c color.Color) {
	s.c.SetColor(c)
	s.c.SetLineWidth(vg.Length(width) * vg.Millimeter)
	s.c.Stroke(p)
}

func (s *sheet) line(width float64, xy ...float64) { s.stroke(s.path(nil, false, xy...), width, black) }

// disc is a filled circle, as a polygon: it looks the same on every canvas.
func (s *sheet) disc(x, y, r float64, c color.Color) {
	const sides = 40
	var xy []float64
	for i := range sides {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / sides)
		xy = append(xy, x+r*cos, y+r*sin)
	}
	s.fill(s.path(nil, true, xy...), c)
}

// arrow from one point to another.
func (s *sheet) arrow(width, x0, y0, x1, y1 float64) {
	l := math.Hypot(x1-x0, y1-y0)
	u, v := (x1-x0)/l, (y1-y0)/l
	head := min(6*width, l/2)
	s.line(width, x0, y0, x1-u*head/2, y1-v*head/2)
	s.fill(s.path(nil, true, x1, y1, x1-u*head-v*head/2.4, y1-v*head+u*head/2.4, x1-u*head+v*head/2.4, y1-v*head-u*head/2.4), black)
}

// cross marks what is wrong.
func (s *sheet) cross(x, y, r float64) {
	s.stroke(s.path(s.path(nil, false, x-r, y-r, x+r, y+r), false, x-r, y+r, x+r, y-r), 1.1, white)
	s.stroke(s.path(s.path(nil, false, x-r, y-r, x+r, y+r), false, x-r, y+r, x+r, y-r), .6, black)
}

const (
	left   = 0.0
	middle = .5
	right  = 1.0
)

// text writes one line; align is the share of its width that lies left of x.
func (s *sheet) text(f font.Face, align, x, y float64, t string) {
	s.c.SetColor(black)
	p := s.at(x, y)
	p.X -= vg.Length(align) * f.Width(t)
	s.c.FillString(f, p, s.encode(t))
}

// fitted writes one line, smaller where it would be wider than most mm.
func (s *sheet) fitted(points float64, align, x, y, most float64, t string) {
	f := face(points)
	if w := f.Width(t).Dots(72) / vg.Millimeter.Dots(72); w > most {
		f = face(points * most / w)
	}
	s.text(f, align, x, y, t)
}

// paragraph writes a text in lines of at most most mm and gives the y below it.
func (s *sheet) paragraph(points float64, x, y, most float64, t string) float64 {
	f := face(points)
	pitch := points * 1.25 * 25.4 / 72
	line := ""
	for _, word := range strings.Fields(t) {
		next := strings.TrimSpace(line + " " + word)
		if line != "" && f.Width(next) > vg.Length(most)*vg.Millimeter {
			s.text(f, left, x, y, line)
			y += pitch
			next = word
		}
		line = next
	}
	s.text(f, left, x, y, line)
	return y + pitch
}
