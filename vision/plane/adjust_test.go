package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

const cornerU = .04 // px

// cornersOn are the 54 corners of the card on a roof, each shaken by px.
func cornersOn(f *Frame, q *[nParams]float64, px func() float64) []Corner {
	var out []Corner
	for i := range 54 {
		x, y := 25.4*float64(i%9-4), 25.4*(2.5-float64(i/9))
		u, v := f.Project(onRoof(q)(x, y))
		out = append(out, Corner{X: x, Y: y, U: u + px(), V: v + px(), Sigma: cornerU})
	}
	return out
}

// roof is a drawn scene with what is true of it.
type roof struct {
	problem Problem
	truth   Frame
	card    [nParams]float64
	butts   []straight // of the open course's three pieces
	left    straight   // end of the whole one
	surface surface
}

// surface is the height of a roof at a place of the course, 0 the open one.
type surface func(x, y float64, course int) float64

// straight is a line as it lies on the roof: across = at + slope (along - mid).
type straight struct{ at, slope, mid float64 }

func (s straight) across(along float64) float64 { return s.at + s.slope*(along-s.mid) }

// The pieces of the open course, mm: one whole, two that leave the picture.
var reach = [3][2]float64{{-700, -520}, {-520, 480}, {480, 700}}

const (
	pieceWide = 1000.0
	lineU     = .15 // mm
)

// noise draws deviations of the given standard uncertainty, by source.
type noise func(from length.Source, u float64) float64

// drawRoof draws a roof, a card on its finished courses and a camera from the
// very uncertainties that the adjustment counts with, times loose: so its
// answers must scatter as it says. Nothing is drawn by the adjustment's own
// start, which is a pose from the card alone.
func drawRoof(r *rand.Rand, loose float64) *roof {
	return drawRoofBy(r, lineU, func(_ length.Source, u float64) float64 { return loose * u * r.NormFloat64() })
}

// drawRoofBy draws one with lines that are located to lineU mm and everything
// else off by n.
func drawRoofBy(r *rand.Rand, lineU float64, n noise) *roof {
	tilt := func() float64 { return .35 * (2*r.Float64() - 1) }
	return drawRoofAt(r, tilt(), tilt(), lineU, n)
}

// drawRoofAt draws one that is seen tilted about x and y, rad.
func drawRoofAt(r *rand.Rand, tiltX, tiltY, lineU float64, n noise) *roof {
	return drawRoofOn(r, tiltX, tiltY, lineU, n, laminated(), nil)
}

// drawRoofOn draws one of a product, on a surface that is its own; nil for the
// product's stack with its unknowns drawn.
func drawRoofOn(r *rand.Rand, tiltX, tiltY, lineU float64, n noise, nominal Stack, on surface) *roof {
	prior, known := DefaultPrior(true), DefaultKnown(pieceWide)
	start := Lens{F: 2950, Cx: 2015.5, Cy: 1511.5, K1: prior.K1}
	lens := Lens{F: start.F * math.Exp(n(length.Lens, prior.Focal)), Cx: start.Cx + n(length.Lens, prior.Centre), Cy: start.Cy + n(length.Lens, prior.Centre), K1: prior.K1 + n(length.Lens, prior.K1U), K2: n(length.Lens, prior.K2U)}
	s := nominal
	s.Thick = 1 + n(length.Surface, prior.Surface.Thick)
	s.Step += n(length.Surface, prior.Surface.Step)
	s.Bridge = max(s.Bridge+n(length.Surface, prior.Surface.Bridge), 5)
	s.Sag = n(length.Surface, prior.Surface.Sag)
	o := &roof{truth: lookingAt(lens, Vec{30 * r.NormFloat64(), 30 * r.NormFloat64(), 5}, 1150+150*r.Float64(), tiltX, tiltY, .1*r.NormFloat64(), s)}
	o.surface = on
	if on == nil {
		o.surface = func(x, y float64, course int) float64 { return s.At(y - float64(course)*s.Exposure) }
	}
	const cardOn = 9
	q := &o.card
	q[iCardTurn], q[iCardY], q[iCardZ] = .5*r.NormFloat64(), -330, cardOn*s.Thick+prior.CardThick+n(length.Height, prior.CardHeight)
	q[iCardTiltX], q[iCardTiltY], q[iCardScale] = n(length.Height, prior.CardTilt), n(length.Height, prior.CardTilt), n(length.Print, prior.CardScale)
	q[iCardBend], q[iCardBow], q[iCardTwist] = n(length.Bend, prior.CardBend), n(length.Bend, prior.CardBow), n(length.Bend, prior.CardBow)
	corners := cornersOn(&o.truth, q, func() float64 { return n(length.Corners, math.Hypot(cornerU, prior.CornerPx)) })
	h, ok := fit(corners)
	if !ok {
		panic("no homography of a whole card")
	}
	place := CardPlace{Turn: q[iCardTurn] + .01*r.NormFloat64(), Y: q[iCardY] + 3*r.NormFloat64(), Z: cardOn + prior.CardThick}
	o.problem = Problem{Start: FrameFrom(PoseFrom(h.H, start), start, place, nominal), Card: place, Corners: corners, Prior: prior, Known: known, CardOn: cardOn}
	o.lay(lineU, n)
	return o
}

