package net

import "math"

// Patch makes a small view of h x w pixels (BGR, row by row) the input of a
// network: three planes of mean 0 and spread 1 over all of them, then a constant
// plane for each further number.
func Patch(bgr []byte, further ...float64) []float32 {
	n := len(bgr) / 3
	in := make([]float32, (3+len(further))*n)
	sum, sq := 0, 0
	for _, c := range bgr {
		v := int(c)
		sum, sq = sum+v, sq+v*v
	}
	mean := float64(sum) / float64(3*n)
	k := 1 / (math.Sqrt(max(float64(sq)/float64(3*n)-mean*mean, 0)) + flat)
	var tones [256]float32
	for v := range tones {
		tones[v] = float32((float64(v) - mean) * k)
	}
	blue, green, red := in[:n], in[n:2*n], in[2*n:3*n]
	for i := range n {
		p := bgr[3*i : 3*i+3]
		blue[i], green[i], red[i] = tones[p[0]], tones[p[1]], tones[p[2]]
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
