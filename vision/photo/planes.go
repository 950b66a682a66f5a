package photo

import (
	"fmt"
	"image"
	"image/color"

	"gocv.io/x/gocv"
)

// Of takes apart an upright picture of 3 channels in the order B G R, 8 bits
// each, which stays the caller's.
func Of(bgr gocv.Mat) (*Picture, error) {
	if bgr.Type() != gocv.MatTypeCV8UC3 || bgr.Empty() {
		return nil, fmt.Errorf("a picture of %d x %d and type %v; 3 channels of 8 bits are needed", bgr.Cols(), bgr.Rows(), bgr.Type())
	}
	p := &Picture{Gray: gocv.NewMat()}
	err := gocv.CvtColor(bgr, &p.Gray, gocv.ColorBGRToGray)
	if err == nil {
		err = p.halve(bgr)
	}
	if err != nil {
		_ = p.Close() // the first error tells more
		return nil, err
	}
	return p, nil
}

// halve adds half of what is the smallest so far, by area.
func (p *Picture) halve(from gocv.Mat) error {
	size := image.Pt(max(from.Cols()/2, 1), max(from.Rows()/2, 1))
	even := from.Region(image.Rect(0, 0, min(2*size.X, from.Cols()), min(2*size.Y, from.Rows()))) // an odd last row would stretch the rest
	defer even.Close()
	to := gocv.NewMat()
	if err := gocv.Resize(even, &to, size, 0, 0, gocv.InterpolationArea); err != nil {
		_ = to.Close()
		return fmt.Errorf("halve a picture: %w", err)
	}
	p.halves = append(p.halves, to)
	return nil
}

// Reduced is the picture in colour, reduced n times: 2, 4, 8 ... It belongs to
// the picture. An odd last column or row of what is halved is left out.
func (p *Picture) Reduced(n int) (gocv.Mat, error) {
	k := 0
	for ; 2<<k < n; k++ {
		if k+1 == len(p.halves) {
			if err := p.halve(p.halves[k]); err != nil {
				return gocv.Mat{}, err
			}
		}
	}
	return p.halves[k], nil
}

// BGR is the picture in colour, at full size. Close it.
func (p *Picture) BGR() (gocv.Mat, error) {
	out := gocv.NewMat()
	err := gocv.Resize(p.halves[0], &out, image.Pt(p.Width(), p.Height()), 0, 0, gocv.InterpolationLinear)
	if err == nil {
		err = Shade(&out, p.Gray)
	}
	if err != nil {
		_ = out.Close()
		return gocv.Mat{}, fmt.Errorf("put colours on the picture: %w", err)
	}
	return out, nil
}

// AtLeast is the picture in colour, reduced as far as leaves side pixels of its
// longer side. Close it.
func (p *Picture) AtLeast(side int) (gocv.Mat, error) {
	n := 1
	for max(p.Width(), p.Height())/(2*n) >= max(side, 1) {
		n *= 2
	}
	if n == 1 {
		return p.BGR()
	}
	m, err := p.Reduced(n)
	if err != nil {
		return m, err
	}
	return m.Region(image.Rect(0, 0, m.Cols(), m.Rows())), nil
}

// Shade gives colours (B G R) the luma of a grey picture of their size.
func Shade(bgr *gocv.Mat, gray gocv.Mat) error {
	if err := gocv.CvtColor(*bgr, bgr, gocv.ColorBGRToYCrCb); err != nil {
		return err
	}
	if err := gocv.InsertChannel(gray, bgr, 0); err != nil {
		return err
	}
	return gocv.CvtColor(*bgr, bgr, gocv.ColorYCrCbToBGR)
}

// Sample is a picture of what lies at the places (x, y) of the picture, px, of the
// picture reduced n times, between its pixels linearly; n is 1, 2, 4 ... Beyond
// the borders it is outside. Close it.
func (p *Picture) Sample(x, y gocv.Mat, n int, outside color.RGBA) (gocv.Mat, error) {
	src, err := p.Reduced(max(n, 2))
	if err != nil {
		return gocv.Mat{}, err
	}
	rx, ry, out := gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer rx.Close()
	defer ry.Close()
	k := 1 / float32(max(n, 2))
	for _, err := range []error{
		x.ConvertToWithParams(&rx, gocv.MatTypeCV32F, k, k/2-.5),
		y.ConvertToWithParams(&ry, gocv.MatTypeCV32F, k, k/2-.5),
		gocv.Remap(src, &out, &rx, &ry, gocv.InterpolationLinear, gocv.BorderConstant, outside),
	} {
		if err != nil {
			_ = out.Close()
			return gocv.Mat{}, fmt.Errorf("sample the picture: %w", err)
		}
	}
	if n > 1 {
		return out, nil
	}
	luma := gocv.NewMat()
	defer luma.Close()
	o := outside
	level := uint8((299*int(o.R) + 587*int(o.G) + 114*int(o.B)) / 1000)
	err = gocv.Remap(p.Gray, &luma, &x, &y, gocv.InterpolationLinear, gocv.BorderConstant, color.RGBA{B: level, A: o.A})
	if err == nil {
		err = Shade(&out, luma)
	}
	if err != nil {
		_ = out.Close()
		return gocv.Mat{}, fmt.Errorf("sample the picture: %w", err)
	}
	return out, nil
}
