package course

import (
	"math"
	"testing"

	"coursegauge/vision/plane"
)

// buttWithStep is a butt line of slope .002, seen every 5 mm from -200 to 200,
// that lies d mm higher right of x = 0; wave is an error of its cells.
func buttWithStep(d, wave float64) []mark {
	var ms []mark
	for x := -200.0; x <= 200; x += 5 {
		y := 3 + .002*x + wave*math.Sin(x)
		if x > 0 {
			y += d
		}
		ms = append(ms, mark{along: x, across: y, weight: 1})
	}
	return ms
}

func TestStepAt(t *testing.T) {
	for _, c := range []struct {
		name       string
		d, wave, x float64
		want, far  float64
	}{
		{"none", 0, 0, 0, 0, .01},
		{"up", 1.5, 0, 0, 1.5, .01},
		{"down", -.8, 0, 0, -.8, .01},
		{"among uneven cells", 1.5, .5, 0, 1.5, .2},
		{"a tab beside it", 1.5, 0, -190, 0, 3}, // no butt on its left
	} {
		d, u, ok := stepAt(buttWithStep(c.d, c.wave), c.x)
		if c.x < -100 {
			if ok {
				t.Errorf("%s: a step of %.2f mm was told", c.name, d)
			}
			continue
		}
		if !ok || math.Abs(d-c.want) > c.far {
			t.Errorf("%s: step %.3f mm (told: %v), want %.1f", c.name, d, ok, c.want)
		}
		if c.wave == 0 && math.Abs(u-stepFloor) > .02 {
			t.Errorf("%s: u %.3f mm, want the floor of %.1f", c.name, u, stepFloor)
		}
		if c.wave > 0 && u < stepFloor+.02 {
			t.Errorf("%s: u %.3f mm does not follow the cells", c.name, u)
		}
	}
}

// A mark that lies far off neither moves the step nor hides it.
func TestStepAtLeavesOutliers(t *testing.T) {
	ms := buttWithStep(1.5, 0)
	ms[5].across += 9
	if d, _, ok := stepAt(ms, 0); !ok || math.Abs(d-1.5) > .02 {
		t.Errorf("step %.3f mm, want 1.5", d)
	}
}

// Worked by hand: with v = u² and w = u² + spread², sqrt(v/w) exp(d²/2 (1/v - 1/w))
// for the spreads .4 and 1.4 mm, mixed .35 to .65. For d = 0, u = .3: .6 and .2095.
func TestStepRatio(t *testing.T) {
	for _, c := range []struct{ d, u, want float64 }{
		{0, .3, math.Log(.35*.6 + .65*.209529)},
		{.6, .3, math.Log(.35*.6*math.Exp(.18*(1/.09-1/.25)) + .65*.209529*math.Exp(.18*(1/.09-1/2.05)))},
		{3, .3, stepMost},
		{-3, .3, stepMost},
	} {
		if got := stepRatio(c.d, c.u); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("step %.1f ± %.1f mm: %.4f, want %.4f", c.d, c.u, got, c.want)
		}
	}
}

// The steps of three tabs a course tell which third of a width the joints lie at.
func TestStepsTellTheThird(t *testing.T) {
	s := drawnSketch(false)
	W := s.Product.Width
	var ms []mark
	for x := -1200.0; x <= 1200; x += 5 { // pieces begin at 100 + k W, each .9 mm off the one before
		k := math.Floor((x - 100) / W)
		ms = append(ms, mark{along: x, across: .9 * math.Mod(math.Abs(k), 2), weight: 1})
	}
	sums := map[float64]float64{}
	for _, x := range []float64{100, 100 + W/3, 100 - W/3} {
		sums[x] = s.stepsOf(&Lower{X: x}, [][]mark{ms, nil, nil})
	}
	if sums[100] < 2 || sums[100+W/3] > 0 || sums[100-W/3] > 0 {
		t.Errorf("log likelihoods %v: the one at 100 must stand out", sums)
	}
}

// drawnRegions is a view whose cells left of from and right of to show what is no roof.
func drawnRegions(from, to float64) *Sketch {
	const w, h = 160, 80
	m := &Maps{View: plane.View{PPM: PPM, X0: -400, Y1: 300}, W: w, H: h, photo: make([]bool, w*h), seen: make([]bool, w*h)}
	for c := range m.ch {
		m.ch[c] = make([]float32, w*h)
	}
	for i := range h {
		for j := range w {
			k := i*w + j
			m.photo[k], m.seen[k] = true, true
			x, _ := m.at(i, j)
			m.ch[cOpen][k] = 4
			if x < from || x > to {
				m.ch[cOff][k] = 9
			}
		}
	}
	return &Sketch{Maps: m, Product: Product{Laminated: true, Width: 1000, Height: 250, Exposure: 100}}
}

// A rake has the roof on one side and none on the other; the border of the
// picture beside the ground is no rake.
func TestOffRoof(t *testing.T) {
	for _, c := range []struct {
		name        string
		from, to, x float64
		want        int
	}{
		{"right rake", -2000, 150, 150, 1},
		{"left rake", -150, 2000, -150, -1},
		{"middle of the roof", -150, 150, 0, 0},
		{"middle of the ground", -2000, -200, 100, 0},
		{"border of the picture, ground inside", -2000, 150, 398, 0},
		{"border of the picture, roof inside", -2000, 2000, 398, 0},
	} {
		if got := drawnRegions(c.from, c.to).offRoof(c.x); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

// A piece at a rake is cut to any width, so nothing is expected a width from
// the rake; from a joint it is, where there is roof.
func TestNothingIsExpectedFromARake(t *testing.T) {
	for _, c := range []struct {
		name string
		a, b Side
		to   float64
		want bool
	}{
		{"from a rake", Side{Kind: Frame, X: -1100}, Side{Kind: Rake, X: 300}, 2000, false},
		{"from a joint", Side{Kind: Frame, X: -1100}, Side{Kind: Joint, X: 300, Strength: .8}, 2000, true},
		{"from a joint, onto the ground", Side{Kind: Joint, X: -900, Strength: .8}, Side{Kind: Frame, X: 600}, 50, false},
	} {
		s := drawnRegions(-2000, c.to)
		s.card = func(x, y float64) bool { return false }
		if got, ok := s.expected(c.a, c.b, nil, drawnProfile(nil)); ok != c.want {
			t.Errorf("%s: %v at %.0f", c.name, ok, got.X)
		}
	}
}