// lay draws the lines of three courses.
func (o *roof) lay(lineU float64, n noise) {
	k, s := o.problem.Known, o.truth.Stack
	off := func(u float64) float64 { return n(length.Product, u) }
	see := func(l Line, s straight, from, to float64) int {
		l.U = lineU
		s.at, s.slope = s.at+n(length.Localisation, lineU), s.slope+n(length.Localisation, 2*lineU/(to-from))
		return o.see(l, s, from, to)
	}
	for _, p := range reach {
		b := straight{off(k.CourseU), off(k.SlopeU), (p[0] + p[1]) / 2}
		o.butts = append(o.butts, b)
		mate := see(Line{Kind: Butt, Mate: -1}, b, p[0]+3, p[1]-3)
		t := straight{b.at + s.Height + off(k.HeightU), b.slope, b.mid}
		see(Line{Kind: Top, Mate: mate}, t, p[0]+3, p[1]-3)
	}
	for course := -1; course >= -2; course-- {
		for _, p := range [2][2]float64{{-690, 110}, {110, 690}} {
			b := straight{float64(course)*s.Exposure + off(k.CourseU), off(k.SlopeU), (p[0] + p[1]) / 2}
			see(Line{Kind: Butt, Course: course, Mate: -1}, b, p[0], p[1])
		}
	}
	o.left = straight{reach[1][0], off(k.SquareU), s.Height / 2}
	right := straight{o.left.at + pieceWide + off(k.WidthU), off(k.SquareU), s.Height / 2}
	mate := see(Line{Kind: Joint, Mate: -1}, o.left, 5, s.Height-5)
	see(Line{Kind: Joint, Mate: mate, Full: true}, right, 5, s.Height-5)
	see(Line{Kind: Joint, Course: -1, Mate: -1}, straight{110, off(k.SquareU), -s.Exposure / 2}, -s.Exposure+3, -3)
}

// see adds a line as the picture shows it on its course's surface; it returns
// the index.
func (o *roof) see(l Line, s straight, from, to float64) int {
	const points = 25
	for i := range points {
		along := from + (to-from)*float64(i)/(points-1)
		x, y := along, s.across(along)
		if l.Kind == Joint {
			x, y = y, x
		}
		height := o.surface(x, y, l.Course)
		if l.Kind == Butt { // the piece lies where the surface says, its butt is not a place on it
			height = o.surface(x, float64(l.Course)*o.truth.Stack.Exposure, l.Course)
		}
		u, v := o.truth.Project(x, y, height)
		l.Pts = append(l.Pts, [2]float64{u, v})
	}
	o.problem.Lines = append(o.problem.Lines, l)
	return len(o.problem.Lines) - 1
}

