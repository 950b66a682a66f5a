package plane

import (
	"fmt"
	"image/color"
	"math"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo"
)

// View is a rectified picture of the height Z: columns run along the courses,
// rows down the slope, PPM pixels a millimetre; the first pixel's centre lies
// at (X0, Y1).
type View struct {
	Frame  *Frame
	PPM    float64
	X0, Y1 float64 // mm
	W, H   int     // px
	Z      float64 // mm over the deck
}

// ToPicture takes view pixels to the picture.
func (v *View) ToPicture(col, row float64) (x, y float64) {
	return v.Frame.Project(v.X0+col/v.PPM, v.Y1-row/v.PPM, v.Z)
}

// ToRoof takes view pixels to the roof (at height Z).
func (v *View) ToRoof(col, row float64) (x, y float64) { return v.X0 + col/v.PPM, v.Y1 - row/v.PPM }

const (
	finest   = .8 // the least number of pixels of the reduced photo to a pixel of a view
	coarsest = 64 // a photo is reduced no further
)

// grid is the step, in view pixels, at which the mapping is computed exactly;
// between, it is interpolated: a view of 1 px/mm that a phone sees at 35 degrees
// from 1 m errs by less than .1 px of the photo (.03 mm), seen at 25 degrees
// from 1.2 m by less than .03 px. The error falls with the square of the step.
const grid = 8

// Picture renders the view. Pixels that the photo does not show are 0. Before
// sampling, a finer photo is reduced by area to about the view's resolution.
func (v *View) Picture(p *photo.Picture) (gocv.Mat, error) {
	n := 1
	for scale := v.localScale(); n < coarsest && scale >= finest*2*float64(n); {
		n *= 2
	}
	mx, my := gocv.NewMatWithSize(v.H, v.W, gocv.MatTypeCV32F), gocv.NewMatWithSize(v.H, v.W, gocv.MatTypeCV32F)
	defer mx.Close()
	defer my.Close()
	ax, ay := floats(mx), floats(my)
	v.maps(ax, ay)
	out, err := p.Sample(mx, my, n, color.RGBA{})
	if err != nil {
		return out, fmt.Errorf("rectify: %w", err)
	}
	blank(out, ax, ay, float32(p.Width()), float32(p.Height()), float32(max(n, 2)))
	return out, nil
}

// blank clears the pixels whose neighbours in the photo reduced n times lie
// partly outside of it.
func blank(out gocv.Mat, mx, my []float32, w, h, n float32) {
	b, err := out.DataPtrUint8()
	if err != nil {
		return
	}
	c, rim := out.Channels(), 1.5*n
	for i := range mx {
		if x, y := mx[i]+.5, my[i]+.5; !(x > rim && x < w-rim && y > rim && y < h-rim) {
			clear(b[i*c : i*c+c])
		}
	}
}

func (v *View) localScale() float64 {
	a, b := v.ToPicture(float64(v.W)/2, float64(v.H)/2)
	c, d := v.ToPicture(float64(v.W)/2+1, float64(v.H)/2)
	return math.Hypot(c-a, d-b)
}

// maps fills the places in the picture, px, of the view's pixels.
func (v *View) maps(ax, ay []float32) {
	gw, gh := v.W/grid+2, v.H/grid+2
	nx, ny := make([]float64, gw*gh), make([]float64, gw*gh)
	for j := range gh {
		for i := range gw {
			nx[j*gw+i], ny[j*gw+i] = v.ToPicture(float64(i*grid), float64(j*grid))
		}
	}
	for r := range v.H {
		j, fy := r/grid, float64(r%grid)/grid
		for i := range gw - 1 {
			k := j*gw + i
			x0, x1 := nx[k]*(1-fy)+nx[k+gw]*fy, nx[k+1]*(1-fy)+nx[k+gw+1]*fy
			y0, y1 := ny[k]*(1-fy)+ny[k+gw]*fy, ny[k+1]*(1-fy)+ny[k+gw+1]*fy
			for c := i * grid; c < min(i*grid+grid, v.W); c++ {
				fx := float64(c-i*grid) / grid
				ax[r*v.W+c], ay[r*v.W+c] = float32(x0*(1-fx)+x1*fx), float32(y0*(1-fx)+y1*fx)
			}
		}
	}
}

// floats is the memory of a continuous 32-bit float Mat.
func floats(m gocv.Mat) []float32 {
	b, err := m.DataPtrFloat32()
	if err != nil {
		return nil
	}
	return b
}

// Footprint is the bounding box on the roof of what the photo (w x h px) shows
// at height z, kept to reach mm from the origin.
func (f *Frame) Footprint(w, h int, z, reach float64) (x0, x1, y0, y1 float64) {
	x0, x1, y0, y1 = reach, -reach, reach, -reach
	c := f.Centre()
	add := func(u, v float64) {
		d := f.R.MulT(f.Lens.Ray(u, v))
		if d[2] > -.05*norm(d) {
			return // looks along the roof or over it
		}
		x, y := f.meet(c, d, z)
		x0, x1 = min(x0, max(x, -reach)), max(x1, min(x, reach))
		y0, y1 = min(y0, max(y, -reach)), max(y1, min(y, reach))
	}
	for i := range 9 {
		a, b := float64(i)/8*float64(w-1), float64(i)/8*float64(h-1)
		add(a, 0)
		add(a, float64(h-1))
		add(0, b)
		add(float64(w-1), b)
	}
	return x0, x1, y0, y1
}

// Span is the part of x0 to x1 in which the photo (w x h px) shows some of what
// lies between y0 and y1 at height z, mm.
func (f *Frame) Span(w, h int, z, x0, x1, y0, y1 float64) (from, to float64) {
	const every, rows = 16.0, 8
	from, to = x1, x0
	for x := x0; x <= x1; x += every {
		for r := range rows + 1 {
			u, v := f.Project(x, y0+(y1-y0)*float64(r)/rows, z)
			if u > 0 && v > 0 && u < float64(w-1) && v < float64(h-1) {
				from, to = min(from, x), max(to, x)
				break
			}
		}
	}
	return max(from-every, x0), min(to+every, x1)
}
