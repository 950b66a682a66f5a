package plane

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Homography takes the card's plane (mm, as in Corner) to the picture (px),
// with what the noise of the corners makes of it. It knows nothing of lens,
// bend or height: what it predicts holds on the card's plane only.
type Homography struct {
	H          [9]float64    // row by row; the denominator is 1 at the middle of the corners used
	Cov        [9][9]float64 // covariance of H, of rank 8: the scale of H is fixed
	ResidualPx float64       // rms distance of the corners used
	Chi        float64       // mean square of their normalised residuals a degree of freedom; 0 for four corners
	Dropped    []int         // corners that do not agree with the rest, by index
}

const (
	subsets   = 150 // of four corners that are tried for a first guess
	outlier   = 4.5 // robust standard deviations beyond which a corner is left out
	rayleigh  = 1.1774
	fewest    = 8 // corners from which on the odd one can be told
	chiLimitZ = 3.09
)

// FitHomography fits by least squares to the reprojection error, from
// normalised coordinates (Hartley 1997), and leaves out corners that do not
// agree with the rest (least median of squares, Rousseeuw 1984) where there are
// eight or more. Fewer than four corners, or corners on one line, are an error.
//
// The covariance is that of Criminisi, Reid and Zisserman (Image and Vision
// Computing 17, 1999), in its form for the fit that is refined:
// (JᵀWJ)⁻¹ of eight free entries. Where the residuals say that the corners are
// noisier than told (chi-square, 99.9 %), it grows by as much.
func FitHomography(pts []Corner) (Homography, error) {
	if len(pts) < 4 {
		return Homography{}, fmt.Errorf("homography: %d corners; at least 4 are needed", len(pts))
	}
	for i, p := range pts {
		if s := p.X + p.Y + p.U + p.V + p.Sigma; !(p.Sigma > 0) || math.IsNaN(s) || math.IsInf(s, 0) {
			return Homography{}, fmt.Errorf("homography: corner %d is %v; finite places and an uncertainty over 0 px are needed", i, p)
		}
	}
	used := pts
	var dropped []int
	if len(pts) >= fewest {
		h, ok := guess(pts)
		for range 5 {
			if !ok {
				break
			}
			before := len(used)
			used, dropped = agreeing(h, pts)
			if h, ok = fit(used); len(used) == before {
				break
			}
		}
	}
	h, ok := fit(used)
	if !ok {
		return Homography{}, fmt.Errorf("homography: %d corners lie on one line or at one place; corners that span an area are needed", len(used))
	}
	h.Dropped = dropped
	return h, nil
}

// ToPicture takes a point of the card's plane to the picture.
func (h Homography) ToPicture(x, y float64) (u, v float64) {
	w := h.H[6]*x + h.H[7]*y + h.H[8]
	return (h.H[0]*x + h.H[1]*y + h.H[2]) / w, (h.H[3]*x + h.H[4]*y + h.H[5]) / w
}

// ToPlane takes a point measured in the picture, with its standard uncertainty
// an axis, to the card's plane; ux and uy (mm) hold the noise of the point and
// that of the corners, to first order.
func (h Homography) ToPlane(u, v, sigmaPx float64) (x, y, ux, uy float64) {
	// u (h6 x + h7 y + h8) = h0 x + h1 y + h2, and the same for v
	H := h.H
	a, b, c := H[0]-u*H[6], H[1]-u*H[7], u*H[8]-H[2]
	d, e, f := H[3]-v*H[6], H[4]-v*H[7], v*H[8]-H[5]
	det := a*e - b*d
	x, y = (c*e-b*f)/det, (a*f-c*d)/det
	w := H[6]*x + H[7]*y + H[8]
	// a small change of the picture point moves (x, y) by back times it
	back := [2][2]float64{{w * e / det, -w * b / det}, {-w * d / det, w * a / det}}
	px := [2][9]float64{
		{x / w, y / w, 1 / w, 0, 0, 0, -u * x / w, -u * y / w, -u / w},
		{0, 0, 0, x / w, y / w, 1 / w, -v * x / w, -v * y / w, -v / w},
	}
	var u2 [2]float64
	for k := range 2 {
		var g [9]float64
		for i := range 9 {
			g[i] = back[k][0]*px[0][i] + back[k][1]*px[1][i]
		}
		u2[k] = sigmaPx * sigmaPx * (back[k][0]*back[k][0] + back[k][1]*back[k][1])
		for i := range 9 {
			for j := range 9 {
				u2[k] += g[i] * h.Cov[i][j] * g[j]
			}
		}
	}
	return x, y, math.Sqrt(max(u2[0], 0)), math.Sqrt(max(u2[1], 0))
}

