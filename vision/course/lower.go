package course

import (
	"math"
	"sort"
)

// Lower is one hypothesis of where the joints of the course below lie: a product
// width apart, at X and whole widths from there.
type Lower struct {
	Wide    float64   // log likelihood by the wide view, up to a constant
	Steps   float64   // log likelihood by the steps of the butts, three-tab pieces alone
	Looks   []float64 // what each closer look says: log odds that two pieces meet there
	Score   float64   // log likelihood of both, up to a constant
	P       float64   // its probability against the others
	X       float64   // of one of them, sketch frame, mm
	Step    float64   // from here to a joint of the next course down, mm
	Stepped bool      // Step is known
	Joints  []LowerJoint
}

// LowerJoint is a joint of the course below.
type LowerJoint struct {
	X        float64 // sketch frame, mm
	Strength float64 // share of its rows in sight that show it
	Edge     Edge    // the middle of the gap; empty when it was not seen itself
}

// Joints of the courses below step by the same offset from course to course,
// a product width apart within a course, so the evidence of three courses and
// of every joint in sight is summed for each possible offset.
const (
	lowerCourses = 3
	offsetStep   = 2.0  // mm
	leastOffset  = 90.0 // mm: closer joints are against common practice; not impossible
	usualOffset  = 260.0
	oddOffset    = 1.0 // taken off the log likelihood of an offset outside those two
	rival        = 22.0
	// The evidence of neighbouring cells and courses errs alike, so its sum counts
	// for less than it says. These three are fitted by testdata/scenes/fit_limits.py,
	// together with the weights of the closer looks.
	wideTrust     = .48
	stepTrust     = .45
	noneOfThem    = .9  // under the log likelihood of no evidence lies that of none of the hypotheses
	hopeless      = 7.0 // the true hypothesis never was so far below the best on the photos of the fit
	maxHypotheses = 16
	sliver        = 8.0 // mm of a course left over at a rake
)

