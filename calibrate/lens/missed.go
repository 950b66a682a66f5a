package lens

import (
	"image"
	"math"

	"coursegauge/vision/card"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/mat"
)

// What is done about corners that the finder leaves out because lens and bend
// carry them farther from the plane's picture than it allows: these are the
// ones at the borders of the frame, which tell most of the lens.
const (
	enoughToFill = 30  // corners that a trend of third degree needs
	fillWindow   = .12 // half width of the window, in squares: inside the rim of the markers
	farFromTrend = 3.0 // px
)

// missed looks for the corners that are not in a sight, near where the trend of
// the others puts them.
func missed(gray gocv.Mat, s card.Sight) []card.Corner {
	b := card.Standard
	var gone []int
	have := map[int]bool{}
	for _, k := range s.Corners {
		have[k.ID] = true
	}
	for id := range b.Corners() {
		if !have[id] {
			gone = append(gone, id)
		}
	}
	trend, ok := trendOf(s)
	if !ok || len(gone) == 0 {
		return nil
	}
	var out []card.Corner
	for _, id := range gone {
		k := card.Corner{ID: id, BoardX: float64(id%(b.Cols-1)+1) * b.SquareMM, BoardY: float64(id/(b.Cols-1)+1) * b.SquareMM}
		x, y := trend(k.BoardX, k.BoardY)
		half := int(math.Ceil(max(3, fillWindow*s.MinSquarePx)))
		if x < float64(2*half) || y < float64(2*half) || x > float64(gray.Cols()-2*half) || y > float64(gray.Rows()-2*half) {
			continue
		}
		if k.X, k.Y, ok = refined(gray, x, y, half); ok && math.Hypot(k.X-x, k.Y-y) < farFromTrend {
			out = append(out, k)
		}
	}
	return out
}

// refined is OpenCV's corner location from a start (Förstner and Gülch 1987).
func refined(gray gocv.Mat, x, y float64, half int) (u, v float64, ok bool) {
	m := gocv.NewMatWithSize(1, 1, gocv.MatTypeCV32FC2)
	defer m.Close()
	p, err := m.DataPtrFloat32()
	if err != nil {
		return 0, 0, false
	}
	p[0], p[1] = float32(x), float32(y)
	stop := gocv.NewTermCriteria(gocv.Count|gocv.EPS, 40, .002)
	if err := gocv.CornerSubPix(gray, &m, image.Pt(half, half), image.Pt(-1, -1), stop); err != nil {
		return 0, 0, false
	}
	return float64(p[0]), float64(p[1]), true
}

// trendOf takes the board (mm) to the picture: the homography of the sight and
// a polynomial of third degree for what it leaves over.
func trendOf(s card.Sight) (at func(x, y float64) (u, v float64), ok bool) {
	if len(s.Corners) < enoughToFill {
		return nil, false
	}
	A, R := mat.NewDense(len(s.Corners), 10, nil), mat.NewDense(len(s.Corners), 2, nil)
	for i, k := range s.Corners {
		u, v := flat(s.H, k.BoardX, k.BoardY)
		A.SetRow(i, cubic(k.BoardX, k.BoardY))
		R.SetRow(i, []float64{k.X - u, k.Y - v})
	}
	var c mat.Dense
	if c.Solve(A, R) != nil {
		return nil, false
	}
	return func(x, y float64) (u, v float64) {
		u, v = flat(s.H, x, y)
		for i, t := range cubic(x, y) {
			u, v = u+t*c.At(i, 0), v+t*c.At(i, 1)
		}
		return u, v
	}, true
}

// cubic are the terms of third degree, the board scaled to about -1 to 1.
func cubic(x, y float64) []float64 {
	x, y = x/halfLong-1, y/halfLong-.6
	return []float64{1, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y}
}

func flat(h [9]float64, x, y float64) (u, v float64) {
	w := h[6]*x + h[7]*y + h[8]
	return (h[0]*x + h[1]*y + h[2]) / w, (h[3]*x + h[4]*y + h[5]) / w
}
