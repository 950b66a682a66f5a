package card

import (
	"math"

	"gocv.io/x/gocv"
)

const (
	edgeMiddle = .5  // share of a square's side, about its middle, along which the border is read
	edgeDark   = .3  // squares read to the dark side of a border
	sharpest   = .2  // px: least standard deviation that is told
	softest    = .3  // squares: the most
	borderPts  = 200 // pixels that a border is read from, about: more tell no more
)

// Blur measures how soft the picture is where the card lies: the standard
// deviation in pixels of a Gaussian that turns the sharp borders between black
// and white squares into the ones seen (a 10 to 90 % rise is 2.563 of them).
// Borders along and across the board are taken apart and the softer kind
// counts, so that a shaken picture shows too. gray is the picture s was found
// in. The answer is 0 when no border can be read.
func Blur(gray gocv.Mat, b Board, s Sight) float64 {
	pic, err := rasterOf(gray)
	if err != nil {
		return 0
	}
	at := map[int]Corner{}
	for _, c := range s.Corners {
		at[c.ID] = c
	}
	var upright, level []float64
	for id, c := range at {
		column, row := id%(b.Cols-1), id/(b.Cols-1)
		// The square down right of corner id has the parity of the corner.
		if n, ok := at[id+1]; ok && column < b.Cols-2 {
			level = appendSigma(level, pic, b, c, n, b.Black(column+1, row+1))
		}
		if n, ok := at[id+b.Cols-1]; ok {
			upright = appendSigma(upright, pic, b, c, n, !b.Black(column+1, row+1))
		}
	}
	return math.Max(median(upright), median(level))
}

// appendSigma reads the border from corner p to corner q; darkRight tells that
// the black square lies to the right of that way as seen in the picture.
func appendSigma(to []float64, pic raster, b Board, p, q Corner, darkRight bool) []float64 {
	side := math.Hypot(q.X-p.X, q.Y-p.Y)
	rim := (1 - b.MarkerRatio) / 2 * side
	edge := pic.across([2]float64{p.X, p.Y}, [2]float64{q.X, q.Y}, side, rim, darkRight)
	if sigma, ok := edge.sigma(softest * side); ok {
		return append(to, sigma)
	}
	return to
}

// profile is grey levels against the distance from a border in px, the white
// rim of a marker to the positive side; rim is the rim's width.
type profile struct {
	t, grey []float64
	rim     float64
}

// across gathers the pixels beside the middle of the border p to q.
func (r raster) across(p, q [2]float64, side, rim float64, darkRight bool) profile {
	out := profile{rim: rim}
	ux, uy := (q[0]-p[0])/side, (q[1]-p[1])/side
	nx, ny := uy, -ux // to the left of the way, y being down
	if !darkRight {
		nx, ny = -nx, -ny
	}
	mx, my := (p[0]+q[0])/2, (p[1]+q[1])/2
	reach := math.Max(rim, edgeDark*side) + edgeMiddle/2*side
	every := max(1, int(edgeMiddle*side*(edgeDark*side+rim)/borderPts))
	for y := int(my - reach); y <= int(my+reach)+1; y++ {
		for x := int(mx - reach); x <= int(mx+reach)+1; x++ {
			if scattered(x, y)%every != 0 || x < 0 || y < 0 || x >= r.width || y >= r.height {
				continue
			}
			dx, dy := float64(x)-mx, float64(y)-my
			t := dx*nx + dy*ny
			if math.Abs(dx*ux+dy*uy) > edgeMiddle/2*side || t < -edgeDark*side || t > rim {
				continue
			}
			out.t, out.grey = append(out.t, t), append(out.grey, float64(r.pix[y*r.width+x]))
		}
	}
	return out
}

// scattered numbers the pixels without any order, so that every n-th of them
// lies in no row: the usual spatial hash (Teschner et al. 2003).
func scattered(x, y int) int { return x*73856093 ^ y*19349663 }

// sigma fits black, a white rim and the black border of the marker behind it,
// all softened alike, by least squares.
func (e profile) sigma(most float64) (float64, bool) {
	if len(e.t) < 20 || most <= sharpest {
		return 0, false
	}
	lo, hi := math.Log(sharpest), math.Log(most)
	const golden = .6180339887498949
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := e.misfit(math.Exp(a)), e.misfit(math.Exp(b))
	for hi-lo > .01 {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = e.misfit(math.Exp(a))
		} else {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = e.misfit(math.Exp(b))
		}
	}
	best := (lo + hi) / 2
	return math.Exp(best), !math.IsInf(e.misfit(math.Exp(best)), 1)
}

// misfit is the sum of squares that is left with this softness.
func (e profile) misfit(sigma float64) float64 {
	eq := normal{n: 2}
	var yy float64
	for i, t := range e.t {
		m := phi(t/sigma) - phi((t-e.rim)/sigma)
		eq.add([6]float64{1, m}, e.grey[i], 1)
		yy += e.grey[i] * e.grey[i]
	}
	c, ok := eq.solve()
	if !ok || c[1] < minContrast {
		return math.Inf(1)
	}
	return yy - c[0]*eq.b[0] - c[1]*eq.b[1]
}

// phi is the distribution function of the standard normal law, from a table: off
// by 5e-6 at most.
func phi(x float64) float64 {
	at := (x + phiReach) * phiSteps
	i := int(at)
	switch {
	case !(at > 0):
		return 0
	case i >= len(phiTable)-1:
		return 1
	}
	return phiTable[i] + (at-float64(i))*(phiTable[i+1]-phiTable[i])
}

const (
	phiReach = 6.
	phiSteps = 80
)

var phiTable = func() (t [2*phiReach*phiSteps + 1]float64) {
	for i := range t {
		t[i] = .5 * math.Erfc(-(float64(i)/phiSteps-phiReach)/math.Sqrt2)
	}
	return t
}()
