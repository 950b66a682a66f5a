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
	iRise      = 20 // Stack.Rise
	nParams    = 21
)

// Prior is what is known before the adjustment: a standard uncertainty each.
type Prior struct {
	Focal      float64 // relative
	K1, K1U    float64
	K2U        float64
	Centre     float64 // px
	CardTilt   float64
	CardThick  float64    // mm, how far the card's face lies over what carries it
	CardHeight float64    // mm, standard uncertainty of that
	CardBend   float64    // mm, sagitta along the long side at 140 mm from the middle
	CardBow    float64    // mm, the same along the short side, and of a twist
	CardScale  float64    // relative
	Rise       float64    // relative
	CornerPx   float64    // what is left in a corner beside its own noise: paper, higher lens terms
	Lens       *LensPrior // a learned lens, in the place of Focal to Centre; nil without
}

// DefaultPrior is a phone without a profile and a card without a proof.
func DefaultPrior(focalKnown bool) Prior {
	p := Prior{Focal: .07, K1: .009, K1U: .014, K2U: .01, Centre: 12, CardTilt: .02, CardThick: 3, CardHeight: 2.5, CardBend: .7, CardBow: .1, CardScale: .0015, Rise: .12, CornerPx: .07}
	if focalKnown {
		p.Focal = .015
	}
	return p
}

// Corner is a board corner: its place on the card (mm from the board's middle,
// x along the long side, y up the printed page) and in the picture.
type Corner struct{ X, Y, U, V, Sigma float64 }

// Kind tells what a Line is.
type Kind int

// The kinds of lines.
const (
	Butt  Kind = iota // lower edge of a piece, upper rim
	Top               // upper edge of a piece of the open course
	Joint             // side of a piece
)

// Line is one straight edge seen in the picture.
type Line struct {
	Kind   Kind
	Course int // 0 the open course, -1 the one below ...
	Pts    [][2]float64
	U      float64 // mm, standard uncertainty of the line as a whole, across
	Mate   int     // Top: index of the piece's own butt; Joint at a right end: of the same piece's left end; -1 none
	Full   bool    // Joint with a Mate: the piece is taken as a whole one, of the product's width
}

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
	problem    *Problem
	inputs     inputs
}

func hypot(a, b float64) float64 { return math.Hypot(a, b) }

// frame is the camera that a parameter vector stands for.
func (p *Problem) frame(q *[nParams]float64) Frame {
	f := p.Start
	turn := Rodrigues(Vec{q[0], q[1], q[2]})
	f.R = p.Start.R.Then(&turn)
	f.T = Vec{p.Start.T[0] + q[3], p.Start.T[1] + q[4], p.Start.T[2] + q[5]}
	f.Lens.F = p.Start.Lens.F * math.Exp(q[iFocal])
	f.Lens.K1, f.Lens.K2 = q[iK1], q[iK2]
	f.Lens.Cx, f.Lens.Cy = p.Start.Lens.Cx+q[iCx], p.Start.Lens.Cy+q[iCy]
	f.Stack.Rise = q[iRise]
	return f
}

// halfLong is where the card's bend is measured, mm from its middle.
const halfLong = 140.0

// onRoof is a point of the card's face in the roof frame.
func onRoof(q *[nParams]float64, x, y float64) (X, Y, Z float64) {
	s := 1 + q[iCardScale]
	x, y = x*s, y*s
	sin, cos := math.Sincos(q[iCardTurn])
	a, b := x/halfLong, y/halfLong
	z := q[iCardZ] + q[iCardTiltX]*x + q[iCardTiltY]*y + q[iCardBend]*(a*a-1./3) + q[iCardBow]*(b*b-1./6) + 2*q[iCardTwist]*a*b
	return x*cos - y*sin, q[iCardY] + x*sin + y*cos, z
}

// trend is the mean place across and the slope of a line, in the roof frame,
// and how far its middle lies off the chord of its ends, mm.
type trend struct{ at, slope, mid, length, sagitta float64 }

