package lens

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

var errUndetermined = errors.New("camera: these views do not determine the lens; take photos of the card from different sides, some tilted by 30 degrees, the card also in the corners of the picture")

// finish gives the fit with the covariance of its parameters.
//
// Two estimates of it are made: the usual one, from the residuals' mean square,
// which takes the corners' errors for independent, and the jackknife over the
// views (Efron 1982, chapter 3; each leave-one-out fit by one Newton step),
// which knows that the errors of one view go together. The greater of the two
// counts for each parameter; the correlations are those of the first.
func (a *adjustment) finish(s *state) (*Fit, error) {
	f := &Fit{Intrinsics: s.in, Poses: s.poses}
	var sum float64
	sum, f.RMS, f.Views = a.cost(s)
	N := mat.NewSymDense(nShared, nil)
	Ss, gs := make([]*mat.SymDense, len(a.views)), make([]*mat.VecDense, len(a.views))
	dof := 0
	for i := range a.views {
		b := a.block(s, i)
		S, g, _, _, ok := b.reduced(0)
		if !ok {
			return nil, errUndetermined
		}
		N.AddSym(N, S)
		Ss[i], gs[i] = S, g
		dof += 2*len(a.views[i].Points) - 6 // a bend has its own residual
	}
	for j := range nShared {
		if a.free(j) {
			dof--
		}
	}
	M := mat.NewSymDense(nShared, nil)
	M.CopySym(N)
	for j := range nShared {
		M.SetSym(j, j, M.At(j, j)+tiny(M.At(j, j)))
	}
	var ch mat.Cholesky
	var inv mat.SymDense
	if dof < 1 || !ch.Factorize(M) || ch.InverseTo(&inv) != nil {
		return nil, errUndetermined
	}
	factor := sum / float64(dof)
	jack := a.jackknife(N, Ss, gs)
	var grow [nShared]float64
	for j := range nShared {
		if a.free(j) {
			grow[j] = max(math.Sqrt(factor), jack[j]/math.Sqrt(inv.At(j, j)))
		}
	}
	for j := range nShared {
		for k := range nShared {
			f.Cov[j][k] = inv.At(j, k) * grow[j] * grow[k]
		}
	}
	return f, nil
}

// fewJack is how many views the jackknife needs to say more than noise.
const fewJack = 6

// jackknife is the standard uncertainty of each parameter from leaving out one
// view at a time; zeros when there are too few views.
func (a *adjustment) jackknife(N *mat.SymDense, Ss []*mat.SymDense, gs []*mat.VecDense) (u [nShared]float64) {
	n := len(Ss)
	if n < fewJack {
		return u
	}
	var steps [][nShared]float64
	var mean [nShared]float64
	for i := range Ss {
		M := mat.NewSymDense(nShared, nil)
		for j := range nShared {
			for k := j; k < nShared; k++ {
				M.SetSym(j, k, N.At(j, k)-Ss[i].At(j, k))
			}
		}
		d, ok := a.solveShared(M, gs[i])
		if !ok {
			return [nShared]float64{}
		}
		var st [nShared]float64
		for j := range st {
			st[j] = d.AtVec(j)
			mean[j] += st[j] / float64(n)
		}
		steps = append(steps, st)
	}
	for j := range u {
		for _, st := range steps {
			u[j] += (st[j] - mean[j]) * (st[j] - mean[j])
		}
		u[j] = math.Sqrt(u[j] * float64(n-1) / float64(n))
	}
	return u
}
