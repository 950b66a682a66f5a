package net

import "math"

// Tones tells what number a byte of a picture is to a network: less Mean, over
// Spread. With Blank a pixel of which all three bytes are 0 shows nothing and
// counts as 0.
type Tones struct {
	Mean, Spread float64
	Blank        bool
}

// TonesOf takes the bytes of a patch to mean 0 and spread 1.
func TonesOf(bgr []byte) Tones {
	sum, sq := 0, 0
	for _, c := range bgr {
		v := int(c)
		sum, sq = sum+v, sq+v*v
	}
	n := max(float64(len(bgr)), 1)
	mean := float64(sum) / n
	return Tones{Mean: mean, Spread: math.Sqrt(max(float64(sq)/n-mean*mean, 0)) + flat}
}

// flat keeps the noise of a patch without any contrast from being blown up, grey levels.
const flat = 4
