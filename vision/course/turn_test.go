package course

import (
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"
)

// stripes draws butts: dark lines 60 px apart along a direction, over noise.
func stripes(t *testing.T, degrees float64, r *rand.Rand) gocv.Mat {
	t.Helper()
	m := gocv.NewMatWithSize(turnSize, turnSize, gocv.MatTypeCV8UC3)
	b, err := m.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	s, c := math.Sincos(degrees * math.Pi / 180)
	for i := range turnSize * turnSize {
		x, y := float64(i%turnSize), float64(i/turnSize)
		v := 110 + 25*r.NormFloat64()
		if across := math.Mod(-x*s+y*c+6000, 60); across < 3 {
			v -= 50
		}
		for k := range 3 {
			b[3*i+k] = byte(min(max(v, 1), 255))
		}
	}
	return m
}

func TestTurnsFindsTheDirection(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	nothing := func(int, int) bool { return false }
	for _, want := range []float64{0, 3.5, 17, 44, 61.25, 88, 93, 150.5} {
		m := stripes(t, want, r)
		got, err := Turns(m, nothing, 1)
		m.Close()
		if err != nil {
			t.Fatal(err)
		}
		d := math.Abs(got[0] - want)
		if d = min(d, 180-d); d > .5 {
			t.Errorf("direction %.2f degrees, drawn at %.2f", got[0], want)
		}
	}
}

func TestTurnsRefusesAnotherSize(t *testing.T) {
	m := gocv.NewMatWithSize(100, 100, gocv.MatTypeCV8UC3)
	defer m.Close()
	if _, err := Turns(m, func(int, int) bool { return false }, 1); err == nil {
		t.Error("a view of 100 px was taken; must be refused")
	}
}
