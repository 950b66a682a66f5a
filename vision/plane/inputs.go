package plane

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"coursegauge/vision/length"
)

// inputs are what the adjusted unknowns depend on, each independent of the
// others and of unit standard uncertainty: root is the change of the unknowns
// by one standard deviation of each, so that their covariance is root rootᵀ.
//
// With the normal matrix N a sum over groups of observations, N = Σ JᵀJ, the
// covariance N⁻¹ is the sum of N⁻¹ JᵀJ N⁻¹: the part that each group leaves
// open. A group of many residuals is brought to as many as there are unknowns.
type inputs struct {
	root    *mat.Dense // nParams x len(sources)
	sources []length.Source
}

// priorSources tells where each residual of Problem.priors comes from.
var priorSources = []length.Source{
	length.Lens, length.Lens, length.Lens, length.Lens, length.Lens,
	length.Height, length.Height, length.Height, length.Bend, length.Bend, length.Bend, length.Print,
	length.Surface, length.Surface, length.Surface, length.Surface,
}

// inputsOf takes the weighted derivatives of the residuals: corners first, then
// lines, then priors.
func inputsOf(J [nParams][]float64, corners, lines int) inputs {
	scale := unitDiagonal(&J)
	rows := make([]float64, 0, (2*nParams+len(priorSources))*nParams)
	var from []length.Source
	add := func(group *mat.Dense, s length.Source) {
		n, _ := group.Dims()
		for i := range n {
			rows = append(rows, group.RawRowView(i)...)
			from = append(from, s)
		}
	}
	add(condensed(rowsOf(&J, 0, corners)), length.Corners)
	add(condensed(rowsOf(&J, corners, corners+lines)), length.Product)
	for i, s := range priorSources {
		add(rowsOf(&J, corners+lines+i, corners+lines+i+1), s)
	}
	all := mat.NewDense(len(from), nParams, rows)
	var N mat.SymDense
	N.SymOuterK(1, all.T())
	var root mat.Dense
	root.Mul(inverse(&N), all.T())
	for i := range nParams {
		for k := range from {
			root.Set(i, k, root.At(i, k)*scale[i])
		}
	}
	return inputs{&root, from}
}

// unitDiagonal scales the unknowns, which differ by many powers of ten, so that
// the normal matrix has ones on its diagonal. It returns the units.
func unitDiagonal(J *[nParams][]float64) (unit [nParams]float64) {
	for j := range J {
		s := 0.0
		for _, v := range J[j] {
			s += v * v
		}
		unit[j] = 1 / math.Sqrt(max(s, 1e-30))
		for i := range J[j] {
			J[j][i] *= unit[j]
		}
	}
	return unit
}

// rowsOf are the residuals from..to of J, one a row.
func rowsOf(J *[nParams][]float64, from, to int) *mat.Dense {
	out := mat.NewDense(max(to-from, 1), nParams, nil)
	for j := range J {
		for i := from; i < to; i++ {
			out.Set(i-from, j, J[j][i])
		}
	}
	return out
}

// condensed is a matrix R of nParams rows with RᵀR = AᵀA, by QR.
func condensed(A *mat.Dense) *mat.Dense {
	n, _ := A.Dims()
	tall := mat.NewDense(max(n, nParams), nParams, nil)
	tall.Slice(0, n, 0, nParams).(*mat.Dense).Copy(A)
	var qr mat.QR
	qr.Factorize(tall)
	var R mat.Dense
	qr.RTo(&R)
	return R.Slice(0, nParams, 0, nParams).(*mat.Dense)
}

// inverse of a normal matrix with ones on its diagonal; directions that neither
// data nor priors fix come out wide, not infinite.
func inverse(N *mat.SymDense) *mat.Dense {
	n := N.SymmetricDim()
	out := mat.NewDense(n, n, nil)
	var e mat.EigenSym
	if !e.Factorize(N, true) {
		return out
	}
	var V mat.Dense
	e.VectorsTo(&V)
	W := mat.NewDense(n, n, nil)
	for k, v := range e.Values(nil) {
		for i := range n {
			W.Set(i, k, V.At(i, k)/max(v, 1e-10))
		}
	}
	out.Mul(W, V.T())
	return out
}

// Sources tells where each of the inputs that Effects lists comes from.
func (s *Solution) Sources() []length.Source { return s.inputs.sources }

// Effects is how a quantity of the adjusted photo depends on the independent
// inputs: for each the change, in the quantity's unit, of one standard
// deviation. The quantity is given as a function of the frame.
func (s *Solution) Effects(quantity func(f *Frame) float64) []float64 {
	var g [nParams]float64
	for j := range nParams {
		if j >= iCardTurn && j <= iCardScale {
			continue // the card's own unknowns do not move a place on the roof
		}
		a, b := s.Params, s.Params
		a[j] += steps[j]
		b[j] -= steps[j]
		fa, fb := s.problem.frame(&a), s.problem.frame(&b)
		g[j] = (quantity(&fa) - quantity(&fb)) / (2 * steps[j])
	}
	out := make([]float64, len(s.inputs.sources))
	for j := range g {
		for k, e := range s.inputs.root.RawRowView(j) {
			out[k] += g[j] * e
		}
	}
	return out
}

// U is the standard uncertainty of one unknown after the adjustment.
func (s *Solution) U(i int) float64 {
	v := 0.0
	for _, e := range s.inputs.root.RawRowView(i) {
		v += e * e
	}
	return math.Sqrt(v)
}
