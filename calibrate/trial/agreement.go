package trial

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat"

	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// Interval is a 95 % confidence interval.
type Interval = stats.Interval

// Agreement is how well two ways to measure the same things agree, after Bland
// and Altman, Lancet 1986, i:307-310, in the unit of the differences.
type Agreement struct {
	N         int
	Effective float64 // how many independent differences the N are worth; see Agree
	Bias, SD  float64 // mean and standard deviation of the differences
	BiasCI    Interval
	// The limits of agreement, Bias ± 1.96 SD: 95 % of differences lie between.
	Lower, Upper     float64
	LowerCI, UpperCI Interval
}

var errFewDifferences = errors.New("fewer than two differences: no spread can be told")

// Agree compares differences that come in groups which err alike, as the heads of
// one photo do; group[i] is the group of differences[i]. The standard error of a
// limit is sqrt(3 SD²/N), as in the paper, and all intervals use Student's t. They
// are those of N / (1 + (m - 1) r) differences, r being the intraclass correlation
// (one-way analysis of variance, not under 0) and m the size of a group, weighted
// by size (the design effect of cluster samples). Alone in its group each
// difference counts as one.
func Agree(differences []float64, group []string) (Agreement, error) {
	return agree(differences, effective(differences, group))
}

func agree(d []float64, n float64) (Agreement, error) {
	if len(d) < 2 {
		return Agreement{}, errFewDifferences
	}
	mean, sd := stat.MeanStdDev(d, nil)
	a := Agreement{N: len(d), Effective: n, Bias: mean, SD: sd}
	t := stats.Student95(n - 1)
	about := func(v, se float64) Interval { return Interval{Low: v - t*se, High: v + t*se} }
	a.Lower, a.Upper = mean-length.K95*sd, mean+length.K95*sd
	a.BiasCI = about(mean, sd/math.Sqrt(n))
	a.LowerCI, a.UpperCI = about(a.Lower, a.limitSE()), about(a.Upper, a.limitSE())
	return a, nil
}

// limitSE is the standard error of a limit of agreement.
func (a Agreement) limitSE() float64 { return a.SD * math.Sqrt(3/a.Effective) }

// effective is the number of independent values that grouped ones are worth.
func effective(v []float64, group []string) float64 {
	n := float64(len(v))
	sum, count := map[string]float64{}, map[string]float64{}
	for i, g := range group {
		sum[g] += v[i]
		count[g]++
	}
	k := float64(len(count))
	if k < 2 || k == n {
		return n
	}
	mean := stat.Mean(v, nil)
	between, within, squares := 0.0, 0.0, 0.0
	for i, g := range group {
		m := sum[g] / count[g]
		between += (m - mean) * (m - mean)
		within += (v[i] - m) * (v[i] - m)
		squares += count[g] // over the members: the sum of the squared sizes
	}
	usual, weighted := (n-squares/n)/(k-1), squares/n
	b, w := between/(k-1), within/(n-k)
	total := b + (usual-1)*w
	if b <= w || total <= 0 {
		return n
	}
	return n / (1 + (weighted-1)*(b-w)/total)
}
