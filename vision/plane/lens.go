package plane

import "math"

// Vec is a point or direction in space, mm.
type Vec [3]float64

// Sub is v - w.
func (v Vec) Sub(w Vec) Vec { return Vec{v[0] - w[0], v[1] - w[1], v[2] - w[2]} }

// Rot is a rotation matrix, row by row.
type Rot [9]float64

// Mul is r v.
func (r *Rot) Mul(v Vec) Vec {
	return Vec{r[0]*v[0] + r[1]*v[1] + r[2]*v[2], r[3]*v[0] + r[4]*v[1] + r[5]*v[2], r[6]*v[0] + r[7]*v[1] + r[8]*v[2]}
}

// MulT is the inverse rotation of v.
func (r *Rot) MulT(v Vec) Vec {
	return Vec{r[0]*v[0] + r[3]*v[1] + r[6]*v[2], r[1]*v[0] + r[4]*v[1] + r[7]*v[2], r[2]*v[0] + r[5]*v[1] + r[8]*v[2]}
}

// Then is the rotation that applies r first and q after it.
func (r *Rot) Then(q *Rot) Rot {
	var o Rot
	for i := range 3 {
		for j := range 3 {
			o[3*i+j] = q[3*i]*r[j] + q[3*i+1]*r[3+j] + q[3*i+2]*r[6+j]
		}
	}
	return o
}

// Rodrigues turns a rotation vector (axis times angle, rad) into a matrix.
func Rodrigues(w Vec) Rot {
	t := math.Sqrt(w[0]*w[0] + w[1]*w[1] + w[2]*w[2])
	if t < 1e-12 {
		return Rot{1, -w[2], w[1], w[2], 1, -w[0], -w[1], w[0], 1}
	}
	x, y, z := w[0]/t, w[1]/t, w[2]/t
	s, c := math.Sincos(t)
	k := 1 - c
	return Rot{c + x*x*k, x*y*k - z*s, x*z*k + y*s, y*x*k + z*s, c + y*y*k, y*z*k - x*s, z*x*k - y*s, z*y*k + x*s, c + z*z*k}
}

// Vector is the inverse of Rodrigues.
func (r *Rot) Vector() Vec {
	c := math.Max(-1, math.Min(1, (r[0]+r[4]+r[8]-1)/2))
	t := math.Acos(c)
	v := Vec{r[7] - r[5], r[2] - r[6], r[3] - r[1]}
	n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	if n > 1e-9 {
		return Vec{v[0] / n * t, v[1] / n * t, v[2] / n * t}
	}
	if c > 0 {
		return Vec{}
	}
	// a half turn: the axis from the diagonal, signs from the first row
	x, y, z := math.Sqrt(math.Max(0, (r[0]+1)/2)), math.Sqrt(math.Max(0, (r[4]+1)/2)), math.Sqrt(math.Max(0, (r[8]+1)/2))
	if x > 1e-6 {
		y, z = math.Copysign(y, r[1]), math.Copysign(z, r[2])
	} else {
		z = math.Copysign(z, r[5])
	}
	return Vec{x * math.Pi, y * math.Pi, z * math.Pi}
}

// Lens is a pinhole camera with two radial and two tangential terms (Brown
// 1971): focal length and principal point in pixels, pixel centres at whole
// numbers. The tangential terms are zero unless a profile of the camera is known.
type Lens struct{ F, Cx, Cy, K1, K2, P1, P2 float64 }

// bent is a point of the plane z = 1 as the lens shows it.
func (l *Lens) bent(x, y float64) (xd, yd float64) {
	r2 := x*x + y*y
	d := 1 + r2*(l.K1+l.K2*r2)
	return x*d + 2*l.P1*x*y + l.P2*(r2+2*x*x), y*d + l.P1*(r2+2*y*y) + 2*l.P2*x*y
}

// Project takes a point in the camera frame (x right, y down, z forward) to the picture.
func (l *Lens) Project(p Vec) (u, v float64) {
	x, y := l.bent(p[0]/p[2], p[1]/p[2])
	return l.F*x + l.Cx, l.F*y + l.Cy
}

// Ray is the direction (z = 1) in the camera frame that a pixel looks along;
// the distortion is undone by fixed-point iteration, to better than 1e-3 px
// for |K1| up to 0.1.
func (l *Lens) Ray(u, v float64) Vec {
	ud, vd := (u-l.Cx)/l.F, (v-l.Cy)/l.F
	x, y := ud, vd
	for range 8 {
		r2 := x*x + y*y
		d := 1 + r2*(l.K1+l.K2*r2)
		x, y = (ud-2*l.P1*x*y-l.P2*(r2+2*x*x))/d, (vd-l.P1*(r2+2*y*y)-2*l.P2*x*y)/d
	}
	return Vec{x, y, 1}
}