// off is how far a corner lies from where h puts it, px.
func (h *Homography) off(p Corner) float64 {
	u, v := h.ToPicture(p.X, p.Y)
	return hypot(u-p.U, v-p.V)
}

// guess is the homography through four corners that has the smallest median
// distance from all of them; the draws are the same on every run.
func guess(pts []Corner) (best Homography, ok bool) {
	draw := rand.New(rand.NewPCG(1, 2))
	least := math.Inf(1)
	d := make([]float64, len(pts))
	four := make([]Corner, 4)
	for range subsets {
		for i, k := range draw.Perm(len(pts))[:4] {
			four[i] = pts[k]
		}
		t := normaliser(four)
		e, fine := t.linear(four)
		if !fine {
			continue
		}
		h := Homography{H: t.lift(e)}
		for i, p := range pts {
			d[i] = h.off(p)
		}
		if m := median(d); m < least {
			least, best, ok = m, h, true
		}
	}
	return best, ok
}

// agreeing parts the corners by the robust spread of their distances from h,
// which never counts as smaller than their own uncertainty.
func agreeing(h Homography, pts []Corner) (used []Corner, dropped []int) {
	d := make([]float64, len(pts))
	for i, p := range pts {
		d[i] = h.off(p) / p.Sigma
	}
	limit := outlier * max(1, median(d)/rayleigh)
	for i, p := range pts {
		if d[i] <= limit {
			used = append(used, p)
		} else {
			dropped = append(dropped, i)
		}
	}
	return used, dropped
}

// median leaves d as it is; NaN counts as far.
func median(d []float64) float64 {
	s := slices.Clone(d)
	for i, v := range s {
		if math.IsNaN(v) {
			s[i] = math.Inf(1)
		}
	}
	slices.Sort(s)
	return s[len(s)/2]
}

// scaling brings points to a middle of 0 and a mean distance of √2, on the
// card and in the picture.
type scaling struct{ x, y, s, u, v, t float64 }

func normaliser(pts []Corner) scaling {
	var k scaling
	n := float64(len(pts))
	for _, p := range pts {
		k.x, k.y, k.u, k.v = k.x+p.X/n, k.y+p.Y/n, k.u+p.U/n, k.v+p.V/n
	}
	var a, b float64
	for _, p := range pts {
		a += hypot(p.X-k.x, p.Y-k.y) / n
		b += hypot(p.U-k.u, p.V-k.v) / n
	}
	k.s, k.t = math.Sqrt2/max(a, 1e-9), math.Sqrt2/max(b, 1e-9)
	return k
}

func (k *scaling) corner(p Corner) (x, y, u, v float64) {
	return (p.X - k.x) * k.s, (p.Y - k.y) * k.s, (p.U - k.u) * k.t, (p.V - k.v) * k.t
}

// linear solves the eight free entries of the normalised homography, its last
// one being 1, from two equations a corner.
func (k *scaling) linear(pts []Corner) (e [9]float64, ok bool) {
	return solve8(pts, func(p Corner) (rows [2][8]float64, y [2]float64) {
		X, Y, U, V := k.corner(p)
		return [2][8]float64{{X, Y, 1, 0, 0, 0, -X * U, -Y * U}, {0, 0, 0, X, Y, 1, -X * V, -Y * V}}, [2]float64{U, V}
	}, nil)
}

