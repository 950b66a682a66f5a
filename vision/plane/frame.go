// Package plane ties the picture to the roof: the lens, the pose of the camera
// over the roof, the height of the shingles' surface, and the adjustment that
// estimates them from the card, the edges of the courses and what is known of
// the product.
//
// In: pixels of the upright picture. Out: millimetres in the roof frame (x
// along the butt line of the open course, y up the slope, z out of the deck)
// with their dependence on the adjusted inputs.
package plane

// Frame is a camera over a roof: a point p of the roof lies at R p + T in the
// camera frame.
type Frame struct {
	Lens  Lens
	R     Rot
	T     Vec
	Stack Stack
}

// Project takes a point of the roof (mm) to the picture (px).
func (f *Frame) Project(x, y, z float64) (u, v float64) {
	p := f.R.Mul(Vec{x, y, z})
	return f.Lens.Project(Vec{p[0] + f.T[0], p[1] + f.T[1], p[2] + f.T[2]})
}

// Centre is the camera's place in the roof frame.
func (f *Frame) Centre() Vec {
	c := f.R.MulT(f.T)
	return Vec{-c[0], -c[1], -c[2]}
}

// OnPlane is where the line of sight of a pixel meets the height z.
func (f *Frame) OnPlane(u, v, z float64) (x, y float64) {
	d := f.R.MulT(f.Lens.Ray(u, v))
	return f.meet(f.Centre(), d, z)
}

func (f *Frame) meet(c, d Vec, z float64) (x, y float64) {
	t := (z - c[2]) / d[2]
	return c[0] + t*d[0], c[1] + t*d[1]
}

// OnSurface is where the line of sight of a pixel meets the surface of a
// course (0 the open one, -1 the one below), raised by rise mm.
func (f *Frame) OnSurface(u, v float64, course int, rise float64) (x, y float64) {
	return f.surface(f.Centre(), f.R.MulT(f.Lens.Ray(u, v)), course, rise)
}

// surface is OnSurface for a line of sight from c along d, in the roof frame.
func (f *Frame) surface(c, d Vec, course int, rise float64) (x, y float64) {
	base := float64(course) * f.Stack.Exposure
	z := f.Stack.At(0) + rise
	for range 4 {
		_, y = f.meet(c, d, z)
		z = f.Stack.At(y-base) + rise
	}
	return f.meet(c, d, z)
}

// ScaleAt is how many pixels a millimetre along the courses takes at a place.
func (f *Frame) ScaleAt(x, y, z float64) float64 {
	u0, v0 := f.Project(x-1, y, z)
	u1, v1 := f.Project(x+1, y, z)
	return hypot(u1-u0, v1-v0) / 2
}

// Sight is the tangent of the line of sight at a place of the roof, along x
// and y: how far a point moves in the picture plane for a millimetre of height.
func (f *Frame) Sight(x, y, z float64) (tx, ty float64) {
	c := f.Centre()
	h := c[2] - z
	return (c[0] - x) / h, (c[1] - y) / h
}
