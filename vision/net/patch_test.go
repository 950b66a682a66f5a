package net

import (
	"math"
	"testing"
)

func TestPatch(t *testing.T) {
	const n = 64 * 32
	b := make([]byte, 3*n)
	for i := range b {
		b[i] = byte(40 + i*7%170)
	}
	in := Patch(b, .25, -3)
	if len(in) != 5*n {
		t.Fatalf("%d numbers, want %d", len(in), 5*n)
	}
	var sum, sq float64
	for _, v := range in[:3*n] {
		sum, sq = sum+float64(v), sq+float64(v)*float64(v)
	}
	if m, s := sum/(3*n), math.Sqrt(sq/(3*n)); math.Abs(m) > 1e-3 || s > 1 || s < .9 {
		t.Errorf("mean %.4f, spread %.3f", m, s)
	}
	if k := (in[n] - in[0]) / float32(int(b[1])-int(b[0])); math.Abs(float64(in[2*n]-in[0]-k*float32(int(b[2])-int(b[0])))) > 1e-5 {
		t.Error("the planes do not hold one colour each")
	}
	for i := range n {
		if in[3*n+i] != .25 || in[4*n+i] != -3 {
			t.Fatalf("constant planes hold %g and %g at %d", in[3*n+i], in[4*n+i], i)
		}
	}
	for _, v := range Patch(make([]byte, 3*n)) {
		if v != 0 {
			t.Fatalf("a black patch holds %g", v)
		}
	}
}