// solve8 is one linear least squares step for eight unknowns; with cov it also
// gives the inverse of the normal matrix.
func solve8(pts []Corner, equation func(Corner) ([2][8]float64, [2]float64), cov *mat.SymDense) (e [9]float64, ok bool) {
	N, g := mat.NewSymDense(8, nil), mat.NewVecDense(8, nil)
	for _, p := range pts {
		rows, y := equation(p)
		for r := range 2 {
			for i := range 8 {
				g.SetVec(i, g.AtVec(i)+rows[r][i]*y[r])
				for j := i; j < 8; j++ {
					N.SetSym(i, j, N.At(i, j)+rows[r][i]*rows[r][j])
				}
			}
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(N) || ch.Cond() > 1e13 {
		return e, false
	}
	var x mat.VecDense
	if ch.SolveVecTo(&x, g) != nil {
		return e, false
	}
	for i := range 8 {
		e[i] = x.AtVec(i)
	}
	e[8] = 1
	return e, cov == nil || ch.InverseTo(cov) == nil
}

// lift takes a normalised homography to mm and px; it is linear in e.
func (k *scaling) lift(e [9]float64) (h [9]float64) {
	var a [9]float64
	for r := range 3 {
		p, q, w := e[3*r], e[3*r+1], e[3*r+2]
		a[3*r], a[3*r+1], a[3*r+2] = p*k.s, q*k.s, w-p*k.s*k.x-q*k.s*k.y
	}
	for j := range 3 {
		h[j], h[3+j], h[6+j] = a[j]/k.t+k.u*a[6+j], a[3+j]/k.t+k.v*a[6+j], a[6+j]
	}
	return h
}

// fit is the least squares fit to the reprojection error over all the corners.
func fit(pts []Corner) (Homography, bool) {
	if len(pts) < 4 {
		return Homography{}, false
	}
	k := normaliser(pts)
	e, ok := k.linear(pts)
	cov := mat.NewSymDense(8, nil)
	for range 12 {
		if !ok {
			return Homography{}, false
		}
		var d [9]float64
		d, ok = solve8(pts, func(p Corner) ([2][8]float64, [2]float64) { return k.tangent(e, p) }, cov)
		largest := 0.0
		for i := range 8 {
			e[i] += d[i]
			largest = max(largest, math.Abs(d[i]))
		}
		if largest < 1e-12 {
			break
		}
	}
	h := Homography{H: k.lift(e)}
	h.judge(pts)
	h.spread(&k, cov, len(pts))
	return h, ok
}

// tangent is the reprojection error of one corner at e, linear in the change
// of e, over its uncertainty.
func (k *scaling) tangent(e [9]float64, p Corner) (rows [2][8]float64, y [2]float64) {
	X, Y, U, V := k.corner(p)
	w := e[6]*X + e[7]*Y + 1
	u, v := (e[0]*X+e[1]*Y+e[2])/w, (e[3]*X+e[4]*Y+e[5])/w
	s := p.Sigma * k.t
	a, b, c := X/w/s, Y/w/s, 1/w/s
	return [2][8]float64{{a, b, c, 0, 0, 0, -u * a, -u * b}, {0, 0, 0, a, b, c, -v * a, -v * b}}, [2]float64{(U - u) / s, (V - v) / s}
}

// judge sets what the residuals tell.
func (h *Homography) judge(pts []Corner) {
	n, free := float64(len(pts)), float64(2*len(pts)-8)
	px, chi := 0.0, 0.0
	for _, p := range pts {
		d := h.off(p)
		px += d * d / n
		chi += d * d / (p.Sigma * p.Sigma)
	}
	h.ResidualPx = math.Sqrt(px)
	if free > 0 {
		h.Chi = chi / free
	}
}

// spread takes the covariance of the eight normalised entries to that of H.
func (h *Homography) spread(k *scaling, cov *mat.SymDense, n int) {
	grow := 1.0
	if free := float64(2*n - 8); free > 0 && h.Chi > chiLimit(free) {
		grow = h.Chi
	}
	var cols [8][9]float64
	for i := range 8 {
		var unit [9]float64
		unit[i] = 1
		cols[i] = k.lift(unit)
	}
	for a := range 9 {
		for b := range 9 {
			for i := range 8 {
				for j := range 8 {
					h.Cov[a][b] += grow * cols[i][a] * cov.At(i, j) * cols[j][b]
				}
			}
		}
	}
}

// chiLimit is the 99.9 % point of chi-square over its degrees of freedom
// (Wilson and Hilferty 1931).
func chiLimit(free float64) float64 {
	c := 2 / (9 * free)
	q := 1 - c + chiLimitZ*math.Sqrt(c)
	return q * q * q
}
