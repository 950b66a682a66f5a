package lens

import (
	"math"

	"coursegauge/vision/plane"

	"gonum.org/v1/gonum/mat"
)

// nOwn are a view's own unknowns: turn, shift, bend.
const nOwn = 9

// Bends that a mounted card may have, mm (standard uncertainties; common
// practice, no source): along, twist, across.
var bendU = [3]float64{1.2, .5, .5}

// Where Pose.Bend is measured, mm from the board's middle.
const (
	halfLong  = 140.0
	halfShort = 90.0
)

type state struct {
	in    Intrinsics
	poses []Pose
}

// adjustment is the least-squares problem of all views together.
type adjustment struct {
	views []View
	model Model
	state state
}

func (in *Intrinsics) vector() [nShared]float64 {
	return [nShared]float64{in.F, in.Aspect, in.Cx, in.Cy, in.K1, in.K2, in.P1, in.P2, in.K3}
}

func intrinsics(v [nShared]float64) Intrinsics {
	return Intrinsics{v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]}
}

// project takes a point in the camera frame to the picture.
func (in *Intrinsics) project(p plane.Vec) (u, v float64) {
	x, y := in.distort(p[0]/p[2], p[1]/p[2])
	return in.F*x + in.Cx, in.F*in.Aspect*y + in.Cy
}

// distort is the lens on the plane z = 1 (Brown 1971, as OpenCV orders the terms).
func (in *Intrinsics) distort(x, y float64) (xd, yd float64) {
	r2 := x*x + y*y
	d := 1 + r2*(in.K1+r2*(in.K2+r2*in.K3))
	return x*d + 2*in.P1*x*y + in.P2*(r2+2*x*x), y*d + in.P1*(r2+2*y*y) + 2*in.P2*x*y
}

// inCamera is a point of the board's face in the camera frame.
func (p *Pose) inCamera(x, y float64) plane.Vec {
	a, b := x/halfLong, y/halfShort
	q := p.R.Mul(plane.Vec{x, y, p.Bend[0]*(a*a-1./3) + p.Bend[1]*a*b + p.Bend[2]*(b*b-1./3)})
	return plane.Vec{q[0] + p.T[0], q[1] + p.T[1], q[2] + p.T[2]}
}

// moved is a pose after a step of its own unknowns.
func (p Pose) moved(d [nOwn]float64) Pose {
	turn := plane.Rodrigues(plane.Vec{d[0], d[1], d[2]})
	p.R = p.R.Then(&turn)
	for i := range 3 {
		p.T[i] += d[3+i]
		p.Bend[i] += d[6+i]
	}
	return p
}

// residuals of a view, each over its standard uncertainty: the corners, then
// what is known of the bend.
func (v *View) residuals(in *Intrinsics, p *Pose, bend bool) []float64 {
	out := make([]float64, 0, 2*len(v.Points)+3)
	for _, k := range v.Points {
		x, y := in.project(p.inCamera(k.X, k.Y))
		out = append(out, (x-k.U)/k.Sigma, (y-k.V)/k.Sigma)
	}
	if bend {
		for i, b := range p.Bend {
			out = append(out, b/bendU[i])
		}
	}
	return out
}

// block is a view's part of the normal equations: A and a of the shared
// unknowns, C and c of its own, B between them.
type block struct {
	A, B, C [nShared][nOwn]float64
	a, c    [nShared]float64
}

// Steps of the numerical derivatives: small against each unknown's uncertainty.
var (
	sharedSteps = [nShared]float64{1e-2, 1e-6, 1e-2, 1e-2, 1e-6, 1e-6, 1e-7, 1e-7, 1e-6}
	ownSteps    = [nOwn]float64{1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3}
)

func (a *adjustment) free(param int) bool {
	switch param {
	case paramAspect:
		return a.model.Aspect
	case paramP1, paramP2:
		return a.model.Tangential
	case paramK3:
		return a.model.K3
	}
	return true
}

// block is the i-th view's part at a state.
func (a *adjustment) block(s *state, i int) (b block) {
	v := &a.views[i]
	r := v.residuals(&s.in, &s.poses[i], a.model.Bend)
	var shared [nShared][]float64
	var own [nOwn][]float64
	at := s.in.vector()
	for k := range nShared {
		if a.free(k) {
			lo, hi := at, at
			lo[k] -= sharedSteps[k]
			hi[k] += sharedSteps[k]
			l, h := intrinsics(lo), intrinsics(hi)
			shared[k] = slope(v.residuals(&l, &s.poses[i], a.model.Bend), v.residuals(&h, &s.poses[i], a.model.Bend), sharedSteps[k])
		}
	}
	for k := range nOwn {
		if k < 6 || a.model.Bend {
			var d [nOwn]float64
			d[k] = ownSteps[k]
			h := s.poses[i].moved(d)
			d[k] = -d[k]
			l := s.poses[i].moved(d)
			own[k] = slope(v.residuals(&s.in, &l, a.model.Bend), v.residuals(&s.in, &h, a.model.Bend), ownSteps[k])
		}
	}
	for j := range nShared {
		b.a[j], b.c[j] = dot(shared[j], r), dot(own[j], r)
		for k := range nOwn {
			b.A[j][k], b.B[j][k], b.C[j][k] = dot(shared[j], shared[k]), dot(shared[j], own[k]), dot(own[j], own[k])
		}
	}
	return b
}

func slope(lo, hi []float64, step float64) []float64 {
	for i := range hi {
		hi[i] = (hi[i] - lo[i]) / (2 * step)
	}
	return hi
}

