package course

import (
	"testing"

	"coursegauge/vision/net"
)

// Each cell of the network's output holds four of a map's, row by row
// (pixel_shuffle of the training recipe).
func TestUnpackedPutsFourCellsSideBySide(t *testing.T) {
	out := net.Tensor{C: 8, H: 2, W: 3}
	for i := range out.C * out.H * out.W {
		out.Data = append(out.Data, float32(i))
	}
	m := unpacked(out, 1)
	for i := range 2 * out.H {
		for j := range 2 * out.W {
			want := out.At(4+2*(i%2)+j%2, i/2, j/2)
			if got := m[i*2*out.W+j]; got != want {
				t.Errorf("row %d, column %d: %v, want %v", i, j, got, want)
			}
		}
	}
}
