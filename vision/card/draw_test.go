package card

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"
)

// scene is a card drawn with known truth: the printed page is sampled through
// the inverse of h on a lattice within each pixel, softened, and grained.
type scene struct {
	width, height int
	h             [9]float64 // card mm to px
	board         Board
	number        int
	blur          float64     // standard deviation, px
	grain         float64     // standard deviation, grey levels
	cover         *[4]float64 // x0 y0 x1 y1 in card mm: a thing that lies there
	bend          float64     // px that the middle of the board is shifted against its ends, smoothly
}

const (
	ink, paper, roof, thing = 25, 215, 95, 120 // grey levels
	// A lattice in each pixel, no two points in one row or column: borders that
	// run along the rows are then placed as well as the others, to 1/25 px.
	samples = 25
)

// page gives the grey level of the print at a point of the card in mm: black
// squares, markers with a border of one module, and a white rim of 12 mm.
type page struct {
	board    Board
	patterns map[[2]int][][]bool
	cover    *[4]float64
}

func newPage(t testing.TB, s scene) page {
	t.Helper()
	p := page{board: s.board, patterns: map[[2]int][][]bool{}, cover: s.cover}
	for i := range s.board.Markers() {
		bits, err := Pattern(s.board.Dictionary, s.number*s.board.IDStep+i)
		if err != nil {
			t.Fatal(err)
		}
		x, y := s.board.MarkerSquare(i)
		p.patterns[[2]int{x, y}] = bits
	}
	return p
}

func (p page) at(x, y float64) float64 {
	b := p.board
	if c := p.cover; c != nil && x > c[0] && y > c[1] && x < c[2] && y < c[3] {
		return thing
	}
	w, h := float64(b.Cols)*b.SquareMM, float64(b.Rows)*b.SquareMM
	if x < -12 || y < -12 || x > w+12 || y > h+12 {
		return roof
	}
	if x < 0 || y < 0 || x >= w || y >= h {
		return paper
	}
	column, row := int(x/b.SquareMM), int(y/b.SquareMM)
	if b.Black(column, row) {
		return ink
	}
	bits := p.patterns[[2]int{column, row}]
	modules := float64(len(bits) + 2)
	rim := (1 - b.MarkerRatio) / 2
	u := (x/b.SquareMM - float64(column) - rim) / b.MarkerRatio * modules
	v := (y/b.SquareMM - float64(row) - rim) / b.MarkerRatio * modules
	if u < 0 || v < 0 || u >= modules || v >= modules {
		return paper
	}
	i, j := int(u)-1, int(v)-1
	if i < 0 || j < 0 || i >= len(bits) || j >= len(bits) || !bits[j][i] {
		return ink
	}
	return paper
}

// shift is the smooth departure of the picture from the homography.
func (s scene) shift(x float64) float64 {
	u := 2*x/(float64(s.board.Cols)*s.board.SquareMM) - 1
	return s.bend * (u*u - 1./3)
}

// truth is where a point of the card lies in the picture, px.
func (s scene) truth(p [2]float64) [2]float64 {
	q := project(s.h, p)
	return [2]float64{q[0], q[1] + s.shift(p[0])}
}

func (s scene) draw(t testing.TB) gocv.Mat {
	t.Helper()
	inverse := inverted(s.h)
	sheet := newPage(t, s)
	pix := make([]float64, s.width*s.height)
	for y := range s.height {
		for x := range s.width {
			sum := 0.0
			for k := range samples {
				px := float64(x) + (float64(k)+.5)/samples - .5
				py := float64(y) + (float64(k*7%samples)+.5)/samples - .5
				q := project(inverse, [2]float64{px, py})
				if s.bend != 0 { // two steps of the inverse are exact enough: shift changes slowly
					q = project(inverse, [2]float64{px, py - s.shift(q[0])})
					q = project(inverse, [2]float64{px, py - s.shift(q[0])})
				}
				sum += sheet.at(q[0], q[1])
			}
			pix[y*s.width+x] = sum / samples
		}
	}
	return s.exposed(t, pix)
}

// exposed softens and grains the picture.
func (s scene) exposed(t testing.TB, pix []float64) gocv.Mat {
	t.Helper()
	soft := gocv.NewMatWithSize(s.height, s.width, gocv.MatTypeCV32F)
	defer soft.Close()
	f, err := soft.DataPtrFloat32()
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range pix {
		f[i] = float32(v)
	}
	if s.blur > 0 {
		gocv.GaussianBlur(soft, &soft, image.Pt(0, 0), s.blur, s.blur, gocv.BorderReplicate)
	}
	out := gocv.NewMatWithSize(s.height, s.width, gocv.MatTypeCV8UC1)
	t.Cleanup(func() { out.Close() })
	b, err := out.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	noise := rand.New(rand.NewPCG(1, 2))
	for i, v := range f {
		b[i] = byte(math.Round(math.Max(0, math.Min(255, float64(v)+s.grain*noise.NormFloat64()))))
	}
	return out
}

// view is a homography that shows the middle of the board at (cx, cy): px per mm
// there, turn in degrees, and tilt in per cent of scale lost per mm of the board
// in the direction toward (degrees, card frame).
func view(b Board, cx, cy, scale, turn, tilt, toward float64) [9]float64 {
	s, c := math.Sincos(turn * math.Pi / 180)
	s, c = s*scale, c*scale
	k, g := math.Sincos(toward * math.Pi / 180)
	g, k = g*tilt/100, k*tilt/100
	mx, my := float64(b.Cols)*b.SquareMM/2, float64(b.Rows)*b.SquareMM/2
	h := [9]float64{c + cx*g, -s + cx*k, cx, s + cy*g, c + cy*k, cy, g, k, 1}
	// Move the origin to the middle of the board: h * translate(-mx, -my).
	for r := range 3 {
		h[3*r+2] -= h[3*r]*mx + h[3*r+1]*my
	}
	return h
}

func inverted(h [9]float64) [9]float64 {
	return [9]float64{
		h[4]*h[8] - h[5]*h[7], h[2]*h[7] - h[1]*h[8], h[1]*h[5] - h[2]*h[4],
		h[5]*h[6] - h[3]*h[8], h[0]*h[8] - h[2]*h[6], h[2]*h[3] - h[0]*h[5],
		h[3]*h[7] - h[4]*h[6], h[1]*h[6] - h[0]*h[7], h[0]*h[4] - h[1]*h[3],
	}
}
