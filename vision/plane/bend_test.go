package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// How a card may be out of flat, mm over its plane for a sagitta of 1 mm: bent
// along, across and askew, and as the adjustment has no unknowns for: one end
// or one corner curled up, bent both ways.
var bends = []struct {
	name    string
	follows bool // the adjustment can follow it
	z       func(x, y float64) float64
}{
	{"along", true, func(x, y float64) float64 { return x*x/halfLong/halfLong - 1./3 }},
	{"across", true, func(x, y float64) float64 { return y*y/halfLong/halfLong - 1./6 }},
	{"askew", true, func(x, y float64) float64 { return (x + y) * (x + y) / 2 / halfLong / halfLong }},
	{"twisted", true, func(x, y float64) float64 { return 2 * x * y / halfLong / halfLong }},
	{"an end up", false, func(x, y float64) float64 { v := math.Max(0, (x-40)/100); return v * v }},
	{"a corner up", false, func(x, y float64) float64 { v := math.Max(0, (x+y-80)/100); return v * v }},
	{"both ways", false, func(x, y float64) float64 { return x * x * x / halfLong / halfLong / halfLong }},
}

// bentRoof is a roof with everything else off as usual, and a card bent by b mm.
func bentRoof(r *rand.Rand, b float64, z func(x, y float64) float64) *roof {
	o := drawRoofBy(r, lineU, func(from length.Source, u float64) float64 {
		if from == length.Bend {
			return 0
		}
		return u * r.NormFloat64()
	})
	if r.IntN(2) == 0 {
		b = -b
	}
	p := &o.problem
	for i := range p.Corners {
		c := &p.Corners[i]
		X, Y, Z := onRoof(&o.card)(c.X, c.Y)
		u0, v0 := o.truth.Project(X, Y, Z)
		u1, v1 := o.truth.Project(X, Y, Z+b*z(c.X, c.Y))
		c.U, c.V = c.U+u1-u0, c.V+v1-v0
	}
	h, ok := fit(p.Corners)
	if !ok {
		panic("no homography of a whole card")
	}
	p.Start = FrameFrom(PoseFrom(h.H, p.Start.Lens), p.Start.Lens, p.Card, p.Start.Stack)
	return o
}

// cardAlone is the adjustment before the course is known, which expects any bend.
func cardAlone(o *roof) *Solution {
	p := o.problem
	p.Lines, p.Card = nil, CardPlace{}
	p.Prior.CardBend, p.Prior.CardBow = 15, 15
	h, ok := fit(p.Corners)
	if !ok {
		panic("no homography of a whole card")
	}
	p.Start = FrameFrom(PoseFrom(h.H, p.Start.Lens), p.Start.Lens, CardPlace{}, Stack{})
	return p.Solve()
}

// Whatever the shape, heights and places keep to what is told: the bend that
// the adjustment can follow up to where a photo is refused (5 mm), the others
// as far as a card can go, since corners that do not fit count for less.
func TestBentCardIsCovered(t *testing.T) {
	const draws = 25
	low, high := chiBounds(draws)
	for k, shape := range bends {
		sizes := []float64{5}
		if !shape.follows {
			sizes = []float64{5, 20}
		}
		for _, b := range sizes {
			r := rand.New(rand.NewPCG(51, uint64(k)))
			var height, end, wide float64
			for range draws {
				o := bentRoof(r, b, shape.z)
				o.problem.Prior = cardAlone(o).Bent(o.problem.Prior)
				s := o.problem.Solve()
				q, want := o.aboveButt(1, 450, 165)
				e := q(&s.Frame) - want
				height += e * e / (sumOf(s.Effects(q)) + o.buttVariance(1, 450)) / draws
				q = o.fromLeftEnd(450, 165)
				e = q(&s.Frame) - (450 - o.left.across(165))
				end += e * e / (sumOf(s.Effects(q)) + lineU*lineU) / draws
				wide += s.Misfit / draws
			}
			t.Logf("%s, %g mm: variance of the normalised errors %.2f (height), %.2f (end); corners fit to %.1f of their uncertainty", shape.name, b, height, end, wide)
			if height < low || height > high || end < low || end > high {
				t.Errorf("%s, %g mm: normalised errors of variance %.2f (height) and %.2f (end), want %.2f to %.2f", shape.name, b, height, end, low, high)
			}
			if shape.follows != (wide < misfit) {
				t.Errorf("%s, %g mm: corners fit to %.1f of their uncertainty", shape.name, b, wide)
			}
		}
	}
}

// From the card alone, before the course is known, a bend that the adjustment
// can follow is told to 1.2 mm or a third of it, in any direction: lens
// and view are not known yet.
func TestBendIsTold(t *testing.T) {
	r := rand.New(rand.NewPCG(52, 1))
	for _, shape := range bends {
		for _, b := range []float64{0, 2, 5, 10, 20} {
			if !shape.follows {
				continue
			}
			for range 3 {
				o := bentRoof(r, b, shape.z)
				s := cardAlone(o)
				if got := math.Abs(s.Bend()); math.Abs(got-b) > max(1.2, b/3) {
					t.Errorf("%s: a bend of %g mm is told as %.2f mm", shape.name, b, got)
				}
			}
		}
	}
}
