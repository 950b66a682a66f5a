package net

import "math"

// Patch makes a small view of h x w pixels (BGR, row by row) the input of a
// network: three planes of mean 0 and spread 1 over all of them, then a constant
// plane for each further number.
func Patch(bgr []byte, further ...float64) []float32 {
	n := len(bgr) / 3
	in := make([]float32, (3+len(further))*n)
	var sum, sq float64
	for _, c := range bgr {
		v := float64(c)
		sum, sq = sum+v, sq+v*v
	}
	mean := sum / float64(3*n)
	k := 1 / (math.Sqrt(max(sq/float64(3*n)-mean*mean, 0)) + flat)
	for i := range n {
		for c := range 3 {
			in[c*n+i] = float32((float64(bgr[3*i+c]) - mean) * k)
		}
	}
	for j, v := range further {
		plane := in[(3+j)*n : (4+j)*n]
		for i := range plane {
			plane[i] = float32(v)
		}
	}
	return in
}

// flat keeps the noise of a patch without any contrast from being blown up, grey levels.
const flat = 4
