package vision

import (
	"image"
	"math"
	"sort"

	"gocv.io/x/gocv"
)

const (
	blockSide = 64            // px
	sliceRows = 8 * blockSide // rows that are looked at together: of a whole picture the numbers would fill 150 MB
	sliceEdge = blockSide     // rows beyond them that the blurs reach
)

// detail4 is the contrast at 1 to 2 px over that at 4 to 8 px, of the
// logarithm of a grey picture: the 80th percentile over blocks.
func detail4(gray gocv.Mat) (float64, error) {
	var fine, coarse []float64
	for top := 0; top+blockSide <= gray.Rows(); top += sliceRows {
		from, to := max(top-sliceEdge, 0), min(top+sliceRows+sliceEdge, gray.Rows())
		f, c, err := sliceDetail(gray, from, to, top-from, min(sliceRows, gray.Rows()-top))
		if err != nil {
			return 0, err
		}
		fine, coarse = append(fine, f...), append(coarse, c...)
	}
	return quantile(fine, .8) / max(quantile(coarse, .8), 1e-6), nil
}

// sliceDetail is the contrast of the blocks in some rows of a picture, of which
// those between from and to are looked at.
func sliceDetail(gray gocv.Mat, from, to, first, rows int) (fine, coarse []float64, err error) {
	slice := gray.Region(image.Rect(0, from, gray.Cols(), to))
	defer slice.Close()
	log := gocv.NewMat()
	defer log.Close()
	if err := slice.ConvertToWithParams(&log, gocv.MatTypeCV32F, 1./255, .04); err != nil {
		return nil, nil, err
	}
	if err := gocv.Log(log, &log); err != nil {
		return nil, nil, err
	}
	if fine, err = bands(log, blockSide, first, rows); err != nil {
		return nil, nil, err
	}
	const by = 4
	small := gocv.NewMat()
	defer small.Close()
	if err := gocv.Resize(log, &small, image.Pt(log.Cols()/by, log.Rows()/by), 0, 0, gocv.InterpolationArea); err != nil {
		return nil, nil, err
	}
	coarse, err = bands(small, blockSide/by, first/by, rows/by)
	return fine, coarse, err
}

// bands is the root mean square, block by block, of the difference of two
// Gaussian blurs of 1 and 2 px, in so many rows from the first.
func bands(m gocv.Mat, side, first, rows int) ([]float64, error) {
	p, q := gocv.NewMat(), gocv.NewMat()
	defer p.Close()
	defer q.Close()
	if err := gocv.GaussianBlur(m, &p, image.Point{}, 1, 1, gocv.BorderReplicate); err != nil {
		return nil, err
	}
	if err := gocv.GaussianBlur(m, &q, image.Point{}, 2, 2, gocv.BorderReplicate); err != nil {
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
	w, h := m.Cols(), first+rows
	var out []float64
	for r := first; r+side <= h; r += side {
		for c := 0; c+side <= w; c += side {
			s := 0.0
			for i := r; i < r+side; i += 2 {
				for j := c; j < c+side; j += 2 {
					d := float64(x[i*w+j] - y[i*w+j])
					s += d * d
				}
			}
			out = append(out, math.Sqrt(s/float64(side*side/4)))
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
