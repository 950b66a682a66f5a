package proportion

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func near(a, b float64) bool { return math.Abs(a-b) <= 5.1e-5 }

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
			if noneOf(n, N, bad) > .05+1e-9 || noneOf(n-1, N, bad) <= .05 {
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
	if p := noneOf(2, 5, 2); !near(p, .3) { // 3/5 of 2/4
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
