package vision

import (
	"image"
	"math"
	"sort"

	"gocv.io/x/gocv"
)

const blockSide = 64 // px

// bands is the root mean square, block by block, of the difference of two Gaussian blurs.
func bands(m gocv.Mat, a, b float64) ([]float64, error) {
	p, q := gocv.NewMat(), gocv.NewMat()
	defer p.Close()
	defer q.Close()
	if err := gocv.GaussianBlur(m, &p, image.Point{}, a, a, gocv.BorderReplicate); err != nil {
		return nil, err
	}
	if err := gocv.GaussianBlur(m, &q, image.Point{}, b, b, gocv.BorderReplicate); err != nil {
		return nil, err
	}
	x, err := p.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	y, err := q.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	w, h := m.Cols(), m.Rows()
	var out []float64
	for r := 0; r+blockSide <= h; r += blockSide {
		for c := 0; c+blockSide <= w; c += blockSide {
			s := 0.0
			for i := r; i < r+blockSide; i += 2 {
				for j := c; j < c+blockSide; j += 2 {
					d := float64(x[i*w+j] - y[i*w+j])
					s += d * d
				}
			}
			out = append(out, math.Sqrt(s/(blockSide*blockSide/4)))
		}
	}
	return out, nil
}

// quantile of unsorted values, 0 when there are none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	return s[min(int(q*float64(len(s))), len(s)-1)]
}
