package plane

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The unknowns of the adjustment, in the order of the parameter vector.
const (
	iRot       = 0  // rotation roof to camera, as a small turn after the start value, 3
	iShift     = 3  // translation roof to camera, mm, 3
	iCardTurn  = 6  // card in the roof frame: turn about z, rad
	iCardY     = 7  // its centre up the slope, mm (x is 0 by choice of the origin)
	iCardZ     = 8  // its centre over the deck, mm
	iCardTiltX = 9  // slopes of the card against the roof
	iCardTiltY = 10 //
	iCardBend  = 11 // sagitta along the long side, mm at 140 mm from the middle
	iCardBow   = 12 // the same along the short side
	iCardTwist = 13 // the same along one diagonal direction, less that along the other, halved
	iCardScale = 14 // printed size over nominal, less one
	iFocal     = 15 // ln of the focal length over its start value
	iK1        = 16
	iK2        = 17
	iCx        = 18 // principal point against the middle of the picture, px
	iCy        = 19
	iThick     = 20 // of the stack: Thick, Step, Bridge, Sag; see Stack
	iStep      = 21
	iBridge    = 22
	iSag       = 23
	nParams    = 24
)

// Prior is what is known before the adjustment: a standard uncertainty each.
type Prior struct {
	Focal      float64 // relative
	K1, K1U    float64
	K2U        float64
	Centre     float64 // px
	CardTilt   float64
	CardThick  float64 // mm, how far the card's face lies over what carries it
	CardHeight float64 // mm, standard uncertainty of that
	CardBend   float64 // mm, sagitta along the long side at 140 mm from the middle
	CardBow    float64 // mm, the same along the short side, and of a twist
	CardScale  float64 // relative
	Surface    SurfacePrior
	CornerPx   float64    // what is left in a corner beside its own noise: paper, higher lens terms
	Lens       *LensPrior // a learned lens, in the place of Focal to Centre; nil without
}

// usualPrintU is the standard uncertainty of the size of a print that nobody
// measured, relative: printers are off by some tenths of a percent, which
// differ along and across the feed, and paper takes up moisture (common
// practice, no source). A card that was measured with a steel rule is known to
// .0016 or better.
const usualPrintU = .004

// DefaultPrior is a phone without a profile and a card without a proof.
func DefaultPrior(focalKnown bool) Prior {
	p := Prior{Focal: .07, K1: .009, K1U: .014, K2U: .01, Centre: 12, CardTilt: .02, CardThick: 3, CardHeight: 2.5, CardBend: .7, CardBow: .1, CardScale: usualPrintU, Surface: DefaultSurface(), CornerPx: .07}
	if focalKnown {
		p.Focal = .015
	}
	return p
}

// Corner is a board corner: its place on the card (mm from the board's middle,
// x along the long side, y up the printed page) and in the picture.
type Corner struct{ X, Y, U, V, Sigma float64 }

// Known is what is known of the product and of how carefully it is laid.
type Known struct {
	Width, WidthU   float64
	HeightU         float64
	CourseU, SlopeU float64 // a butt's mean against the comb of exposures, and its direction
	SquareU         float64 // a joint's slope
	StraightU       float64 // sagitta of a piece's long edge, mm
}

// DefaultKnown holds for shingles laid by hand to a line: pieces sit off their
// line by about a millimetre, butts turn by about a milliradian, widths and
// heights keep to a millimetre (common practice, no source).
func DefaultKnown(width float64) Known {
	return Known{Width: width, WidthU: 1.2, HeightU: .6, CourseU: 1.1, SlopeU: .0012, SquareU: .002, StraightU: .3}
}

// Problem is everything that goes into one adjustment.
type Problem struct {
	Start   Frame // lens and pose to start from; Stack nominal
	Card    CardPlace
	Corners []Corner
	Lines   []Line
	Prior   Prior
	Known   Known
	CardOn  float64   // height over the deck of what carries the card, mm: a first value
	Near    *Solution // an adjustment with the same Start to go on from; nil for none
}

// CardPlace is the card in the roof frame: turn and place of its middle.
type CardPlace struct{ Turn, Y, Z float64 }

