package plane

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Every pixel of a 12 MP phone photo must come back from its ray; the lenses
// are the corners of what phones do (|k1| to 0.1, common practice, no source).
func TestLensProjectsWhatItSaw(t *testing.T) {
	for _, k := range []struct{ k1, k2 float64 }{{0, 0}, {.034, 0}, {-.05, .02}, {.1, -.03}, {-.1, 0}} {
		l := Lens{F: 3000, Cx: 2015.5, Cy: 1511.5, K1: k.k1, K2: k.k2}
		for _, p := range [][2]float64{{0, 0}, {4031, 3023}, {2015.5, 1511.5}, {300.25, 2900.5}, {4031, 0}} {
			u, v := l.Project(l.Ray(p[0], p[1]))
			// a thousandth of a pixel, as Ray promises, within the lenses it names
			if d := math.Hypot(u-p[0], v-p[1]); !(d < 1e-3) {
				t.Errorf("k1 %g, k2 %g: pixel %v comes back %.2g px off", k.k1, k.k2, p, d)
			}
		}
	}
}

// Brown's radial terms by hand: at x = 0.5, y = 0, r² = 0.25 and
// 1 + 0.1·0.25 + 0.2·0.0625 = 1.0375.
func TestLensRadialTerms(t *testing.T) {
	l := Lens{F: 1000, Cx: 10, Cy: 20, K1: .1, K2: .2}
	u, v := l.Project(Vec{1, 0, 2})
	if math.Abs(u-(10+1000*.5*1.0375)) > 1e-9 || v != 20 {
		t.Errorf("(1, 0, 2) lies at (%g, %g) px, want (528.75, 20)", u, v)
	}
}

func TestRodriguesTurnsByHand(t *testing.T) {
	for _, c := range []struct {
		name       string
		w, p, want Vec
	}{
		{"none", Vec{}, Vec{1, 2, 3}, Vec{1, 2, 3}},
		{"a quarter about z", Vec{0, 0, math.Pi / 2}, Vec{1, 0, 0}, Vec{0, 1, 0}},
		{"a quarter about x", Vec{math.Pi / 2, 0, 0}, Vec{0, 1, 0}, Vec{0, 0, 1}},
		{"a half about y", Vec{0, math.Pi, 0}, Vec{1, 2, 3}, Vec{-1, 2, -3}},
		{"a third about the diagonal", Vec{1, 1, 1}, Vec{1, 0, 0}, Vec{0, 1, 0}},
	} {
		if c.name == "a third about the diagonal" {
			k := 2 * math.Pi / 3 / math.Sqrt(3)
			c.w = Vec{k, k, k}
		}
		r := Rodrigues(c.w)
		if d := norm(r.Mul(c.p).Sub(c.want)); d > 1e-12 {
			t.Errorf("%s: %v becomes %v, want %v", c.name, c.p, r.Mul(c.p), c.want)
		}
	}
}

func TestRodriguesAndVectorAreInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for range 2000 {
		w := Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		switch n := norm(w); r.IntN(4) {
		case 0: // next to nothing
			w = Vec{w[0] * 1e-7, w[1] * 1e-7, w[2] * 1e-7}
		case 1: // nearly a half turn
			k := (math.Pi - 1e-4*r.Float64()) / n
			w = Vec{w[0] * k, w[1] * k, w[2] * k}
		case 2:
			k := math.Pi * r.Float64() / n
			w = Vec{w[0] * k, w[1] * k, w[2] * k}
		}
		R := Rodrigues(w)
		back := R.Vector()
		again := Rodrigues(back)
		for i := range 9 {
			if math.Abs(R[i]-again[i]) > 1e-6 {
				t.Fatalf("%v comes back as %v: another turn", w, back)
			}
		}
		if p := (Vec{1, -2, 3}); norm(R.MulT(R.Mul(p)).Sub(p)) > 1e-12 {
			t.Fatalf("%v: turned back, %v is not itself", w, p)
		}
	}
}

// A half turn has no sign of its own: its axis comes from the diagonal.
func TestVectorOfHalfTurns(t *testing.T) {
	for _, w := range []Vec{{math.Pi, 0, 0}, {0, math.Pi, 0}, {0, 0, math.Pi}, {0, math.Pi * .6, -math.Pi * .8}, {math.Pi * .6, 0, -math.Pi * .8}} {
		R := Rodrigues(w)
		again := R.Vector()
		S := Rodrigues(again)
		for i := range 9 {
			if math.Abs(R[i]-S[i]) > 1e-6 {
				t.Errorf("%v comes back as %v", w, again)
				break
			}
		}
	}
}

func TestThenIsOneAfterTheOther(t *testing.T) {
	a, b := Rodrigues(Vec{.3, -.2, 1}), Rodrigues(Vec{-1, .4, .1})
	p := Vec{3, 4, 5}
	both := a.Then(&b)
	if d := norm(both.Mul(p).Sub(b.Mul(a.Mul(p)))); d > 1e-12 {
		t.Errorf("a then b is %.2g off b of a", d)
	}
}
