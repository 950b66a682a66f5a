package course

import "sort"

// Spot is where the network thinks that a head may be.
type Spot struct {
	X, Y  float64 // roof frame of the view, mm
	U, V  float64 // picture, px
	Logit float64
}

// Spots are the maxima of the head map over the given logit, the likeliest
// first, at most n.
func (m *Maps) Spots(floor float64, n int) []Spot {
	var out []Spot
	z := m.ch[cHead]
	for i := range m.H {
		for j := range m.W {
			k := i*m.W + j
			if !m.seen[k] || float64(z[k]) < floor || !m.highest(z, i, j) {
				continue
			}
			col, row := float64(j*Cell)+cellMid+float64(m.ch[cHeadX][k]), float64(i*Cell)+cellMid+float64(m.ch[cHeadY][k])
			s := Spot{Logit: float64(z[k])}
			s.X, s.Y = m.View.ToRoof(col, row)
			s.U, s.V = m.View.ToPicture(col, row)
			out = append(out, s)
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].Logit > out[b].Logit })
	return out[:min(n, len(out))]
}

func (m *Maps) highest(z []float32, i, j int) bool {
	v := z[i*m.W+j]
	for a := max(i-1, 0); a <= min(i+1, m.H-1); a++ {
		for b := max(j-1, 0); b <= min(j+1, m.W-1); b++ {
			if z[a*m.W+b] > v {
				return false
			}
		}
	}
	return true
}