// Solution is an adjusted photo. Its unknowns are correlated; inputs spreads
// them over independent inputs of unit standard uncertainty.
type Solution struct {
	Frame      Frame
	Card       CardPlace
	Params     [nParams]float64
	ResidualPx float64 // rms of the corners
	Misfit     float64 // of the corners: root mean square over what their uncertainties say, about 1
	LineChi    float64 // mean square of the normalised line residuals
	Wide       float64 // at least 1: what all uncertainties are taken times, because the lines disagree
	problem    *Problem
	inputs     inputs
}

// hypot is math.Hypot for lengths that do not overflow when squared, four times as fast.
func hypot(a, b float64) float64 { return math.Sqrt(a*a + b*b) }

// frame is the camera that a parameter vector stands for.
func (p *Problem) frame(q *[nParams]float64) Frame {
	f := p.Start
	turn := Rodrigues(Vec{q[0], q[1], q[2]})
	f.R = p.Start.R.Then(&turn)
	f.T = Vec{p.Start.T[0] + q[3], p.Start.T[1] + q[4], p.Start.T[2] + q[5]}
	f.Lens.F = p.Start.Lens.F * math.Exp(q[iFocal])
	f.Lens.K1, f.Lens.K2 = q[iK1], q[iK2]
	f.Lens.Cx, f.Lens.Cy = p.Start.Lens.Cx+q[iCx], p.Start.Lens.Cy+q[iCy]
	f.Stack.Thick, f.Stack.Step, f.Stack.Bridge, f.Stack.Sag = q[iThick], q[iStep], q[iBridge], q[iSag]
	return f
}

// halfLong is where the card's bend is measured, mm from its middle.
const halfLong = 140.0

// onRoof takes points of the card's face to the roof frame.
func onRoof(q *[nParams]float64) func(x, y float64) (X, Y, Z float64) {
	s := 1 + q[iCardScale]
	sin, cos := math.Sincos(q[iCardTurn])
	return func(x, y float64) (X, Y, Z float64) {
		x, y = x*s, y*s
		a, b := x/halfLong, y/halfLong
		z := q[iCardZ] + q[iCardTiltX]*x + q[iCardTiltY]*y + q[iCardBend]*(a*a-1./3) + q[iCardBow]*(b*b-1./6) + 2*q[iCardTwist]*a*b
		return x*cos - y*sin, q[iCardY] + x*sin + y*cos, z
	}
}

// steps for the numerical derivatives: small against each unknown's uncertainty,
// but wide for the two that have kinks in At.
var steps = [nParams]float64{1e-5, 1e-5, 1e-5, .02, .02, .02, 1e-5, .02, .02, 1e-5, 1e-5, .01, .01, .01, 1e-5, 1e-5, 1e-5, 1e-5, .02, .02, 1e-3, 4, 4, .02}

// Solve adjusts the unknowns by least squares (Levenberg-Marquardt, central
// differences); residuals of lines count less the further they are out
// (soft-L1), so that one wrong edge does not bend the rest. Corners that do not
// fit as their uncertainty says (a card that is crumpled, or bent otherwise
// than the adjustment can follow) are taken to be as uncertain as they fit,
// and the adjustment is done again.
func (p *Problem) Solve() *Solution {
	var q [nParams]float64
	q[iCardTurn], q[iCardY], q[iCardZ] = p.Card.Turn, p.Card.Y, p.Card.Z
	q[iK1], q[iThick], q[iStep], q[iBridge] = p.Prior.K1, 1, usualStep, usualBridge
	if p.Near != nil {
		q = p.Near.Params
	}
	r, w, nc, nl := p.descend(&q, 1)
	ratio := birge(r[:nc])
	if ratio > misfit {
		r, w, nc, nl = p.descend(&q, ratio)
	}
	s := p.finish(&q, r, w, nc, nl)
	s.Misfit = ratio
	return s
}

// misfit is the Birge ratio from which the corners' own uncertainties are not
// believed: with 54 corners chance alone hardly gives 1.2.
const misfit = 1.3

