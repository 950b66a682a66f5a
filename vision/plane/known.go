package plane

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// LensPrior is a lens that was learned beforehand: its parameters and how well
// they are known together. It takes the place of the usual phone's lens in the
// adjustment.
type LensPrior struct {
	lens  Lens
	white mat.Dense // takes the deviation of the five unknowns to unit, uncorrelated residuals
	ln    float64   // ln of the focal length
	u     [5]float64
}

// NewLensPrior takes the lens in the frame of the upright picture and the
// covariance of ln F, K1, K2, Cx and Cy, in this order. The tangential terms
// are taken as they are: what they err by belongs into Cx and Cy, with which
// they are nearly exchangeable. The error is that of a covariance that is none.
func NewLensPrior(l Lens, cov [5][5]float64) (*LensPrior, error) {
	if !(l.F > 0) || math.IsInf(l.F, 0) {
		return nil, fmt.Errorf("lens: focal length %g px; one over 0 is needed", l.F)
	}
	S := mat.NewSymDense(5, nil)
	p := &LensPrior{lens: l, ln: math.Log(l.F)}
	for i := range 5 {
		p.u[i] = math.Sqrt(cov[i][i])
		for j := i; j < 5; j++ {
			S.SetSym(i, j, .5*(cov[i][j]+cov[j][i]))
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(S) {
		return nil, fmt.Errorf("lens: the covariance of the parameters is not positive definite")
	}
	var L mat.TriDense
	ch.LTo(&L)
	if err := p.white.Inverse(&L); err != nil {
		return nil, fmt.Errorf("lens: the covariance of the parameters is nearly singular")
	}
	return p, nil
}

// Lens is the learned lens.
func (p *LensPrior) Lens() Lens { return p.lens }

// U is the standard uncertainty of ln F, K1, K2, Cx and Cy.
func (p *LensPrior) U() [5]float64 { return p.u }

// residuals of a lens against the learned one, of unit variance and uncorrelated.
func (p *LensPrior) residuals(l *Lens) (out [5]float64) {
	d := [5]float64{math.Log(l.F) - p.ln, l.K1 - p.lens.K1, l.K2 - p.lens.K2, l.Cx - p.lens.Cx, l.Cy - p.lens.Cy}
	for i := range out {
		for j := 0; j <= i; j++ {
			out[i] += p.white.At(i, j) * d[j]
		}
	}
	return out
}

// With puts a learned lens in the place of the usual phone's.
func (p Prior) With(l *LensPrior) Prior {
	if l != nil {
		p.Lens, p.K1 = l, l.lens.K1
	}
	return p
}

// lens are the prior residuals of focal length, distortion and principal point.
func (p *Prior) lens(q *[nParams]float64, l *Lens) [5]float64 {
	if p.Lens != nil {
		return p.Lens.residuals(l)
	}
	return [5]float64{q[iFocal] / p.Focal, (q[iK1] - p.K1) / p.K1U, q[iK2] / p.K2U, q[iCx] / p.Centre, q[iCy] / p.Centre}
}

// Scale is the card's printed size over the size that it was given with, with
// its standard uncertainty.
func (s *Solution) Scale() (v, u float64) { return 1 + s.Params[iCardScale], s.U(iCardScale) }
