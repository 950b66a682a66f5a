package plane

import "math"

// CardPose is the pose of the card's face in the camera frame: a point p of
// the face (mm from the board's middle, x along the long side, y up the page,
// z out of the face) lies at R p + T.
type CardPose struct {
	R Rot
	T Vec
}

// PoseFrom takes a homography from the card (mm, as in CardPose) to pixels
// apart, for a lens without distortion (Zhang 2000, section 3.1): the first
// two columns of K⁻¹H are the axes of the card, scaled.
func PoseFrom(H [9]float64, l Lens) CardPose {
	var c [3]Vec
	for j := range 3 {
		w := H[6+j]
		c[j] = Vec{(H[j] - l.Cx*w) / l.F, (H[3+j] - l.Cy*w) / l.F, w}
	}
	s := 2 / (norm(c[0]) + norm(c[1]))
	if c[2][2] < 0 {
		s = -s
	}
	for j := range 3 {
		for i := range 3 {
			c[j][i] *= s
		}
	}
	// the nearest pair of axes at right angles: share the error between both
	x, y := unit(c[0]), unit(c[1])
	m, d := unit(Vec{x[0] + y[0], x[1] + y[1], x[2] + y[2]}), unit(x.Sub(y))
	k := math.Sqrt(.5)
	for i := range 3 {
		x[i], y[i] = k*(m[i]+d[i]), k*(m[i]-d[i])
	}
	z := cross(x, y)
	return CardPose{R: Rot{x[0], y[0], z[0], x[1], y[1], z[1], x[2], y[2], z[2]}, T: c[2]}
}

// TiltDeg is the angle between the card's normal and the line of sight to its middle.
func (c *CardPose) TiltDeg() float64 {
	n := Vec{c.R[2], c.R[5], c.R[8]}
	t := unit(c.T)
	return math.Acos(math.Min(1, math.Abs(n[0]*t[0]+n[1]*t[1]+n[2]*t[2]))) * 180 / math.Pi
}

// FrameFrom is the camera over a roof on which the card lies at the given place.
func FrameFrom(c CardPose, l Lens, at CardPlace, s Stack) Frame {
	back := Rodrigues(Vec{0, 0, -at.Turn})
	R := back.Then(&c.R)
	o := R.Mul(Vec{0, at.Y, at.Z})
	return Frame{Lens: l, R: R, T: c.T.Sub(o), Stack: s}
}

func norm(v Vec) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }

func unit(v Vec) Vec {
	n := norm(v)
	return Vec{v[0] / n, v[1] / n, v[2] / n}
}

func cross(a, b Vec) Vec {
	return Vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
