package course

import (
	_ "embed"
	"fmt"
	"math"

	"coursegauge/vision/net"
	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

//go:embed joint.onnx
var jointWeights []byte

// The patch that a closer look at a joint takes: rows run down the slope.
const (
	meetW, meetH = 128, 256 // px
	meetPPM      = 2.0      // px a millimetre
	meetMid      = (meetW - 1) / 2.
	meetLow      = 192 // the rows at which the two ends are told
	meetHigh     = 64
	meetSeen     = .6  // share of the patch that must be in the photo
	lineShare    = .75 // the two rows err alike only in part
)

// MeetHigh is the height of a patch, mm.
const MeetHigh = meetH / meetPPM

// The network's outputs, in the order of the training recipe.
const (
	oMeet  = iota // logit
	oLeft         // the left piece's right end at the low and the high row, mm right of the middle
	oRight = oLeft + 2
	oMeetS = oRight + 2 // logarithms of Laplace scales, mm
	nMeet  = oMeetS + 4
)

// Meeting is what a closer look at a place told where two pieces may meet.
type Meeting struct {
	Logit       float64 // that they do, log odds as in training
	Left, Right Edge    // right end of the left piece, left end of the right piece, px in the picture
}

// MeetAt is where to look: X along the courses, from Y up the slope, on height Z (mm).
type MeetAt struct {
	X, Y, Z   float64
	Laminated bool
	Lower     bool // the exposed part of a course below, else the lap of the open one
}

// Closer runs the network that looks closely at joints; one goroutine at a time.
type Closer struct{ net *net.Net }

// NewCloser loads the network.
func NewCloser() (*Closer, error) {
	n, err := net.Load(jointWeights)
	if err != nil {
		return nil, fmt.Errorf("load the joint network: %w", err)
	}
	return &Closer{n}, nil
}

// Close frees the network.
func (c *Closer) Close() { c.net.Close() }

// Look looks at a place; ok is false where the photo shows too little of it.
func (c *Closer) Look(p *photo.Picture, f *plane.Frame, at MeetAt) (m Meeting, ok bool, err error) {
	v := plane.View{Frame: f, PPM: meetPPM, X0: at.X - meetMid/meetPPM, Y1: at.Y + MeetHigh, W: meetW, H: meetH, Z: at.Z}
	pic, err := v.Picture(p)
	if err != nil {
		return m, false, err
	}
	defer pic.Close()
	b, err := pic.DataPtrUint8()
	if err != nil {
		return m, false, fmt.Errorf("read a patch: %w", err)
	}
	if shown(b) < meetSeen {
		return m, false, nil
	}
	y := at.Y + MeetHigh/2
	tx, ty := f.Sight(at.X, y, at.Z)
	out, err := c.net.ForwardBGR(b, meetH, meetW, 3*meetW, net.TonesOf(b), tx, -ty, math.Log(f.ScaleAt(at.X, y, at.Z)), truth(at.Laminated), truth(at.Lower))
	if err != nil {
		return m, false, fmt.Errorf("run the joint network: %w", err)
	}
	if len(out) != 1 || len(out[0].Data) != nMeet {
		return m, false, fmt.Errorf("run the joint network: outputs of unexpected size")
	}
	o := out[0].Data
	return Meeting{float64(o[oMeet]), meetEdge(o, oLeft, &v), meetEdge(o, oRight, &v)}, true, nil
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// shown is the share of a view that the photo shows.
func shown(b []byte) float64 {
	n, seen := len(b)/3, 0
	for i := range n {
		if q := b[3*i : 3*i+3]; q[0]|q[1]|q[2] != 0 {
			seen++
		}
	}
	return float64(seen) / float64(n)
}

// meetEdge is one end as two points of the picture, the lower first.
func meetEdge(o []float32, k int, v *plane.View) Edge {
	e := Edge{Pts: make([][2]float64, 2), Close: true}
	for i, row := range [2]float64{meetLow, meetHigh} {
		e.Pts[i][0], e.Pts[i][1] = v.ToPicture(meetMid+float64(o[k+i])*meetPPM, row)
		s := float64(o[oMeetS+k-oLeft+i])
		e.U += lineShare * math.Sqrt2 * math.Exp(min(max(s, -4), 3)) / 2
	}
	return e
}