// birge is the root mean square of normalised residuals of the corners, per
// degree of freedom; a homography takes 8 (Birge 1932).
func birge(r []float64) float64 {
	s := 0.0
	for _, v := range r {
		s += v * v
	}
	return math.Sqrt(s / float64(max(len(r)-8, 1)))
}

// descend goes down from q to the least squares; the corners' uncertainties are
// taken times wide.
func (p *Problem) descend(q *[nParams]float64, wide float64) (r, w []float64, nc, nl int) {
	r, nc, nl = p.residuals(q, nil)
	w = weights(r, nc, nl, wide)
	cost := sumSquares(r, w)
	lambda := 1e-7

	for range 40 {
		N, g := p.normal(q, r, w)
		better := false
		for range 8 {
			next := step(q, N, g, lambda)
			r2, _, _ := p.residuals(next, nil)
			if c2 := sumSquares(r2, w); c2 < cost {
				gain := (cost - c2) / cost
				*q, r = *next, r2
				w = weights(r, nc, nl, wide)
				cost = sumSquares(r, w)
				lambda = max(lambda/8, 1e-9)
				better = gain > 1e-6
				break
			}
			lambda *= 10
		}
		if !better {
			break
		}
	}
	return r, w, nc, nl
}

func (p *Problem) finish(q *[nParams]float64, r, w []float64, nc, nl int) *Solution {
	s := &Solution{Frame: p.frame(q), Params: *q, problem: p, Card: CardPlace{q[iCardTurn], q[iCardY], q[iCardZ]}}
	f := s.Frame
	sum := 0.0
	place := onRoof(q)
	for _, c := range p.Corners {
		u, v := f.Project(place(c.X, c.Y))
		sum += (u-c.U)*(u-c.U) + (v-c.V)*(v-c.V)
	}
	s.ResidualPx = math.Sqrt(sum / float64(2*max(1, len(p.Corners))))
	for i := nc; i < nc+nl; i++ {
		s.LineChi += r[i] * r[i] * w[i] * w[i] / float64(max(nl, 1))
	}
	s.inputs = inputsOf(p.jacobian(q, w), nc, nl)
	s.Wide = widened(s.LineChi)
	s.inputs.root.Scale(s.Wide, s.inputs.root)
	return s
}

// Of 100 roofs whose lines err as they say, half have a mean square of the
// normalised line residuals under usualChi, since the unknowns take up some of
// it, and 95 keep under Agreeing (drawn roofs, TestDisagreeingLinesWiden).
const (
	usualChi = .35
	Agreeing = .56
)

// widened is what all uncertainties of a photo are taken times: beyond Agreeing
// the root of the mean square over the usual one (Birge 1932), else 1.
func widened(chi float64) float64 {
	if chi <= Agreeing {
		return 1
	}
	return math.Sqrt(chi / usualChi)
}

// weights are the square roots of the soft-L1 weights of the lines' residuals;
// the corners' are one over wide.
func weights(r []float64, corners, lines int, wide float64) []float64 {
	w := make([]float64, len(r))
	for i := range w {
		w[i] = 1
		if i < corners {
			w[i] = 1 / wide
		} else if i < corners+lines {
			z := r[i] / 1.5
			w[i] = math.Pow(1+z*z, -.25)
		}
	}
	return w
}

func sumSquares(r, w []float64) float64 {
	s := 0.0
	for i, v := range r {
		s += v * v * w[i] * w[i]
	}
	return s
}

// jacobian has a row for each unknown: the weighted change of all residuals.
func (p *Problem) jacobian(q *[nParams]float64, w []float64) (J [nParams][]float64) {
	f := p.frame(q)
	at := base{rays: p.rays(&f.Lens), corners: p.corners(q, &f, nil)}
	at.lines = p.lines(&f, at.rays, nil)
	for j := range nParams {
		a, b := *q, *q
		a[j] += steps[j]
		b[j] -= steps[j]
		ra, rb := p.changed(j, &a, &at), p.changed(j, &b, &at)
		for i := range ra {
			ra[i] = (ra[i] - rb[i]) / (2 * steps[j]) * w[i]
		}
		J[j] = ra
	}
	return J
}

