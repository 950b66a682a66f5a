package photo

import (
	"testing"

	"gocv.io/x/gocv"
)

// A photo of odd sides is halved without stretching: a reduced pixel shows the
// mean of its own four.
func TestHalvingKeepsPlaces(t *testing.T) {
	const w, h = 301, 203
	m := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
	defer m.Close()
	b, err := m.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	for i := range w * h {
		b[3*i], b[3*i+1] = byte(i%w*255/w), byte(i/w*255/h)
	}
	p, err := Of(m)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	half, err := p.Reduced(2)
	if err != nil {
		t.Fatal(err)
	}
	got, err := half.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	for i := range half.Cols() * half.Rows() {
		x, y := i%half.Cols(), i/half.Cols()
		for c := range 2 {
			at := func(dx, dy int) int { return int(b[3*((2*y+dy)*w+2*x+dx)+c]) }
			want := float64(at(0, 0)+at(1, 0)+at(0, 1)+at(1, 1)) / 4
			if d := float64(got[3*i+c]) - want; d < -.76 || d > .76 {
				t.Fatalf("pixel (%d, %d), colour %d: %d, its four have %.2f", x, y, c, got[3*i+c], want)
			}
		}
	}
}
