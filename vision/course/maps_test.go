package course

import (
	"testing"

	"coursegauge/vision/net"
)

// Each cell of the network's output holds four of a map's, row by row
// (pixel_shuffle of the training recipe); of a strip only its own part is kept.
func TestUnpackPutsFourCellsSideBySide(t *testing.T) {
	const h, w = 2, 6 // cells of the output that the whole view would have
	number := func(c, q, i, j int) float32 { return float32(((c*4+q)*h+i)*w + j + 1) }
	m := &Maps{H: 2 * h, W: 2 * w}
	for c := range nChannels {
		m.ch[c] = make([]float32, m.H*m.W)
	}
	px := 2 * Cell // view pixels of such a cell
	for _, s := range []strip{{0, 4 * px, 0, 3 * px}, {2 * px, 6 * px, 3 * px, 6 * px}} {
		out := net.Tensor{C: 4 * nChannels, H: h, W: (s.to - s.from) / px}
		for c := range nChannels {
			for q := range 4 {
				for i := range h {
					for j := s.from / px; j < s.to/px; j++ {
						out.Data = append(out.Data, number(c, q, i, j))
					}
				}
			}
		}
		m.unpack(out, s)
	}
	for c := range nChannels {
		for i := range m.H {
			for j := range m.W {
				if got, want := m.ch[c][i*m.W+j], number(c, 2*(i%2)+j%2, i/2, j/2); got != want {
					t.Fatalf("map %d, row %d, column %d: %v, want %v", c, i, j, got, want)
				}
			}
		}
	}
}

// The strips cover every column once, and none is wider than it must be.
func TestStripsCoverTheView(t *testing.T) {
	for width := block; width < 6000; width += block {
		at := 0
		for _, s := range strips(width) {
			if s.keepFrom != at || s.keepTo <= s.keepFrom || s.from%block != 0 || s.to%block != 0 || s.from < 0 || s.to > width {
				t.Fatalf("width %d: strip %+v after column %d", width, s, at)
			}
			if s.to-s.from > widest+2*overlap {
				t.Errorf("width %d: a strip of %d", width, s.to-s.from)
			}
			at = s.keepTo
		}
		if at != width {
			t.Fatalf("width %d: covered to %d", width, at)
		}
	}
}
