package stats

import (
	"math"
	"testing"
)

// The four examples of R. G. Newcombe, Stat. Med. 17, 1998, 857-872, table I:
// methods 3 (Wilson) and 5 (Clopper and Pearson), four decimals as printed there.
var newcombe = []struct {
	k, n          int
	wilson, exact Interval
}{
	{81, 263, Interval{.2553, .3662}, Interval{.2527, .3676}},
	{15, 148, Interval{.0624, .1605}, Interval{.0578, .1617}},
	{0, 20, Interval{0, .1611}, Interval{0, .1684}},
	{1, 29, Interval{.0061, .1718}, Interval{.0009, .1776}},
	{20, 20, Interval{1 - .1611, 1}, Interval{1 - .1684, 1}}, // the third, turned round
	{0, 0, Interval{0, 1}, Interval{0, 1}},
}

func near(a, b float64) bool { return math.Abs(a-b) <= 5.1e-5 }

func TestPublished(t *testing.T) {
	for _, c := range newcombe {
		if got := Wilson(c.k, c.n); !near(got.Low, c.wilson.Low) || !near(got.High, c.wilson.High) {
			t.Errorf("Wilson(%d, %d) = %.4f, want %.4f", c.k, c.n, got, c.wilson)
		}
		if got := Exact(c.k, c.n); !near(got.Low, c.exact.Low) || !near(got.High, c.exact.High) {
			t.Errorf("Exact(%d, %d) = %.4f, want %.4f", c.k, c.n, got, c.exact)
		}
	}
}

// 1 - 0.05^(1/n), worked out by hand to four decimals.
func TestNoneSeen(t *testing.T) {
	for n, want := range map[int]float64{20: .1391, 29: .0981, 59: .0495, 100: .0295, 299: .0100} {
		if got := NoneSeen(n); !near(got, want) {
			t.Errorf("NoneSeen(%d) = %.4f, want %.4f", n, got, want)
		}
		if p := math.Pow(1-NoneSeen(n), float64(n)); !near(p, .05) {
			t.Errorf("seeing none of %d has a probability of %.4f there, want .05", n, p)
		}
	}
	if NoneSeen(0) != 1 {
		t.Error("nothing seen bounds nothing")
	}
}

// Whatever is counted, both intervals hold the share that was seen, lie between
// 0 and 1, and mirror each other when what is counted is turned round; the
// exact bound is no root of the binomial sum by luck: at its ends, 2.5 % lie beyond.
func TestProperties(t *testing.T) {
	for n := range 60 {
		for k := range n + 1 {
			for name, of := range map[string]func(int, int) Interval{"Wilson": Wilson, "Exact": Exact} {
				i, m := of(k, n), of(n-k, n)
				p := float64(k) / math.Max(1, float64(n))
				if i.Low < 0 || i.High > 1 || i.Low > p+1e-12 || n > 0 && i.High < p-1e-12 {
					t.Errorf("%s(%d, %d) = %v", name, k, n, i)
				}
				if math.Abs(i.Low-(1-m.High)) > 1e-9 || math.Abs(i.High-(1-m.Low)) > 1e-9 {
					t.Errorf("%s(%d, %d) = %v, turned round %v", name, k, n, i, m)
				}
			}
			if i := Exact(k, n); k > 0 && math.Abs(atLeast(k, n, i.Low)-.025) > 1e-6 {
				t.Errorf("Exact(%d, %d): %v of the sample lie beyond the lower bound", k, n, atLeast(k, n, i.Low))
			}
		}
	}
}

// atLeast is the probability of k or more of n.
func atLeast(k, n int, p float64) float64 {
	sum := 0.0
	for j := k; j <= n; j++ {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(j + 1))
		c, _ := math.Lgamma(float64(n - j + 1))
		sum += math.Exp(a - b - c + float64(j)*math.Log(p) + float64(n-j)*math.Log1p(-p))
	}
	return sum
}