// trendOf lays a line's points on their surface and fits a straight line, and
// to what is left an arc.
func trendOf(f *Frame, l *Line) trend {
	places := make([][2]float64, len(l.Pts))
	var sa, sb, saa, sab float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, p := range l.Pts {
		a, b := placeOf(f, l, p)
		places[i] = [2]float64{a, b}
		sa, sb = sa+a, sb+b
		saa, sab = saa+a*a, sab+a*b
		lo, hi = min(lo, a), max(hi, a)
	}
	n := float64(len(l.Pts))
	ma, mb := sa/n, sb/n
	t := trend{at: mb, mid: ma, length: hi - lo}
	v := saa/n - ma*ma
	if v > 1 {
		t.slope = (sab/n - ma*mb) / v
	}
	if t.length > arcFrom {
		t.sagitta = t.arc(places, v)
	}
	return t
}

// arcFrom is how long a line must be to tell an arc, mm: on a shorter one a
// lens that is out by its prior's uncertainty leaves less than the edge's own.
const arcFrom = 400

// arc is the sagitta of the parabola, free of mean and slope, that fits a line's
// places about its trend best; v is the variance of the places along.
func (t *trend) arc(places [][2]float64, v float64) float64 {
	var m3, num, den float64
	for _, p := range places {
		d := p[0] - t.mid
		m3 += d * d * d
	}
	m3 /= float64(len(places))
	for _, p := range places {
		d := p[0] - t.mid
		q := d*d - v - m3/v*d
		num, den = num+q*(p[1]-t.At(p[0])), den+q*q
	}
	return num / den * t.length * t.length / 4
}

// placeOf is a line point in the roof frame: along and across the line.
func placeOf(f *Frame, l *Line, p [2]float64) (along, across float64) {
	switch l.Kind {
	case Butt:
		return f.OnPlane(p[0], p[1], f.Stack.At(0))
	case Top:
		return f.OnPlane(p[0], p[1], f.Stack.At(f.Stack.Height))
	default:
		x, y := f.OnSurface(p[0], p[1], l.Course, 0)
		return y, x
	}
}

// At is the fitted line's place across at a place along.
func (t trend) At(along float64) float64 { return t.at + t.slope*(along-t.mid) }

// residuals of the whole problem, each divided by its standard uncertainty:
// first the corners, then the lines, then the priors.
func (p *Problem) residuals(q *[nParams]float64, out []float64) (res []float64, corners, lines int) {
	f := p.frame(q)
	res = p.corners(q, &f, out[:0])
	corners = len(res)
	res = p.lines(&f, res)
	lines = len(res) - corners
	return p.priors(q, &f, res), corners, lines
}

// corners adds the board corners' distances from where q puts them.
func (p *Problem) corners(q *[nParams]float64, f *Frame, res []float64) []float64 {
	for _, c := range p.Corners {
		X, Y, Z := onRoof(q, c.X, c.Y)
		u, v := f.Project(X, Y, Z)
		s := hypot(c.Sigma, p.Prior.CornerPx)
		res = append(res, (u-c.U)/s, (v-c.V)/s)
	}
	return res
}

// lines adds how the lines, laid on their surfaces, depart from one another and
// from what is known of the product.
func (p *Problem) lines(f *Frame, res []float64) []float64 {
	k, E := p.Known, f.Stack.Exposure
	tr := make([]trend, len(p.Lines))
	for i := range p.Lines {
		tr[i] = trendOf(f, &p.Lines[i])
	}
	for i := range p.Lines {
		l, t := &p.Lines[i], tr[i]
		length := max(t.length, 5)
		if l.Kind != Joint { // 0 for a short one: the number of residuals must not change on the way
			res = append(res, t.sagitta/hypot(k.StraightU, l.U))
		}
		switch l.Kind {
		case Butt:
			res = append(res, (t.at-float64(l.Course)*E)/hypot(k.CourseU, l.U), t.slope/hypot(k.SlopeU, 2*l.U/length))
		case Top:
			if l.Mate >= 0 {
				res = append(res, (t.at-tr[l.Mate].At(t.mid)-f.Stack.Height)/hypot(k.HeightU, hypot(l.U, p.Lines[l.Mate].U)))
			} else {
				res = append(res, (t.at-f.Stack.Height)/hypot(hypot(k.HeightU, k.CourseU), l.U))
			}
		case Joint:
			res = append(res, t.slope/hypot(k.SquareU, 2*l.U/length))
			if l.Mate >= 0 && l.Full {
				m := tr[l.Mate]
				mid := .5 * (t.mid + m.mid)
				res = append(res, (t.At(mid)-m.At(mid)-k.Width)/hypot(k.WidthU, hypot(l.U, p.Lines[l.Mate].U)))
			}
		}
	}
	return res
}

