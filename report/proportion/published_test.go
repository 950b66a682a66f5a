package proportion

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The examples of R. G. Newcombe, Stat. Med. 17, 1998, 873-890, table II, method
// 10. The first two are quoted from the paper by public test files; the others
// were worked out with its formula and agree with the paper as remembered.
func TestNewcombeDifferences(t *testing.T) {
	for _, c := range []struct{ k1, n1, k2, n2, d, low, high float64 }{
		{56, 70, 48, 80, .2000, .0524, .3339},
		{9, 10, 3, 10, .6000, .1705, .8090},
		{6, 7, 2, 7, .5714, .0582, .8062},
		{5, 56, 0, 29, .0893, -.0381, .1926},
		{0, 10, 0, 20, 0, -.1611, .2775},
		{0, 10, 0, 10, 0, -.2775, .2775},
		{10, 10, 0, 20, 1, .6791, 1},
		{10, 10, 0, 10, 1, .6075, 1},
	} {
		d, i := Difference(c.k1, c.n1, c.k2, c.n2)
		if !near(d, c.d) || !near(i.Low, c.low) || !near(i.High, c.high) {
			t.Errorf("%v/%v - %v/%v = %.4f (%.4f), want %.4f (%.4f, %.4f)", c.k1, c.n1, c.k2, c.n2, d, i, c.d, c.low, c.high)
		}
		if m, j := Difference(c.k2, c.n2, c.k1, c.n1); !near(m, -c.d) || !near(j.Low, -c.high) || !near(j.High, -c.low) {
			t.Errorf("turned round: %.4f (%.4f)", m, j)
		}
	}
	if d, i := Difference(0, 0, 1, 2); !math.IsNaN(d) || i != (Interval{-1, 1}) {
		t.Errorf("of nothing: %v %v", d, i)
	}
}

// NIST/SEMATECH e-Handbook, 6.3.3.2: bad chips on 30 wafers of 50. Centre and
// limits are worked out from the handbook's counts; it prints .2313.
var wafers = []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}

func TestHandbookWafers(t *testing.T) {
	n := slices.Repeat([]int{50}, 30)
	centre, points := Chart(wafers, n)
	var out []int
	for i, p := range points {
		if p.Out {
			out = append(out, i+1)
		}
		if p.Exact || !near(p.Low, .05243) || !near(p.High, .41024) {
			t.Fatalf("%+v", p)
		}
	}
	if !near(centre, .23133) || !slices.Equal(out, []int{15, 23}) {
		t.Errorf("centre %.5f, out %v", centre, out)
	}
	// Without the two: 301 of 1400, limits .0407 and .3893, and sample 21 is out.
	k := slices.DeleteFunc(slices.Clone(wafers), func(v int) bool { return v == 22 || v == 24 })
	centre, points = Chart(k, n[:28])
	i := slices.Index(k, 20)
	if !near(centre, .2150) || !near(points[i].High, .3893) || !near(points[i].Low, .0407) || !points[i].Out {
		t.Errorf("centre %.4f, %+v", centre, points[i])
	}
}

// A trainee's day of 100 nails at a share of .05: limits .1154 and 0, worked out
// by hand; a day of 30 has limits of its own, and those of the binomial
// distribution, since 1.5 bad ones are expected.
func TestTraineesDays(t *testing.T) {
	_, points := Chart([]int{5, 95, 1, 0}, []int{100, 1900, 30, 0})
	if len(points) != 3 {
		t.Fatalf("%d points", len(points))
	}
	if p := limits(5, 100, .05); p.Exact || !near(p.High, .1154) || p.Low != 0 {
		t.Errorf("%+v", p)
	}
	p := limits(6, 30, .05)
	b := distuv.Binomial{N: 30, P: .05}
	most := math.Round(p.High * 30)
	if !p.Exact || p.Low != 0 || 1-b.CDF(most) > tail || 1-b.CDF(most-1) <= tail {
		t.Errorf("%+v", p)
	}
	if p.Out || !limits(int(most)+1, 30, .05).Out {
		t.Errorf("most %v: %+v", most, p)
	}
	if c, points := Chart([]int{0, 0}, []int{9, 4}); c != 0 || points[0].Out {
		t.Errorf("none bad: %v %+v", c, points)
	}
}

