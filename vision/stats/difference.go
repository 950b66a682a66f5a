package stats

import "math"

// Difference is k1/n1 - k2/n2 with its 95 % interval, for two groups of
// observations of which none is in both: method 10 of R. G. Newcombe, Stat. Med.
// 17, 1998, 873-890, from the Wilson intervals of the two. Counts may be divided
// by a design effect. Without any observation in a group it is not a number,
// and its interval -1 to 1.
func Difference(k1, n1, k2, n2 float64) (float64, Interval) {
	if n1 <= 0 || n2 <= 0 {
		return math.NaN(), Interval{-1, 1}
	}
	p1, p2, a, b := k1/n1, k2/n2, WilsonOf(k1, n1), WilsonOf(k2, n2)
	d := p1 - p2
	return d, Interval{d - math.Hypot(p1-a.Low, b.High-p2), d + math.Hypot(a.High-p1, p2-b.Low)}
}

// DesignEffect is by how much the variance of a share is larger than that of
// as many independent observations, because those of one cluster resemble each
// other (L. Kish, Survey Sampling, 1965, 5.4 and 8.2): the variance of the ratio
// estimate between clusters over p(1-p)/n, never less than 1. k and n are the
// counts of each cluster.
func DesignEffect(k, n []int) float64 {
	var K, N, clusters float64
	for i := range n {
		K, N = K+float64(k[i]), N+float64(n[i])
		if n[i] > 0 {
			clusters++
		}
	}
	p := K / N
	if clusters < 2 || p == 0 || p == 1 {
		return 1
	}
	s := 0.0
	for i := range n {
		e := float64(k[i]) - p*float64(n[i])
		s += e * e
	}
	return max(1, s*clusters/(clusters-1)/(N*p*(1-p)))
}