// aboveButt is the height of a head at (x, y) of the roof above the butt of the
// piece that it lies on, as a function of the frame, and its true value.
func (o *roof) aboveButt(piece int, x, y float64) (quantity func(*Frame) float64, want float64) {
	u, v := o.truth.Project(x, y, o.surface(x, y, 0))
	butt := &o.problem.Lines[2*piece]
	return func(f *Frame) float64 {
		hx, hy := f.OnSurface(u, v, 0, 0)
		return hy - butt.Across(f, hx)
	}, y - o.butts[piece].across(x)
}

// fromLeftEnd is how far a head at (x, y) of the roof lies from the left end of
// the whole piece, as a function of the frame.
func (o *roof) fromLeftEnd(x, y float64) func(*Frame) float64 {
	u, v := o.truth.Project(x, y, o.truth.Stack.At(y))
	end := &o.problem.Lines[len(o.problem.Lines)-3]
	return func(f *Frame) float64 {
		hx, hy := f.OnSurface(u, v, 0, 0)
		return hx - end.Across(f, hy)
	}
}

// buttVariance is what a piece's butt is misplaced by at x, as it is located:
// its middle and its direction, see lay.
func (o *roof) buttVariance(piece int, x float64) float64 {
	p := reach[piece]
	turn := 2 * lineU / (p[1] - p[0] - 6) * (x - o.butts[piece].mid)
	return lineU*lineU + turn*turn
}

func sumOf(effects []float64) float64 {
	s := 0.0
	for _, e := range effects {
		s += e * e
	}
	return s
}

// With next to no noise and a roof as the product says, the lengths come back,
// though lens, focal length and the height of the card are not what the
// adjustment starts from.
func TestSolveRecoversLengths(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 1))
	for range 10 {
		o := drawRoof(r, .02)
		s := o.problem.Solve()
		if s.ResidualPx > .03 || s.LineChi > .02 {
			t.Errorf("corners fit to %.3f px, lines to %.3f; want next to nothing", s.ResidualPx, s.LineChi)
		}
		for _, p := range []struct {
			piece int
			x, y  float64
		}{{0, -600, 160}, {1, -490, 160}, {1, 0, 165}, {1, 450, 150}, {2, 600, 170}} {
			q, want := o.aboveButt(p.piece, p.x, p.y)
			if got := q(&s.Frame); math.Abs(got-want) > .1 {
				t.Errorf("head at (%g, %g): %.3f mm above the butt, want %.3f", p.x, p.y, got, want)
			}
		}
		joints := o.problem.Lines[len(o.problem.Lines)-3:]
		if w := joints[1].Across(&s.Frame, 160) - joints[0].Across(&s.Frame, 160); math.Abs(w-pieceWide) > .2 {
			t.Errorf("the whole piece is %.3f mm wide, want %g", w, pieceWide)
		}
	}
}

// A start that is off by a prior's uncertainty or two in each of lens, focal
// length and card must not matter where corners and lines are good.
func TestSolveFindsTheLens(t *testing.T) {
	r := rand.New(rand.NewPCG(22, 1))
	o := drawRoof(r, .02)
	o.problem.Start.Lens.F *= 1.01
	o.problem.Prior.K1 = .02
	s := o.problem.Solve()
	k1, u := s.K1()
	if math.Abs(k1-o.truth.Lens.K1) > 3*u {
		t.Errorf("k1 %.4f ± %.4f, want %.4f", k1, u, o.truth.Lens.K1)
	}
	f, uf := s.Focal()
	if math.Abs(f-o.truth.Lens.F) > 3*uf || uf > .015*f {
		t.Errorf("focal length %.1f ± %.1f px, want %.1f and better than the prior", f, uf, o.truth.Lens.F)
	}
	for _, i := range []int{iCardBend, iCardBow, iCardTwist} {
		if d := math.Abs(s.Params[i] - o.card[i]); d > 3*s.U(i) {
			t.Errorf("bend (unknown %d) %.3f mm, want %.3f", i, s.Params[i], o.card[i])
		}
	}
}