// llr is the log likelihood ratio of a joint for the share of rows that show
// one (by eye from rendered scenes: of true joints one in six shows nothing).
func llr(share float64) float64 {
	x := [...]float64{0, .03, .08, .2, .35, 1}
	y := [...]float64{-1.4, -1, 0, 1.5, 2.6, 3}
	for i := 1; i < len(x); i++ {
		if share <= x[i] {
			return y[i-1] + (y[i]-y[i-1])*(share-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[len(y)-1]
}

// lowerJoints weighs the hypotheses of where the joints below lie.
func (s *Sketch) lowerJoints() {
	m, E := s.Maps, s.Product.Exposure
	profs := make([]*profile, lowerCourses)
	var first []mark
	for c := range profs {
		lo, hi := -float64(c+1)*E+6, -float64(c)*E-6
		ms := s.upright(cJoint, cJointS, lo, hi, func(k int) float64 { return float64(m.ch[cJointL][k]+m.ch[cJointR][k]) / 2 })
		profs[c] = s.profileOf(ms, lo, hi)
		if c == 0 {
			first = ms
		}
	}
	anchor, known := s.Anchor()
	var hypotheses []Lower
	if known {
		hypotheses = s.offsets(profs, anchor)
	} else {
		hypotheses = s.offsetsFree(profs)
	}
	if len(hypotheses) == 0 {
		return
	}
	for i := range hypotheses {
		hypotheses[i].Wide = hypotheses[i].Score
		hypotheses[i].Score *= wideTrust
		if hypotheses[i].Score < hypotheses[0].Score-hopeless {
			hypotheses = hypotheses[:i]
			break
		}
		hypotheses[i].Joints = s.jointsOf(hypotheses[i].X, profs[0], first)
	}
	if !s.Product.Laminated {
		marks := make([][]mark, lowerCourses)
		for c := range marks {
			marks[c] = s.buttMarks(-1 - c)
		}
		for i := range hypotheses {
			hypotheses[i].Steps = s.stepsOf(&hypotheses[i], marks)
			hypotheses[i].Score += stepTrust * hypotheses[i].Steps
		}
		sort.SliceStable(hypotheses, func(a, b int) bool { return hypotheses[a].Score > hypotheses[b].Score })
	}
	Normalise(hypotheses)
	s.Lower = hypotheses
}

// Normalise turns the scores of hypotheses, the best first, into probabilities.
func Normalise(hypotheses []Lower) {
	if len(hypotheses) == 0 {
		return
	}
	top := hypotheses[0].Score
	// that none of the hypotheses is right keeps a share of its own
	sum := math.Exp(-max(top, 0) - noneOfThem)
	for i := range hypotheses {
		hypotheses[i].P = math.Exp(hypotheses[i].Score - top)
		sum += hypotheses[i].P
	}
	for i := range hypotheses {
		hypotheses[i].P /= sum
	}
}

// Pixel is where the photo shows a place along the butt line, h over it.
func (s *Sketch) Pixel(x, h float64) (u, v float64) {
	view := &s.Maps.View
	return view.Frame.Project(x-s.Line.slope(x)*h, s.Line.at(x)+h, view.Z)
}

// Anchor is the strongest joint of the open course, if one is sure.
func (s *Sketch) Anchor() (float64, bool) {
	best, x := 0.0, 0.0
	for _, d := range s.joints() {
		if d.Strength > best {
			best, x = d.Strength, d.X
		}
	}
	return x, best >= sureJoint
}

// Periodic tells whether all joints of the open course lie whole widths from
// one another; beside a cut piece they do not.
func (s *Sketch) Periodic() bool {
	x, ok := s.Anchor()
	for _, d := range s.joints() {
		off := math.Remainder(d.X-x, s.Product.Width)
		if d.Strength >= sureJoint && math.Abs(off) > coarse*math.Abs(d.X-x)+8 {
			return false
		}
	}
	return ok
}

// joints are the sides of pieces that are joints in sight.
func (s *Sketch) joints() []Side {
	var out []Side
	for _, p := range s.Pieces {
		for _, d := range []Side{p.Left, p.Right} {
			if d.Kind == Joint {
				out = append(out, d)
			}
		}
	}
	return out
}

// onRoof tells whether a joint may lie at x: the courses below end at the same
// rakes, and nobody lays a sliver.
func (s *Sketch) onRoof(x float64) bool {
	for _, p := range s.Pieces {
		if p.Left.Kind == Rake && x < p.Left.X+sliver || p.Right.Kind == Rake && x > p.Right.X-sliver {
			return false
		}
	}
	return true
}

// evidence sums the log likelihood ratios of the joints of one course, at x
// and whole widths from there.
func (s *Sketch) evidence(p *profile, x float64) (sum, n float64) {
	least := s.Maps.rows(.35 * s.Product.Exposure)
	end := p.x0 + float64(len(p.got))*p.step
	for k := math.Ceil((p.x0 - x) / s.Product.Width); x+k*s.Product.Width < end; k++ {
		if !s.onRoof(x + k*s.Product.Width) {
			continue
		}
		best, rows := 0.0, 0.0
		for d := -4.0; d <= 4; d += 2 {
			sh, r := p.at(x + k*s.Product.Width + d)
			if r >= least && sh >= best {
				best, rows = sh, r
			}
		}
		if rows >= least {
			sum += llr(best)
			n++
		}
	}
	return sum, n
}

// offsets weighs every offset of the joints from a joint of the open course.
func (s *Sketch) offsets(profs []*profile, anchor float64) []Lower {
	W := s.Product.Width
	n := int(W / offsetStep)
	score := make([]float64, n)
	for i := range score {
		off := (float64(i) - float64(n)/2) * offsetStep
		for c, p := range profs {
			e, _ := s.evidence(p, anchor+float64(c+1)*off)
			score[i] += e
		}
		if a := math.Abs(off); a < leastOffset || a > usualOffset {
			score[i] -= oddOffset
		}
	}
	hypotheses := maxima(score, func(i int) float64 { return anchor + (float64(i)-float64(n)/2)*offsetStep })
	for i := range hypotheses {
		hypotheses[i].Step, hypotheses[i].Stepped = hypotheses[i].X-anchor, true
	}
	return hypotheses
}

// offsetsFree weighs every place and, for each, the best offset, where no
// joint of the open course is in sight.
func (s *Sketch) offsetsFree(profs []*profile) []Lower {
	W := s.Product.Width
	n := int(W / offsetStep)
	score := make([]float64, n)
	for i := range score {
		x := profs[0].x0 + float64(i)*offsetStep
		e, _ := s.evidence(profs[0], x)
		rest := 0.0
		for off := leastOffset; off <= usualOffset; off += 4 {
			for _, sign := range []float64{-1, 1} {
				a, _ := s.evidence(profs[1], x+sign*off)
				b, _ := s.evidence(profs[2], x+2*sign*off)
				rest = max(rest, a+b)
			}
		}
		score[i] = e + rest - 2 // the best of many offsets is partly luck
	}
	return maxima(score, func(i int) float64 { return profs[0].x0 + float64(i)*offsetStep })
}

// maxima are the best local maxima of a circular score, P still logarithmic.
func maxima(score []float64, x func(i int) float64) []Lower {
	order := make([]int, len(score))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return score[order[a]] > score[order[b]] })
	var out []Lower
	var taken []int
	for _, i := range order {
		near := false
		for _, t := range taken {
			d := abs(i - t)
			near = near || float64(min(d, len(score)-d))*offsetStep < rival
		}
		if near {
			continue
		}
		taken = append(taken, i)
		out = append(out, Lower{Score: score[i], X: x(middle(score, i))})
		if len(out) == maxHypotheses {
			break
		}
	}
	return out
}

// middle is the centre of the plateau that i stands on.
func middle(score []float64, i int) int {
	hi := i
	for hi+1 < len(score) && hi < i+8 && score[hi+1] > score[i]-.05 {
		hi++
	}
	lo := i
	for lo > 0 && lo > i-8 && score[lo-1] > score[i]-.05 {
		lo--
	}
	return (lo + hi) / 2
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}

// jointsOf lists the joints of the course below in sight, for one hypothesis.
func (s *Sketch) jointsOf(x float64, p *profile, ms []mark) []LowerJoint {
	W, least := s.Product.Width, s.Maps.rows(.35*s.Product.Exposure)
	var out []LowerJoint
	end := p.x0 + float64(len(p.got))*p.step
	for k := math.Ceil((p.x0 - x) / W); x+k*W < end; k++ {
		j := LowerJoint{X: x + k*W}
		if !s.onRoof(j.X) {
			continue
		}
		best := j.X
		seen := false
		for d := -8.0; d <= 8; d += 2 {
			sh, r := p.at(j.X + d)
			seen = seen || r >= least
			if r >= least && sh > j.Strength {
				j.Strength, best = sh, j.X+d
			}
		}
		if !seen {
			continue
		}
		if j.Strength > .06 {
			if e, at, ok := edgeOf(ms, best, 6); ok && math.Abs(at-j.X) < 12 {
				j.X, j.Edge = at, s.place(e)
			}
		}
		out = append(out, j)
	}
	return out
}
