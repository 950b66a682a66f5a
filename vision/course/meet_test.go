package course

import (
	"math"
	"testing"
)

// The patch comes out with mean 0 and spread 1 over its three colours, and what
// the photo does not show is told as a share.
func TestMeetInput(t *testing.T) {
	const n = meetW * meetH
	b := make([]byte, 3*n)
	for i := range b {
		b[i] = byte(40 + i*7%170)
	}
	in, seen := meetInput(b)
	var sum, sq float64
	for _, v := range in[:3*n] {
		sum, sq = sum+float64(v), sq+float64(v)*float64(v)
	}
	if m, s := sum/(3*n), math.Sqrt(sq/(3*n)); math.Abs(m) > 1e-3 || math.Abs(s-1) > .1 || seen != 1 {
		t.Errorf("mean %.4f, spread %.3f, seen %.2f", m, s, seen)
	}
	clear(b[:3*n/4])
	if _, seen := meetInput(b); math.Abs(seen-.75) > .01 {
		t.Errorf("a quarter is out of the photo: seen %.3f", seen)
	}
}

// With joins two stretches of one line, the lower first.
func TestEdgeWith(t *testing.T) {
	a := Edge{Pts: [][2]float64{{0, 0}, {0, 1}}, U: .2, Close: true}
	var none Edge
	if e := none.With(a); len(e.Pts) != 2 || e.U != a.U || !e.Close {
		t.Errorf("first stretch: %+v", e)
	}
	if e := a.With(Edge{Pts: [][2]float64{{0, 2}, {0, 3}}, U: .6, Close: true}); len(e.Pts) != 4 || math.Abs(e.U-.4) > 1e-12 {
		t.Errorf("two stretches: %+v", e)
	}
}