// One edge that is not what it seems (a slot taken for a joint, a shadow for a
// butt) must not bend the rest.
func TestSolveWithstandsAWrongEdge(t *testing.T) {
	for _, c := range []struct {
		name   string
		line   int // in the order of lay
		du, dv float64
	}{
		{"a butt of the course below, 20 px down", 6, 0, 20},
		{"a top edge, 30 px up", 5, 0, -30},
		{"the right end of the whole piece, 40 px to the left", 11, -40, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := drawRoof(rand.New(rand.NewPCG(23, 1)), .02)
			l := &o.problem.Lines[c.line]
			for i := range l.Pts {
				l.Pts[i][0], l.Pts[i][1] = l.Pts[i][0]+c.du, l.Pts[i][1]+c.dv
			}
			s := o.problem.Solve()
			q, want := o.aboveButt(1, 0, 165)
			// within two standard uncertainties, where a wrong edge of 8 to 15 mm went in
			u := math.Sqrt(sumOf(s.Effects(q)))
			if got := q(&s.Frame); math.Abs(got-want) > 2*u {
				t.Errorf("a head is %.2f ± %.2f mm above the butt, want %.2f", got, u, want)
			}
			if s.LineChi < .3 {
				t.Errorf("lines fit to %.2f: the wrong edge does not show", s.LineChi)
			}
		})
	}
}

// Bounds of the sum of squares of n normalised errors over n: chi-square with n
// degrees of freedom, 0.05 % on either side, by Wilson and Hilferty (for 150:
// 0.66 and 1.42). Weights that count far residuals less widen what is told by
// up to a tenth, so the lower bound gives that way.
func chiBounds(n float64) (low, high float64) {
	c := 2 / (9 * n)
	a, b := 1-c-3.29*math.Sqrt(c), 1-c+3.29*math.Sqrt(c)
	return .85 * a * a * a, b * b * b
}

// Roofs drawn from the adjustment's own uncertainties: the normalised errors of
// heads' heights above the butt have a variance near 1, and so have places along
// the course, near the card and far from it, while what is told grows with the
// distance.
func TestSolveKnowsHowSureItIs(t *testing.T) {
	const draws = 150
	heads := []struct {
		name  string
		piece int
		x, y  float64
	}{{"left", 0, -600, 165}, {"middle", 1, 0, 165}, {"right", 1, 450, 165}, {"low", 1, -300, 60}}
	away := []float64{50, 250, 450, 650} // mm from the card's middle, along the course
	sums := make([]float64, len(heads))
	placeSums, told, off := make([]float64, len(away)), make([]float64, len(away)), make([]float64, len(away))
	r := rand.New(rand.NewPCG(31, 7))
	for range draws {
		o := drawRoof(r, 1)
		s := o.problem.Solve()
		for i, h := range heads {
			q, want := o.aboveButt(h.piece, h.x, h.y)
			e := q(&s.Frame) - want
			sums[i] += e * e / (sumOf(s.Effects(q)) + o.buttVariance(h.piece, h.x)) / draws
		}
		for i, x := range away {
			u, v := o.truth.Project(x, 165, o.truth.Stack.At(165))
			along := func(f *Frame) float64 { x, _ := f.OnSurface(u, v, 0, 0); return x }
			e, v2 := along(&s.Frame)-x, sumOf(s.Effects(along))
			placeSums[i] += e * e / v2 / draws
			told[i], off[i] = told[i]+v2/draws, off[i]+e*e/draws
		}
	}
	low, high := chiBounds(draws)
	for i, h := range heads {
		t.Logf("%s: variance of the normalised errors %.2f", h.name, sums[i])
		if sums[i] < low || sums[i] > high {
			t.Errorf("%s: heights above the butt have normalised errors of variance %.2f, want %.2f to %.2f", h.name, sums[i], low, high)
		}
	}
	for i, x := range away {
		t.Logf("%g mm from the card: told %.2f mm, off by %.2f mm rms", x, math.Sqrt(told[i]), math.Sqrt(off[i]))
		if placeSums[i] < low || placeSums[i] > high {
			t.Errorf("%g mm from the card: normalised errors of variance %.2f, want %.2f to %.2f", x, placeSums[i], low, high)
		}
		if i > 0 && told[i] <= told[i-1] {
			t.Errorf("%g mm from the card a place is told to %.2f mm, nearer to %.2f mm", x, math.Sqrt(told[i]), math.Sqrt(told[i-1]))
		}
	}
}