// dot of two columns; a column that is not estimated is nil and gives 0.
func dot(a, b []float64) (s float64) {
	if a == nil || b == nil {
		return 0
	}
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// reduced is the view's part of the shared unknowns' equations once its own
// are eliminated (Schur complement), and what gives its own step back.
func (b *block) reduced(lambda float64) (S *mat.SymDense, g *mat.VecDense, W *mat.Dense, C *mat.Cholesky, ok bool) {
	c := mat.NewSymDense(nOwn, nil)
	for j := range nOwn {
		for k := j; k < nOwn; k++ {
			c.SetSym(j, k, b.C[j][k])
		}
		c.SetSym(j, j, b.C[j][j]*(1+lambda)+tiny(b.C[j][j]))
	}
	C = new(mat.Cholesky)
	if !C.Factorize(c) {
		return nil, nil, nil, nil, false
	}
	B := mat.NewDense(nOwn, nShared, nil) // transposed
	for j := range nShared {
		for k := range nOwn {
			B.Set(k, j, b.B[j][k])
		}
	}
	W = new(mat.Dense)
	if C.SolveTo(W, B) != nil {
		return nil, nil, nil, nil, false
	}
	S, g = mat.NewSymDense(nShared, nil), mat.NewVecDense(nShared, nil)
	for j := range nShared {
		x := b.a[j]
		for k := range nOwn {
			x -= W.At(k, j) * b.c[k]
		}
		g.SetVec(j, x)
		for k := j; k < nShared; k++ {
			y := b.A[j][k]
			for l := range nOwn {
				y -= b.B[j][l] * W.At(l, k)
			}
			S.SetSym(j, k, y)
		}
	}
	return S, g, W, C, true
}

// tiny keeps an unknown that is not estimated where it is.
func tiny(d float64) float64 {
	if d == 0 {
		return 1
	}
	return 0
}

// cost is the sum of squares, and the RMS of all views and of each in px.
func (a *adjustment) cost(s *state) (sum, rms float64, each []float64) {
	n := 0
	for i := range a.views {
		v := &a.views[i]
		for _, r := range v.residuals(&s.in, &s.poses[i], a.model.Bend) {
			sum += r * r
		}
		px := 0.0
		for _, k := range v.Points {
			x, y := s.in.project(s.poses[i].inCamera(k.X, k.Y))
			px += (x-k.U)*(x-k.U) + (y-k.V)*(y-k.V)
		}
		each = append(each, math.Sqrt(px/float64(len(v.Points))))
		rms += px
		n += len(v.Points)
	}
	return sum, math.Sqrt(rms / float64(n)), each
}

// solve adjusts by least squares (Levenberg-Marquardt).
func (a *adjustment) solve() (*Fit, error) {
	s := a.state
	sum, _, _ := a.cost(&s)
	lambda := 1e-4
	for range 60 {
		blocks := make([]block, len(a.views))
		for i := range blocks {
			blocks[i] = a.block(&s, i)
		}
		gain := 0.0
		for range 10 {
			next, ok := a.step(&s, blocks, lambda)
			if ok {
				if c, _, _ := a.cost(&next); c < sum {
					gain = (sum - c) / sum
					s, sum = next, c
					lambda = max(lambda/10, 1e-12)
					break
				}
			}
			lambda *= 10
		}
		if gain < 1e-10 {
			break
		}
	}
	return a.finish(&s)
}

// step is one damped step from a state.
func (a *adjustment) step(s *state, blocks []block, lambda float64) (state, bool) {
	N, g := mat.NewSymDense(nShared, nil), mat.NewVecDense(nShared, nil)
	Ws, Cs := make([]*mat.Dense, len(blocks)), make([]*mat.Cholesky, len(blocks))
	for i := range blocks {
		S, gi, W, C, ok := blocks[i].reduced(lambda)
		if !ok {
			return *s, false
		}
		N.AddSym(N, S)
		g.AddVec(g, gi)
		Ws[i], Cs[i] = W, C
		for j := range nShared {
			N.SetSym(j, j, N.At(j, j)+lambda*blocks[i].A[j][j])
		}
	}
	d, ok := a.solveShared(N, g)
	if !ok {
		return *s, false
	}
	next := state{poses: make([]Pose, len(s.poses))}
	v := s.in.vector()
	for j := range v {
		v[j] -= d.AtVec(j)
	}
	next.in = intrinsics(v)
	for i := range blocks {
		var own mat.VecDense
		if Cs[i].SolveVecTo(&own, mat.NewVecDense(nOwn, append([]float64(nil), blocks[i].c[:]...))) != nil {
			return *s, false
		}
		var m [nOwn]float64
		for k := range nOwn {
			m[k] = -own.AtVec(k)
			for j := range nShared {
				m[k] += Ws[i].At(k, j) * d.AtVec(j)
			}
		}
		next.poses[i] = s.poses[i].moved(m)
	}
	return next, next.in.F > 0
}

// solveShared solves for the parameters that are estimated.
func (a *adjustment) solveShared(N *mat.SymDense, g *mat.VecDense) (*mat.VecDense, bool) {
	M := mat.NewSymDense(nShared, nil)
	M.CopySym(N)
	for j := range nShared {
		M.SetSym(j, j, M.At(j, j)+tiny(M.At(j, j)))
	}
	var ch mat.Cholesky
	d := new(mat.VecDense)
	if !ch.Factorize(M) || ch.SolveVecTo(d, g) != nil {
		return nil, false
	}
	return d, true
}
