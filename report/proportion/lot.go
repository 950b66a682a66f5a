// Package proportion says how many of a lot to look at, and what a sample without
// a bad one shows: finite lots and the plans by attributes. What a count shows of
// a share is stats'.
package proportion

import "math"

// noneOf is the probability that a random sample of n out of N, drawn without
// putting back, holds none of the bad ones: the hypergeometric distribution at 0.
func noneOf(n, N, bad int) float64 {
	if n > N-bad {
		return 0
	}
	p := 0.0
	for i := range n {
		p += math.Log1p(-float64(bad) / float64(N-i))
	}
	return math.Exp(p)
}

// SampleFor is the smallest random sample out of N that holds at least one bad
// one with the given confidence, if the share rate of all, rounded up, is bad.
// So when none is seen, fewer than that share are bad, with that confidence.
// bad is how many that share is.
func SampleFor(N int, rate, confidence float64) (n, bad int) {
	bad = int(math.Ceil(float64(N)*rate - 1e-9)) // 100 x .07 is 7, whatever binary fractions make of it
	bad = min(max(bad, 1), N)
	least, most := 0, N-bad+1 // one more than there are good ones always holds a bad one
	for least < most {
		if mid := (least + most) / 2; noneOf(mid, N, bad) <= 1-confidence+1e-12 { // 95 of 100 with one bad is .05 exactly
			most = mid
		} else {
			least = mid + 1
		}
	}
	return least, bad
}