// priors adds what is known of each unknown before the photo was taken.
func (p *Problem) priors(q *[nParams]float64, f *Frame, res []float64) []float64 {
	r := p.Prior
	lens := r.lens(q, &f.Lens)
	return append(append(res, lens[:]...),
		q[iCardTiltX]/r.CardTilt, q[iCardTiltY]/r.CardTilt, (q[iCardZ]-p.CardOn*q[iRise]-r.CardThick)/r.CardHeight,
		q[iCardBend]/r.CardBend, q[iCardBow]/r.CardBow, q[iCardTwist]/r.CardBow, q[iCardScale]/r.CardScale, (q[iRise]-1)/r.Rise)
}

// steps for the numerical derivatives: small against each unknown's uncertainty.
var steps = [nParams]float64{1e-5, 1e-5, 1e-5, .02, .02, .02, 1e-5, .02, .02, 1e-5, 1e-5, .01, .01, .01, 1e-5, 1e-5, 1e-5, 1e-5, .02, .02, 1e-3}

// Solve adjusts the unknowns by least squares (Levenberg-Marquardt, central
// differences); residuals of lines count less the further they are out
// (soft-L1), so that one wrong edge does not bend the rest. Corners that do not
// fit as their uncertainty says (a card that is crumpled, or bent otherwise
// than the adjustment can follow) are taken to be as uncertain as they fit,
// and the adjustment is done again.
func (p *Problem) Solve() *Solution {
	var q [nParams]float64
	q[iCardTurn], q[iCardY], q[iCardZ] = p.Card.Turn, p.Card.Y, p.Card.Z
	q[iK1], q[iRise] = p.Prior.K1, 1
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
	lambda := 1e-3
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
			lambda *= 6
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
	for _, c := range p.Corners {
		X, Y, Z := onRoof(q, c.X, c.Y)
		u, v := f.Project(X, Y, Z)
		sum += (u-c.U)*(u-c.U) + (v-c.V)*(v-c.V)
	}
	s.ResidualPx = math.Sqrt(sum / float64(2*max(1, len(p.Corners))))
	for i := nc; i < nc+nl; i++ {
		s.LineChi += r[i] * r[i] * w[i] * w[i] / float64(max(nl, 1))
	}
	s.inputs = inputsOf(p.jacobian(q, w), nc, nl)
	return s
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
	at := p.frame(q)
	same := p.lines(&at, nil)
	for j := range nParams {
		a, b := *q, *q
		a[j] += steps[j]
		b[j] -= steps[j]
		ra, rb := p.changed(j, &a, same), p.changed(j, &b, same)
		for i := range ra {
			ra[i] = (ra[i] - rb[i]) / (2 * steps[j]) * w[i]
		}
		J[j] = ra
	}
	return J
}

// changed are the residuals at q, which differs in unknown j from where the
// lines' are same: where the card lies is nothing to them.
func (p *Problem) changed(j int, q *[nParams]float64, same []float64) []float64 {
	if j < iCardTurn || j > iCardScale {
		r, _, _ := p.residuals(q, nil)
		return r
	}
	f := p.frame(q)
	return p.priors(q, &f, append(p.corners(q, &f, nil), same...))
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

// Across is a line's place across (mm: y of a butt or top, x of a joint) at a
// place along it, laid on its surface by the given frame.
func (l *Line) Across(f *Frame, along float64) float64 {
	t := trendOf(f, l)
	if l.Kind == Joint && t.length < 120 {
		t.slope = 0 // too short to tell a direction of its own; joints are square to the butt
	}
	return t.At(along)
}

// Reach is where a line begins and ends along itself, mm.
func (l *Line) Reach(f *Frame) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, p := range l.Pts {
		a, _ := placeOf(f, l, p)
		from, to = min(from, a), max(to, a)
	}
	return from, to
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

// K1 is the first radial coefficient with its standard uncertainty.
func (s *Solution) K1() (v, u float64) { return s.Params[iK1], s.U(iK1) }

// Focal is the focal length in pixels with its standard uncertainty.
func (s *Solution) Focal() (v, u float64) { return s.Frame.Lens.F, s.Frame.Lens.F * s.U(iFocal) }
