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
	ax, err := floats(mx)
	if err != nil {
		return gocv.Mat{}, fmt.Errorf("rectify: %w", err)
	}
	ay, err := floats(my)
	if err != nil {
		return gocv.Mat{}, fmt.Errorf("rectify: %w", err)
	}
	rim := 1.5*float64(max(n, 2)) - .5
	dark := v.maps(ax, ay, rim, float64(p.Width())-1-rim, float64(p.Height())-1-rim)
	out, err := p.Sample(mx, my, n, color.RGBA{})
	if err != nil {
		return out, fmt.Errorf("rectify: %w", err)
	}
	b, err := out.DataPtrUint8()
	if err != nil {
		_ = out.Close() // the first error tells more
		return gocv.Mat{}, fmt.Errorf("rectify: %w", err)
	}
	for _, s := range dark {
		clear(b[3*s[0] : 3*s[1]])
	}
	return out, nil
}

func (v *View) localScale() float64 {
	a, b := v.ToPicture(float64(v.W)/2, float64(v.H)/2)
	c, d := v.ToPicture(float64(v.W)/2+1, float64(v.H)/2)
	return math.Hypot(c-a, d-b)
}

// maps fills the places in the picture, px, of the view's pixels. It answers the
// pixels, as ranges, that do not lie between rim and (right, bottom): those whose
// neighbours are partly outside the photo.
func (v *View) maps(ax, ay []float32, rim, right, bottom float64) (dark [][2]int) {
	gw, gh := v.W/grid+2, v.H/grid+2
	nx, ny, in := make([]float64, gw*gh), make([]float64, gw*gh), make([]bool, gw*gh)
	inside := func(x, y float64) bool { return x > rim && x < right && y > rim && y < bottom }
	for k := range nx {
		x, y := v.ToPicture(float64(k%gw*grid), float64(k/gw*grid))
		nx[k], ny[k], in[k] = x, y, inside(x, y)
	}
	for r := range v.H {
		j, fy := r/grid, float64(r%grid)/grid
		for i := range gw - 1 {
			k := j*gw + i
			x, y := nx[k]*(1-fy)+nx[k+gw]*fy, ny[k]*(1-fy)+ny[k+gw]*fy
			dx, dy := (nx[k+1]*(1-fy)+nx[k+gw+1]*fy-x)/grid, (ny[k+1]*(1-fy)+ny[k+gw+1]*fy-y)/grid
			whole := in[k] && in[k+1] && in[k+gw] && in[k+gw+1] // then so is all between
			for at := r*v.W + i*grid; at < r*v.W+min(i*grid+grid, v.W); at++ {
				ax[at], ay[at] = float32(x), float32(y)
				if !whole && !inside(x, y) {
					if n := len(dark); n > 0 && dark[n-1][1] == at {
						dark[n-1][1]++
					} else {
						dark = append(dark, [2]int{at, at + 1})
					}
				}
				x, y = x+dx, y+dy
			}
		}
	}
	return dark
}

// floats is the memory of a continuous 32-bit float Mat.
func floats(m gocv.Mat) ([]float32, error) {
	b, err := m.DataPtrFloat32()
	if err != nil {
		return nil, fmt.Errorf("the memory of a view: %w", err)
	}
	return b, nil
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
