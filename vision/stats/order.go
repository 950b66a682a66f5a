package stats

import (
	"math"
	"slices"
)

// Quantile is the smallest of the values that a share p, over 0, of them does not
// exceed (the nearest rank); NaN of none. The values stay in their order.
func Quantile(values []float64, p float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(values))
	rank := int(math.Ceil(float64(len(sorted))*p - 1e-9)) // .95 of 20 is 19, whatever binary fractions make of it
	return sorted[min(max(rank, 1), len(sorted))-1]
}

// Median is the middle one of the values, the upper one of two; NaN of none. The
// values stay in their order.
func Median(values []float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	return slices.Sorted(slices.Values(values))[len(values)/2]
}
