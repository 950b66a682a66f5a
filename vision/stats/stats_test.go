package stats

import (
	"math"
	"slices"
	"testing"
)

// Normal: Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.1.
// Student's t and chi-square: NIST/SEMATECH e-Handbook of Statistical Methods,
// 1.3.6.7.2 and 1.3.6.7.4 (three decimals as printed there).
func TestDistributions(t *testing.T) {
	for z, want := range map[float64]float64{0: .5, 1: .841344746, 1.4: .919243341, 2: .977249868, 3: .998650102, -1: .158655254, -3: .001349898} {
		if got := Normal(z); math.Abs(got-want) > 5e-10 {
			t.Errorf("Normal(%v) = %.9f, want %.9f", z, got, want)
		}
	}
	if got := Normal(z95); math.Abs(got-.975) > 1e-15 {
		t.Errorf("Normal(Z95) = %.16f", got)
	}
	for z, want := range map[float64]float64{0: .398942280, 1: .241970725, -2: .053990967} {
		if got := NormalDensity(z); math.Abs(got-want) > 5e-10 {
			t.Errorf("NormalDensity(%v) = %.9f, want %.9f", z, got, want)
		}
	}
	for freedom, want := range map[float64]float64{.2: 12.706, 1: 12.706, 2: 4.303, 5: 2.571, 10: 2.228, 16: 2.120, 30: 2.042, 100: 1.984} {
		if got := Student95(freedom); math.Abs(got-want) > 5e-4 {
			t.Errorf("Student95(%v) = %.4f, want %.3f", freedom, got, want)
		}
	}
	// chi-square at .975 and .025: 11.143 and .484 with 4, 20.483 and 3.247 with 10
	for freedom, want := range map[float64][2]float64{4: {11.143, .484}, 10: {20.483, 3.247}} {
		i := SpreadInterval(2, freedom)
		low, high := 2*math.Sqrt(freedom/want[0]), 2*math.Sqrt(freedom/want[1])
		if math.Abs(i.Low-low) > 1e-3 || math.Abs(i.High-high) > 4e-3 {
			t.Errorf("SpreadInterval(2, %v) = %v, want %.3f to %.3f", freedom, i, low, high)
		}
	}
}

// The nearest ranks of 15, 20, 35, 40, 50, a common example; and of 1 to 20, of
// which 19 do not exceed the 19th.
func TestQuantile(t *testing.T) {
	five := []float64{35, 20, 50, 15, 40}
	for p, want := range map[float64]float64{.05: 15, .3: 20, .4: 20, .5: 35, .75: 40, 1: 50} {
		if got := Quantile(five, p); got != want {
			t.Errorf("Quantile(%v) = %v, want %v", p, got, want)
		}
	}
	if Median(five) != 35 || Median([]float64{4, 1, 3, 2}) != 3 || Median([]float64{7}) != 7 {
		t.Error("Median")
	}
	if !slices.Equal(five, []float64{35, 20, 50, 15, 40}) {
		t.Errorf("the values were put in another order: %v", five)
	}
	for n := 1; n <= 400; n++ {
		values := make([]float64, n)
		for i := range values {
			values[i] = float64(n - i)
		}
		if got, want := Quantile(values, .95), float64((19*n+19)/20); got != want {
			t.Errorf("95 %% of 1 to %d: %v, want %v", n, got, want)
		}
		if got, want := Quantile(values, .5), float64((n+1)/2); got != want {
			t.Errorf("half of 1 to %d: %v, want %v", n, got, want)
		}
	}
	if !math.IsNaN(Quantile(nil, .5)) || !math.IsNaN(Median(nil)) {
		t.Error("there is no quantile of nothing")
	}
}
