// Package course reads the open course from rectified views: which way the
// courses run, where the butt line and the top edge lie, the joints, the rake
// and the pieces between them. A small convolutional network marks the edges
// cell by cell; lines are then fitted through what it marks.
//
// In: views in millimetres of the roof frame (see vision/plane). Out: lines in
// picture pixels with their uncertainty, and where heads may be.
package course

import (
	_ "embed"
	"fmt"
	"math"

	"coursegauge/vision/net"
	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

//go:embed course.onnx
var weights []byte

// PPM is the resolution that the network was trained at, pixels a millimetre.
const PPM = .8

// Cell is the size of one cell of the network's maps, view pixels; the centre
// of cell i lies at Cell*i + cellMid.
const (
	Cell    = 4
	cellMid = 1.5
	block   = 32 // a view's sides must be multiples of it

	// A wider view is read in strips, which takes less memory at a time. What lies
	// overlap beyond a strip's border hardly counts for the cells within it.
	widest  = 2048
	overlap = 128
)

// Channels of the network's output, in the order of the training recipe.
// Logits unless said; offsets in view pixels from the cell's centre; spreads as
// the logarithm of a Laplace scale.
const (
	cButt = iota
	cButtD
	cButtS
	cTop
	cTopD
	cTopS
	cJoint
	cJointL // right end of the left piece
	cJointR // left end of the right piece
	cJointS
	cRake
	cRakeD
	cRakeS
	cUnderlay
	cOpen
	cFinished
	cOff
	cHead
	cHeadX
	cHeadY
	nChannels
)

// Reader runs the network; one goroutine at a time.
type Reader struct{ net *net.Net }

// NewReader loads the network.
func NewReader() (*Reader, error) {
	n, err := net.Load(weights)
	if err != nil {
		return nil, fmt.Errorf("load the course network: %w", err)
	}
	return &Reader{n}, nil
}

// Close frees the network.
func (r *Reader) Close() { r.net.Close() }

// Maps is what the network says of one view.
type Maps struct {
	View  plane.View
	H, W  int // cells
	ch    [nChannels][]float32
	photo []bool // the photo shows the cell's middle
	seen  []bool // and it does not lie under the card
}

// Read runs the network over a view; the view's sides are rounded up to what
// the network takes.
func (r *Reader) Read(p *photo.Picture, v plane.View) (*Maps, error) {
	v.W, v.H = (v.W+block-1)/block*block, (v.H+block-1)/block*block
	pic, err := v.Picture(p)
	if err != nil {
		return nil, err
	}
	defer pic.Close()
	bgr, err := pic.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("read the view: %w", err)
	}
	t := tones(bgr)
	m := &Maps{View: v, H: v.H / Cell, W: v.W / Cell}
	n := m.H * m.W
	for c := range nChannels {
		m.ch[c] = make([]float32, n)
	}
	for _, s := range strips(v.W) {
		out, err := r.net.ForwardBGR(bgr[3*s.from:], v.H, s.to-s.from, 3*v.W, t)
		if err != nil {
			return nil, fmt.Errorf("run the course network: %w", err)
		}
		if len(out) != 1 || out[0].C != 4*nChannels || out[0].H != m.H/2 || out[0].W != (s.to-s.from)/Cell/2 {
			return nil, fmt.Errorf("run the course network: %d outputs of unexpected size", len(out))
		}
		m.unpack(out[0], s)
	}
	m.photo = make([]bool, n)
	for i := range m.H {
		for j := range m.W {
			k := (i*Cell+1)*v.W + j*Cell + 1
			m.photo[i*m.W+j] = bgr[3*k]|bgr[3*k+1]|bgr[3*k+2] != 0
		}
	}
	m.seen = append([]bool(nil), m.photo...)
	return m, nil
}

// strip is a range of a view's columns to read, and of those to keep.
type strip struct{ from, to, keepFrom, keepTo int }

// strips covers a view of a width that is a multiple of block.
func strips(width int) []strip {
	if width <= widest {
		return []strip{{0, width, 0, width}}
	}
	n := (width + widest - 1) / widest
	var out []strip
	for i := range n {
		a, b := width/block*i/n*block, width/block*(i+1)/n*block
		out = append(out, strip{max(a-overlap, 0), min(b+overlap, width), a, b})
	}
	return out
}

// unpack puts what a strip gave into the maps: each cell of the network's output
// holds four of theirs, row by row.
func (m *Maps) unpack(t net.Tensor, s strip) {
	first, last, at := (s.keepFrom-s.from)/Cell/2, (s.keepTo-s.from)/Cell/2, s.keepFrom/Cell
	for c := range nChannels {
		for q := range 4 {
			plane := t.Data[(4*c+q)*t.H*t.W:]
			for i := range t.H {
				row := m.ch[c][(2*i+q/2)*m.W+at+q%2:]
				for j, v := range plane[i*t.W+first : i*t.W+last] {
					row[2*j] = v
				}
			}
		}
	}
}

// tones takes a view's bytes to mean 0 and spread 1 over what the photo shows of
// it; every other pixel tells.
func tones(bgr []byte) net.Tones {
	var n, sum, sq int
	for i := 0; i+2 < len(bgr); i += 6 {
		b, g, r := int(bgr[i]), int(bgr[i+1]), int(bgr[i+2])
		if b|g|r != 0 {
			n += 3
			sum += b + g + r
			sq += b*b + g*g + r*r
		}
	}
	mean := float64(sum) / max(float64(n), 1)
	return net.Tones{Mean: mean, Spread: math.Sqrt(max(float64(sq)/max(float64(n), 1)-mean*mean, 0)) + 1e-3, Blank: true}
}

func sigmoid(x float32) float64 { return 1 / (1 + math.Exp(-float64(x))) }

// spread is the standard deviation that a Laplace scale stands for, mm.
func (m *Maps) spread(c, k int) float64 {
	return math.Sqrt2 * math.Exp(float64(min(max(m.ch[c][k], -4), 4))) / m.View.PPM
}

// at is the middle of cell (i, j) in the roof frame, mm.
func (m *Maps) at(i, j int) (x, y float64) {
	return m.View.ToRoof(float64(j*Cell)+cellMid, float64(i*Cell)+cellMid)
}

// Hide marks the cells for which the test holds as not seen (under the card).
func (m *Maps) Hide(test func(x, y float64) bool) {
	for i := range m.H {
		for j := range m.W {
			if x, y := m.at(i, j); test(x, y) {
				m.seen[i*m.W+j] = false
			}
		}
	}
}

// rows is how many rows of cells a length up the slope takes, mm.
func (m *Maps) rows(mm float64) float64 { return mm * m.View.PPM / Cell }
