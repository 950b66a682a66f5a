// Package head looks closely at places of the open course and tells whether a
// fastener head is there, where its centre lies, how wide it is, how far it
// stands over the surface and how it was driven.
//
// In: a picture with its frame and a place on the roof. Out: picture pixels and
// millimetres with standard uncertainties. The judgement is a small
// convolutional network's, trained on rendered scenes (see train/README.md).
package head

import (
	_ "embed"
	"fmt"
	"math"

	"coursegauge/vision/net"
	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

//go:embed head.onnx
var weights []byte

const (
	side   = 96  // px: the network's patch
	fine   = 3.0 // px a millimetre in it
	centre = (side - 1) / 2.
)

// The network's outputs, in the order of the training recipe: a logit, the
// centre's offset (mm right and down, with the logarithm of a Laplace scale),
// the diameter less typical (mm), the rise over the surface (mm), four logits.
const (
	oHead = iota
	oX
	oY
	oXYS
	oDiameter
	oDiameterS
	oRise
	oRiseS
	oDrive
	nOut = oDrive + 4
)

const unlikely = .1 // probability below which a second look finds no head either

const typical = 10.3 // mm: the diameter that the network's 0 stands for

// Look is what a closer look at one place told.
type Look struct {
	P               float64 // probability that a head is there
	U, V            float64 // centre of its top, px in the picture
	X, Y            float64 // the same on the surface as looked at, mm
	CentreU         float64 // mm an axis
	Diameter, DiamU float64 // mm
	Rise, RiseU     float64 // mm over the surface
	Drive           [4]float64
}

// Finder runs the network; one goroutine at a time.
type Finder struct{ net *net.Net }

// NewFinder loads the network.
func NewFinder() (*Finder, error) {
	n, err := net.Load(weights)
	if err != nil {
		return nil, fmt.Errorf("load the head network: %w", err)
	}
	return &Finder{n}, nil
}

// Close frees the network.
func (f *Finder) Close() { f.net.Close() }

// Look looks at a place of the roof (mm), twice: the second time centred on
// what the first one found.
func (f *Finder) Look(p *photo.Picture, fr *plane.Frame, x, y, z float64) (Look, error) {
	l, err := f.once(p, fr, x, y, z)
	if err != nil || l.P < unlikely {
		return l, err
	}
	if d := math.Hypot(l.X-x, l.Y-y); d > .5 && d < 8 {
		return f.once(p, fr, l.X, l.Y, z)
	}
	return l, nil
}

func (f *Finder) once(p *photo.Picture, fr *plane.Frame, x, y, z float64) (Look, error) {
	v := plane.View{Frame: fr, PPM: fine, X0: x - centre/fine, Y1: y + centre/fine, W: side, H: side, Z: z}
	pic, err := v.Picture(p)
	if err != nil {
		return Look{}, err
	}
	defer pic.Close()
	b, err := pic.DataPtrUint8()
	if err != nil {
		return Look{}, fmt.Errorf("read a patch: %w", err)
	}
	tx, ty := fr.Sight(x, y, z)
	out, err := f.net.ForwardBGR(b, side, side, 3*side, net.TonesOf(b), tx, -ty, math.Log(fr.ScaleAt(x, y, z)))
	if err != nil {
		return Look{}, fmt.Errorf("run the head network: %w", err)
	}
	if len(out) != 1 || len(out[0].Data) != nOut {
		return Look{}, fmt.Errorf("run the head network: outputs of unexpected size")
	}
	return read(out[0].Data, &v), nil
}

// read turns the network's numbers into lengths.
func read(o []float32, v *plane.View) Look {
	at := func(i int) float64 { return float64(o[i]) }
	sd := func(i int) float64 { return math.Sqrt2 * math.Exp(min(max(at(i), -4), 3)) }
	l := Look{P: 1 / (1 + math.Exp(-at(oHead))), CentreU: sd(oXYS), Diameter: typical + at(oDiameter), DiamU: sd(oDiameterS), Rise: at(oRise), RiseU: sd(oRiseS)}
	col, row := centre+at(oX)*fine, centre+at(oY)*fine
	l.U, l.V = v.ToPicture(col, row)
	l.X, l.Y = v.ToRoof(col, row)
	top, sum := max(at(oDrive), at(oDrive+1), at(oDrive+2), at(oDrive+3)), 0.0
	for i := range l.Drive {
		l.Drive[i] = math.Exp(at(oDrive+i) - top)
		sum += l.Drive[i]
	}
	for i := range l.Drive {
		l.Drive[i] /= sum
	}
	return l
}