// Smallest n with a hypergeometric probability of at most .05 of seeing none,
// worked out by exact fractions for D = ceil(N p); 5000 at 5 % (59) and about 300
// at 1 % stand in published notes too.
func TestFiniteLots(t *testing.T) {
	rates := []float64{.01, .02, .05, .10, .20}
	for N, want := range map[int][]int{
		30: {29, 29, 23, 19, 11}, 50: {48, 48, 31, 22, 12}, 100: {95, 78, 45, 25, 13}, 200: {155, 105, 51, 27, 13},
		500: {225, 129, 56, 28, 14}, 1000: {258, 138, 57, 29, 14}, 5000: {290, 147, 59, 29, 14}, 10_000_000: {299, 149, 59, 29, 14},
	} {
		for i, r := range rates {
			n, bad := SampleFor(N, r, .95)
			if n != want[i] {
				t.Errorf("%d at %v: %d, want %d", N, r, n, want[i])
			}
			if NoneOf(n, N, bad) > .05+1e-9 || NoneOf(n-1, N, bad) <= .05 {
				t.Errorf("%d at %v: %d is not the smallest", N, r, n)
			}
		}
	}
	if _, bad := SampleFor(100, .07, .95); bad != 7 {
		t.Errorf("7 %% of 100 is %d", bad)
	}
	if n, _ := SampleFor(1, .05, .95); n != 1 {
		t.Errorf("of one: %d", n)
	}
	if p := NoneOf(2, 5, 2); !near(p, .3) { // 3/5 of 2/4
		t.Errorf("%v", p)
	}
}

// Plans read off public copies of MIL-STD-105E, table II-A and table I; the
// arrows lead to the plan that holds.
func TestAttributePlans(t *testing.T) {
	for _, c := range []struct {
		lot        int
		level, aql string
		want       Plan
	}{
		{500, "II", "2.5", Plan{"H", 50, 3, false}},
		{1200, "II", "2.5", Plan{"J", 80, 5, false}}, // not 10: after 0 comes a gap of arrows
		{1000, "II", "1.0", Plan{"J", 80, 2, false}},
		{3200, "II", "0.65", Plan{"K", 125, 2, false}},
		{40_000, "S-4", "0.65", Plan{"J", 80, 1, false}}, // stated in a published figure: n 80, 1 and 2
		{100, "II", "4.0", Plan{"F", 20, 2, false}},
		{8, "I", "6.5", Plan{"A", 2, 0, false}},
		{20, "II", "1.0", Plan{"E", 13, 0, false}},           // C, arrow down to E
		{20, "II", "0.65", Plan{"F", 20, 0, true}},           // C, down to F, which is the whole lot
		{50, "II", "4.0", Plan{"E", 13, 1, false}},           // D, arrow down
		{200, "II", "0.65", Plan{"F", 20, 0, false}},         // G, arrow up
		{2_000_000, "III", "2.5", Plan{"N", 500, 21, false}}, // R, arrows up to N
		{5, "II", "0.65", Plan{"F", 5, 0, true}},
	} {
		got, err := PlanFor(c.lot, c.level, c.aql)
		if err != nil || got != c.want {
			t.Errorf("%d, level %s, AQL %s: %+v %v, want %+v", c.lot, c.level, c.aql, got, err, c.want)
		}
	}
	for _, c := range []struct {
		lot        int
		level, aql string
	}{{1, "II", "1.0"}, {100, "IV", "1.0"}, {100, "II", "3"}} {
		if p, err := PlanFor(c.lot, c.level, c.aql); err == nil {
			t.Errorf("%+v: %+v", c, p)
		}
	}
}

// At the quality limit a lot is accepted with a probability of .874 to .994 in
// every cell of the table, which one wrong figure would break.
func TestPlansAcceptAtTheirLimit(t *testing.T) {
	if len(accepts) != len(sizes)*len(AQLs) || len(LotCodes()) != 16 || len(Table()) != 17 {
		t.Fatalf("%d cells", len(accepts))
	}
	plans := 0
	for i, cell := range accepts {
		if cell == "v" || cell == "^" {
			continue
		}
		plans++
		limit := map[string]float64{"0.65": .0065, "1.0": .01, "1.5": .015, "2.5": .025, "4.0": .04, "6.5": .065}[AQLs[i%len(AQLs)]]
		var most int
		for _, c := range cell {
			most = 10*most + int(c-'0')
		}
		p := distuv.Binomial{N: float64(sizes[i/len(AQLs)]), P: limit}.CDF(float64(most))
		if p < .873 || p > .9945 {
			t.Errorf("%s %s: Ac %s accepts %.3f", letterOrder[i/len(AQLs):][:1], AQLs[i%len(AQLs)], cell, p)
		}
	}
	if plans < 50 {
		t.Errorf("%d plans", plans)
	}
	for l, row := range codes {
		if len(row) != len(lotEnds)+1 {
			t.Errorf("level %s has %d rows", l, len(row))
		}
	}
}

// Clusters that are all alike inside count as one observation each.
func TestDesignEffect(t *testing.T) {
	if d := DesignEffect([]int{10, 0, 10, 0}, []int{10, 10, 10, 10}); math.Abs(d-10*4./3) > 1e-9 {
		t.Errorf("%v", d)
	}
	if d := DesignEffect([]int{1, 1, 1, 1}, []int{10, 10, 10, 10}); d != 1 {
		t.Errorf("%v", d)
	}
}
