package vision

import (
	"math"
	"sort"
)

// Heads of one photo mostly come from one box.
const (
	boxScatter = .15 // mm: how much heads of one box differ (common practice, no source)
	boxBias    = .18 // mm: what the network errs by for all heads of a photo alike
	boxOdd     = 3.  // deviations from which a head counts as one of another box
	boxLeast   = 3   // heads that make a box
)

// oneBox lets the heads of a photo vouch for each other's diameter: each is
// drawn towards their mean as far as its own uncertainty exceeds the scatter of
// a box. A head that clearly differs keeps what was measured.
func (p *pass) oneBox() {
	if len(p.found) < boxLeast {
		return
	}
	d := make([]float64, 0, len(p.found))
	for _, h := range p.found {
		d = append(d, h.Diameter)
	}
	sort.Float64s(d)
	median := d[len(d)/2]
	odd := func(h *foundHead) bool {
		return math.Abs(h.Diameter-median) > boxOdd*math.Hypot(h.DiamU, boxScatter)
	}
	var sum, weight float64
	for i := range p.found {
		if h := &p.found[i]; !odd(h) {
			w := 1 / (h.DiamU*h.DiamU + boxScatter*boxScatter)
			sum, weight = sum+w*h.Diameter, weight+w
		}
	}
	if weight == 0 {
		return
	}
	mean, meanU := sum/weight, math.Hypot(1/math.Sqrt(weight), boxBias)
	for i := range p.found {
		if h := &p.found[i]; !odd(h) {
			k := boxScatter * boxScatter / (boxScatter*boxScatter + h.DiamU*h.DiamU)
			h.Diameter, h.DiamU = k*h.Diameter+(1-k)*mean, math.Hypot(math.Sqrt(k)*h.DiamU, (1-k)*meanU)
		}
	}
}
