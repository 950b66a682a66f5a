package sheet

import (
	"maps"
	"math"
	"slices"

	"coursegauge/report/inspection"
	"coursegauge/vision/stats"
)

// deviation is how far off one nail lies, mm, and the measurement's standard
// uncertainty.
type deviation struct {
	photo int
	d, u  float64
}

// Placement is bias and spread of nails in one direction, mm. Measured is the
// standard deviation of what was measured; it holds the measurement's own,
// Measurement, which is taken off to give Spread, that of the nails themselves:
// E s^2 = sigma^2 + mean u^2. All intervals are 95 %.
type Placement struct {
	N, Photos             int
	Bias                  float64
	BiasLow, BiasHigh     float64
	Measured, Measurement float64
	Spread                float64
	SpreadLow, SpreadHigh float64
	u                     float64 // of the bias
}

// Told tells whether there were nails enough for intervals.
func (p Placement) Told() bool { return p.N >= 10 && p.Photos >= 3 }

// newPlacement takes photos, not nails, as independent: nails of one photo
// share its card, its lens and the hour. So the intervals come from leaving out
// one photo at a time (the delete-a-group jackknife; B. Efron, The jackknife,
// the bootstrap and other resampling plans, 1982, chapter 3) and Student's t with
// one degree of freedom less than there are photos.
func newPlacement(all []deviation) Placement {
	var p Placement
	groups, total := map[int]*sums{}, sums{}
	for _, d := range all {
		if groups[d.photo] == nil {
			groups[d.photo] = &sums{}
		}
		groups[d.photo].add(d, 1)
		total.add(d, 1)
	}
	p.N, p.Photos = len(all), len(groups)
	if p.N < 2 {
		p.Bias = total.mean()
		return p
	}
	p.Bias, p.Measured, p.Measurement = total.mean(), math.Sqrt(total.variance()), math.Sqrt(total.u2/total.n)
	p.Spread = math.Sqrt(max(0, total.variance()-total.u2/total.n))
	if !p.Told() {
		return p
	}
	var means, logs []float64
	for _, photo := range slices.Sorted(maps.Keys(groups)) {
		rest := total.less(*groups[photo])
		if rest.n < 2 || rest.variance() == 0 {
			return p
		}
		means, logs = append(means, rest.mean()), append(logs, math.Log(rest.variance()))
	}
	t := stats.Student95(float64(p.Photos - 1))
	p.u = jackknife(means)
	p.BiasLow, p.BiasHigh = p.Bias-t*p.u, p.Bias+t*p.u
	// A variance is never negative and its distribution has a long upper tail;
	// its logarithm is nearer to a normal one.
	k := math.Exp(t * jackknife(logs))
	p.SpreadLow = math.Sqrt(max(0, total.variance()/k-total.u2/total.n))
	p.SpreadHigh = math.Sqrt(max(0, total.variance()*k-total.u2/total.n))
	return p
}

// sums are those of deviations.
type sums struct{ n, d, d2, u2 float64 }

func (s *sums) add(d deviation, sign float64) {
	s.n += sign
	s.d += sign * d.d
	s.d2 += sign * d.d * d.d
	s.u2 += sign * d.u * d.u
}

func (s sums) less(o sums) sums { return sums{s.n - o.n, s.d - o.d, s.d2 - o.d2, s.u2 - o.u2} }
func (s sums) mean() float64 {
	if s.n == 0 {
		return 0
	}
	return s.d / s.n
}
func (s sums) variance() float64 { return max(0, (s.d2-s.d*s.d/s.n)/(s.n-1)) }

// jackknife is the standard error from the values with one group left out each.
func jackknife(v []float64) float64 {
	g, mean, s := float64(len(v)), 0.0, 0.0
	for _, x := range v {
		mean += x / g
	}
	for _, x := range v {
		s += (x - mean) * (x - mean)
	}
	return math.Sqrt(s * (g - 1) / g)
}

// Shift is how much the bias changed from before to after, with its 95 %
// interval (Welch's degrees of freedom); ok only where both have intervals.
func Shift(before, after Placement) (d, low, high float64, ok bool) {
	if before.u == 0 || after.u == 0 {
		return after.Bias - before.Bias, 0, 0, false
	}
	a, b := before.u*before.u, after.u*after.u
	nu := (a + b) * (a + b) / (a*a/float64(before.Photos-1) + b*b/float64(after.Photos-1))
	t := stats.Student95(nu)
	d = after.Bias - before.Bias
	return d, d - t*math.Sqrt(a+b), d + t*math.Sqrt(a+b), true
}

// ellipse holds 95 % of the nails themselves, if they lie as a normal
// distribution does: centre, half axes and the angle of the first, in radians
// from x towards y.
type ellipse struct{ x, y, a, b, angle float64 }

// newEllipse fits it to points off their aim and takes the measurement's
// variance off in both directions; nil for fewer than ten.
func newEllipse(points []point) *ellipse {
	var n, x, y, ux, uy float64
	for _, p := range points {
		if math.IsNaN(p.dx) || math.IsNaN(p.dy) {
			continue
		}
		n, x, y, ux, uy = n+1, x+p.dx, y+p.dy, ux+p.ux*p.ux, uy+p.uy*p.uy
	}
	if n < 10 {
		return nil
	}
	x, y = x/n, y/n
	var xx, yy, xy float64
	for _, p := range points {
		if math.IsNaN(p.dx) || math.IsNaN(p.dy) {
			continue
		}
		xx, yy, xy = xx+(p.dx-x)*(p.dx-x), yy+(p.dy-y)*(p.dy-y), xy+(p.dx-x)*(p.dy-y)
	}
	xx, yy, xy = xx/(n-1)-ux/n, yy/(n-1)-uy/n, xy/(n-1)
	middle, half := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	scale := -2 * math.Log(.05) // the 95 % point of chi-square with two degrees of freedom
	return &ellipse{
		x, y, math.Sqrt(scale * max(0, middle+half)), math.Sqrt(scale * max(0, middle-half)),
		math.Atan2(2*xy, xx-yy) / 2,
	}
}

func distance(l *inspection.Length) float64 {
	if l == nil {
		return math.Inf(1)
	}
	return l.MM
}
