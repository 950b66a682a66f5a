package length_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// A budget's squares add up to that of the combined uncertainty, also of sums
// and differences, whose shared inputs may cancel.
func TestBudgetAddsUp(t *testing.T) {
	inputs := []length.Source{length.Corners, length.Lens, length.Height}
	r := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		a := random(r).Widen(length.Height, length.MM(r.Float64()))
		b := random(r).Widen(length.Product, length.MM(r.Float64()))
		for name, m := range map[string]length.Measured{"a": a, "b": b, "a - b": a.Sub(b), "a + b": a.Add(b), "-a": a.Neg(), "a + 5": a.Plus(5), "without shared inputs": length.New(3, 2)} {
			if got, want := m.Budget(inputs).U(), m.U(); math.Abs(float64(got-want)) > 1e-12*float64(want) {
				t.Fatalf("%s: the budget adds up to %.15g mm, u is %.15g mm", name, got, want)
			}
		}
	}
}

// Contributions stand where they belong: the example H.1 of JCGM 100:2008 by
// source, had the standard been a card and the bath a lens.
func TestBudgetBySource(t *testing.T) {
	m := length.New(50, 9.7e-6).WithShared([]float64{25e-6, 2.9e-6, -16.6e-6})
	b := m.Budget([]length.Source{length.Print, length.Lens, length.Lens})
	for s, want := range map[length.Source]float64{length.Localisation: 9.7e-6, length.Print: 25e-6, length.Lens: math.Hypot(2.9e-6, 16.6e-6), length.Bend: 0} {
		if got := float64(b[s]); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v adds %.3g mm, want %.3g mm", s, got, want)
		}
	}
	// of a difference of two lengths off one print only their own parts are left
	d := m.Sub(length.New(30, 9.7e-6).WithShared([]float64{25e-6, 0, 0})).Budget([]length.Source{length.Print, length.Lens, length.Lens})
	if d[length.Print] != 0 || math.Abs(float64(d[length.Localisation])-math.Sqrt2*9.7e-6) > 1e-12 {
		t.Errorf("a difference off one print has %.3g mm of it and %.3g mm of its own", d[length.Print], d[length.Localisation])
	}
}

func TestSourcesHaveNames(t *testing.T) {
	seen := map[string]bool{}
	for i, s := range length.Sources() {
		if int(s) != i || s.String() == "" || seen[s.String()] {
			t.Errorf("source %d is %d, named %q", i, s, s)
		}
		seen[s.String()] = true
	}
	if n := len(length.Budget{}); n != len(seen) {
		t.Errorf("%d sources are listed, a budget has %d", len(seen), n)
	}
}
