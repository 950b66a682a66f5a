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
	patchW, patchH = 128, 256 // px
	patchPPM       = 2.0      // px a millimetre
	patchMid       = (patchW - 1) / 2.
	lowRow         = 192 // the rows at which the two ends are told
	highRow        = 64
	patchSeen      = .6  // share of the patch that must be in the photo
	lineShare      = .75 // the two rows err alike only in part
)

// PatchHigh is the height of a patch, mm.
const PatchHigh = patchH / patchPPM

// The network's outputs, in the order of the training recipe.
const (
	oJoint  = iota // logit
	oLeft          // the left piece's right end at the low and the high row, mm right of the middle
	oRight  = oLeft + 2
	oJointS = oRight + 2 // logarithms of Laplace scales, mm
	nJoint  = oJointS + 4
)

// JointEstimate is what a closer look at a place told where two pieces may meet.
type JointEstimate struct {
	Logit       float64 // that they do, log odds as in training
	Left, Right Edge    // right end of the left piece, left end of the right piece, px in the picture
}

// JointPlace is where to look: X along the courses, from Y up the slope, on height Z (mm).
type JointPlace struct {
	X, Y, Z   float64
	Laminated bool
	Lower     bool // the exposed part of a course below, else the lap of the open one
}

// JointNet runs the network that looks closely at joints; one goroutine at a time.
type JointNet struct{ net *net.Net }

// NewJointNet loads the network.
func NewJointNet() (*JointNet, error) {
	n, err := net.Load(jointWeights)
	if err != nil {
		return nil, fmt.Errorf("load the joint network: %w", err)
	}
	return &JointNet{n}, nil
}

// Close frees the network.
func (c *JointNet) Close() { c.net.Close() }

// Look looks at a place; ok is false where the photo shows too little of it.
func (c *JointNet) Look(p *photo.Picture, f *plane.Frame, at JointPlace) (m JointEstimate, ok bool, err error) {
	v := plane.View{Frame: f, PPM: patchPPM, X0: at.X - patchMid/patchPPM, Y1: at.Y + PatchHigh, W: patchW, H: patchH, Z: at.Z}
	pic, err := v.Picture(p)
	if err != nil {
		return m, false, err
	}
	defer pic.Close()
	b, err := pic.DataPtrUint8()
	if err != nil {
		return m, false, fmt.Errorf("read a patch: %w", err)
	}
	if shown(b) < patchSeen {
		return m, false, nil
	}
	y := at.Y + PatchHigh/2
	tx, ty := f.Sight(at.X, y, at.Z)
	out, err := c.net.ForwardBGR(b, patchH, patchW, 3*patchW, net.TonesOf(b), tx, -ty, math.Log(f.ScaleAt(at.X, y, at.Z)), truth(at.Laminated), truth(at.Lower))
	if err != nil {
		return m, false, fmt.Errorf("run the joint network: %w", err)
	}
	if len(out) != 1 || len(out[0].Data) != nJoint {
		return m, false, fmt.Errorf("run the joint network: outputs of unexpected size")
	}
	o := out[0].Data
	return JointEstimate{float64(o[oJoint]), endEdge(o, oLeft, &v), endEdge(o, oRight, &v)}, true, nil
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

// endEdge is one end as two points of the picture, the lower first.
func endEdge(o []float32, k int, v *plane.View) Edge {
	e := Edge{Pts: make([][2]float64, 2), Close: true}
	for i, row := range [2]float64{lowRow, highRow} {
		e.Pts[i][0], e.Pts[i][1] = v.ToPicture(patchMid+float64(o[k+i])*patchPPM, row)
		s := float64(o[oJointS+k-oLeft+i])
		e.U += lineShare * math.Sqrt2 * math.Exp(min(max(s, -4), 3)) / 2
	}
	return e
}
