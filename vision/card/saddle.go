package card

import "math"

// raster is a view of the bytes of a picture with one channel; (0, 0) is the
// centre of its first pixel.
type raster struct {
	pix           []byte
	width, height int
}

func (r raster) inside(x, y float64, margin int) bool {
	m := float64(margin)
	return x >= m && y >= m && x <= float64(r.width-1)-m && y <= float64(r.height-1)-m
}

const (
	saddleSteps   = 20
	saddleSettled = .005 // px: steps under this end the search
	weightSigma   = .35  // standard deviation of the weights, in half windows: a wider one feels the markers
)

// saddle walks from start to the saddle point of the grey levels, where four
// squares of the chessboard meet: a quadratic surface is fitted by least squares
// to the pixels within half of the point (px, Gaussian weights) and the point
// moves to the surface's saddle, until it rests. The window must stay inside
// the white rim round the markers; beyond it the fit would lock on a marker.
// ok is false when it leaves the picture, goes farther than reach, or the
// surface has no saddle.
func (r raster) saddle(start [2]float64, half, reach float64) (p [2]float64, ok bool) {
	p = start
	size := int(math.Ceil(half))
	for range saddleSteps {
		if !r.inside(p[0], p[1], size+1) {
			return p, false
		}
		dx, dy, found := r.saddleStep(p, half, size)
		if !found || math.Hypot(dx, dy) > 2*half {
			return p, false
		}
		p[0], p[1] = p[0]+dx, p[1]+dy
		if distance(p, start) > reach {
			return p, false
		}
		if math.Hypot(dx, dy) < saddleSettled {
			return p, true
		}
	}
	return p, false
}

func (r raster) saddleStep(p [2]float64, half float64, size int) (dx, dy float64, ok bool) {
	cx, cy := int(math.Round(p[0])), int(math.Round(p[1]))
	spread := 2 * (half * weightSigma) * (half * weightSigma)
	across := make([]float64, 2*size+1) // the weight is a product of one of each
	for i := range across {
		u := float64(cx-size+i) - p[0]
		across[i] = math.Exp(-u * u / spread)
	}
	eq := normal{n: 6}
	for y := cy - size; y <= cy+size; y++ {
		v := float64(y) - p[1]
		down := math.Exp(-v * v / spread)
		for x := cx - size; x <= cx+size; x++ {
			u := float64(x) - p[0]
			eq.add([6]float64{1, u, v, u * u, u * v, v * v}, float64(r.pix[y*r.width+x]), down*across[x-cx+size])
		}
	}
	c, ok := eq.solve()
	det := 4*c[3]*c[5] - c[4]*c[4]
	if !ok || det >= 0 {
		return 0, 0, false
	}
	return (c[4]*c[2] - 2*c[5]*c[1]) / det, (c[4]*c[1] - 2*c[3]*c[2]) / det, true
}

// likeness correlates the grey levels within half of p with the chessboard that
// must be there: j takes card axes to pixels, and the squares up left and down
// right of the corner are black if black is true. It answers the correlation,
// -1 to 1, and the contrast in grey levels. A corner under something is unlike.
func (r raster) likeness(p [2]float64, half float64, j [2][2]float64, black bool) (corr, contrast float64) {
	size := int(math.Ceil(half))
	if !r.inside(p[0], p[1], size+1) {
		return 0, 0
	}
	det := j[0][0]*j[1][1] - j[0][1]*j[1][0]
	cx, cy := int(math.Round(p[0])), int(math.Round(p[1]))
	var n, st, sg, stt, sgg, stg float64
	for y := cy - size; y <= cy+size; y++ {
		for x := cx - size; x <= cx+size; x++ {
			u, v := float64(x)-p[0], float64(y)-p[1]
			if u*u+v*v > half*half {
				continue
			}
			// Pixels on a border are half of each square: no evidence.
			a, b := (j[1][1]*u-j[0][1]*v)/det, (j[0][0]*v-j[1][0]*u)/det
			ax, by := a*math.Hypot(j[0][0], j[1][0]), b*math.Hypot(j[0][1], j[1][1])
			t := -soft(ax) * soft(by)
			if !black {
				t = -t
			}
			g := float64(r.pix[y*r.width+x])
			n, st, sg, stt, sgg, stg = n+1, st+t, sg+g, stt+t*t, sgg+g*g, stg+t*g
		}
	}
	cov, vt, vg := stg-st*sg/n, stt-st*st/n, sgg-sg*sg/n
	if !(vt > 0 && vg > 0) {
		return 0, 0
	}
	return cov / math.Sqrt(vt*vg), 2 * cov / vt
}

// soft is a step as a lens shows it, one pixel to either side.
func soft(px float64) float64 { return math.Max(-1, math.Min(1, px/1.5)) }
