package course

import (
	"math"
	"testing"
)

// What the photo does not show of a patch is told as a share.
func TestShown(t *testing.T) {
	b := make([]byte, 3*400)
	for i := range b {
		b[i] = byte(1 + i%200)
	}
	if s := shown(b); s != 1 {
		t.Errorf("all in the photo: %.3f", s)
	}
	clear(b[:300])
	if s := shown(b); s != .75 {
		t.Errorf("a quarter is out of the photo: %.3f", s)
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
