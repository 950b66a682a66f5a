package course

import "math"

// Two pieces of a course never lie quite at the same height, the tabs of one
// piece do: a step of the butt line tells a joint from a cutout.
const (
	stepReach = 140.0 // mm to each side over which the butt line is followed
	stepGap   = 9.0   // mm to each side that are left out: the cutout
	stepLeast = 60.0  // mm of butt in sight that either side needs
	stepNeat  = .4    // mm, standard uncertainty of the step at a joint where a careful hand lays,
	stepUsual = 1.4   // and where it does not matter (common practice, no source)
	neatShare = .35   // of the roofs (common practice, no source)
	stepFloor = .3    // mm, of a step as it is measured, beside the cells' own scatter
	stepCells = 40.0  // mm over which neighbouring cells err together
	stepMost  = 5.0   // log likelihood ratio that one step may count for
)

// buttMarks are the marks of the butt of a finished course, -1 and down.
func (s *Sketch) buttMarks(c int) []mark {
	base := float64(c) * s.Product.Exposure
	return s.Maps.level(cButt, cButtD, cButtS, func(x, y float64) bool { return math.Abs(y-s.Line.at(x)-base) < 22 })
}

// stepAt is the step of a butt line at x, with its standard uncertainty: what the
// right side lies higher than the left one, both with the same slope.
func stepAt(ms []mark, x float64) (d, u float64, ok bool) {
	var near []mark
	for _, k := range ms {
		if t := math.Abs(k.along - x); t > stepGap && t < stepReach {
			near = append(near, k)
		}
	}
	for range 3 { // least squares, then again without what lies far off
		var n [2]float64
		lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
		var mean, at [2]float64
		for _, k := range near {
			i := side(k, x)
			n[i] += k.weight
			at[i] += k.weight * k.along
			mean[i] += k.weight * k.across
			lo[i], hi[i] = min(lo[i], k.along), max(hi[i], k.along)
		}
		if hi[0]-lo[0] < stepLeast || hi[1]-lo[1] < stepLeast {
			return 0, 0, false
		}
		for i := range n {
			at[i], mean[i] = at[i]/n[i], mean[i]/n[i]
		}
		var tt, ty float64
		for _, k := range near {
			i := side(k, x)
			tt += k.weight * (k.along - at[i]) * (k.along - at[i])
			ty += k.weight * (k.along - at[i]) * (k.across - mean[i])
		}
		slope := ty / max(tt, 1e-9)
		level := func(i int) float64 { return mean[i] + slope*(x-at[i]) }
		d = level(1) - level(0)
		rms, kept := 0.0, near[:0:0]
		for _, k := range near {
			r := k.across - level(side(k, x)) - slope*(k.along-x)
			rms += k.weight * r * r
			if math.Abs(r) < 2 {
				kept = append(kept, k)
			}
		}
		rms /= n[0] + n[1]
		u = math.Sqrt(stepFloor*stepFloor + rms*(stepCells/(hi[0]-lo[0])+stepCells/(hi[1]-lo[1])))
		if len(kept) == len(near) {
			break
		}
		near = kept
	}
	return d, u, true
}

func side(k mark, x float64) int {
	if k.along > x {
		return 1
	}
	return 0
}

// stepRatio is the log likelihood ratio of a joint to a cutout for a step d with
// standard uncertainty u: normal about nought, with the spread of one of two hands.
func stepRatio(d, u float64) float64 {
	ratio := func(spread float64) float64 {
		v, w := u*u, u*u+spread*spread
		return math.Sqrt(v/w) * math.Exp(min(.5*(d*d/v-d*d/w), 2*stepMost))
	}
	return min(math.Log(neatShare*ratio(stepNeat)+(1-neatShare)*ratio(stepUsual)), stepMost)
}

// stepsOf sums what the steps of the butts say of one hypothesis: the ratios of its
// joints of up to three courses.
func (s *Sketch) stepsOf(w *Lower, marks [][]mark) float64 {
	sum := 0.0
	for c, ms := range marks {
		if c > 0 && !w.Stepped {
			break
		}
		x := w.X + float64(c)*w.Step
		for k := -6.0; k <= 6; k++ {
			at := x + k*s.Product.Width
			if !s.onRoof(at) {
				continue
			}
			if d, u, ok := stepAt(ms, at); ok {
				sum += stepRatio(d, u)
			}
		}
	}
	return sum
}