// base is what a change of one unknown may leave as it is.
type base struct {
	rays           [][]Vec
	corners, lines []float64
}

// changed are the residuals at q, which differs from the base in unknown j alone:
// where the card lies is nothing to the lines, how the shingles rise nothing to
// the corners, and only the lens bends the lines of sight.
func (p *Problem) changed(j int, q *[nParams]float64, at *base) []float64 {
	f := p.frame(q)
	r := make([]float64, 0, len(at.corners)+len(at.lines)+len(priorSources))
	if j >= iThick {
		r = append(r, at.corners...)
	} else {
		r = p.corners(q, &f, r)
	}
	switch {
	case j >= iCardTurn && j <= iCardScale:
		r = append(r, at.lines...)
	case j >= iFocal && j <= iCy:
		r = p.lines(&f, p.rays(&f.Lens), r)
	default:
		r = p.lines(&f, at.rays, r)
	}
	return p.priors(q, &f, r)
}

// normal is JᵀWJ and JᵀWr.
func (p *Problem) normal(q *[nParams]float64, r, w []float64) (*mat.SymDense, *mat.VecDense) {
	J := p.jacobian(q, w)
	N, g := mat.NewSymDense(nParams, nil), mat.NewVecDense(nParams, nil)
	for a := range nParams {
		for b := a; b < nParams; b++ {
			s := 0.0
			for i := range r {
				s += J[a][i] * J[b][i]
			}
			N.SetSym(a, b, s)
		}
		s := 0.0
		for i := range r {
			s += J[a][i] * r[i] * w[i]
		}
		g.SetVec(a, s)
	}
	return N, g
}

func step(q *[nParams]float64, N *mat.SymDense, g *mat.VecDense, lambda float64) *[nParams]float64 {
	A := mat.NewSymDense(nParams, nil)
	A.CopySym(N)
	for i := range nParams {
		A.SetSym(i, i, N.At(i, i)*(1+lambda)+1e-12)
	}
	var ch mat.Cholesky
	out := *q
	if !ch.Factorize(A) {
		return &out
	}
	var d mat.VecDense
	if ch.SolveVecTo(&d, g) != nil {
		return &out
	}
	for i := range nParams {
		out[i] -= d.AtVec(i)
	}
	return &out
}

// Bend is the card's sagitta in the direction in which it is bent most, mm at
// 140 mm from the middle: the principal curvature of the larger size.
func (s *Solution) Bend() float64 {
	mean := (s.Params[iCardBend] + s.Params[iCardBow]) / 2
	return mean + math.Copysign(hypot((s.Params[iCardBend]-s.Params[iCardBow])/2, s.Params[iCardTwist]), mean)
}

// Bent widens what is expected of the card's bend to what s, an adjustment of
// the card alone that expects any bend, has found for sure.
func (s *Solution) Bent(p Prior) Prior {
	sure := func(i int) float64 {
		if v := math.Abs(s.Params[i]); v > 3*s.U(i) {
			return v
		}
		return 0
	}
	p.CardBend = max(p.CardBend, sure(iCardBend))
	p.CardBow = max(p.CardBow, sure(iCardBow), sure(iCardTwist))
	return p
}

// Finite tells whether the adjustment came out with numbers, and knows how sure
// it is of each.
func (s *Solution) Finite() bool {
	for i, v := range s.Params {
		if u := s.U(i); math.IsNaN(v) || math.IsInf(v, 0) || math.IsNaN(u) || math.IsInf(u, 0) {
			return false
		}
	}
	return !math.IsNaN(s.LineChi) && !math.IsInf(s.LineChi, 0) && !math.IsNaN(s.Misfit)
}

// K1 is the first radial coefficient with its standard uncertainty.
func (s *Solution) K1() (v, u float64) { return s.Params[iK1], s.U(iK1) }

// Focal is the focal length in pixels with its standard uncertainty.
func (s *Solution) Focal() (v, u float64) { return s.Frame.Lens.F, s.Frame.Lens.F * s.U(iFocal) }
