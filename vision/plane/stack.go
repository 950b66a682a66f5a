package plane

import "coursegauge/vision/length"

// Stack is the height of a course's surface over the deck. Shingles lie on
// those below, so a course falls from its butt to its top edge; how far is an
// uncertain input (Rise), not a constant.
type Stack struct {
	Ply, Height, Exposure float64 // mm
	Plies                 float64 // at the weather side: 2 laminated, 1 three-tab
	Rise                  float64 // factor on the nominal rise, about 1
}

// NewStack takes the product's nominal lengths; laminated pieces have two
// plies on the weather side.
func NewStack(laminated bool, ply, height, exposure length.MM) Stack {
	s := Stack{Ply: float64(ply), Height: float64(height), Exposure: float64(exposure), Plies: 1, Rise: 1}
	if laminated {
		s.Plies = 2
	}
	return s
}

// teeth is how far over the exposure the second ply of a laminated piece runs,
// mm (common practice, no source).
const teeth = 38

// At is the height of the surface y mm above the course's own butt, at its
// upper side.
func (s *Stack) At(y float64) float64 {
	lie := s.Height - s.Exposure
	base := s.Rise * s.Plies * s.Ply * lie / s.Exposure * (1 - min(max(y/lie, 0), 1))
	z := base + s.Ply
	if s.Plies == 2 && y < s.Exposure+teeth {
		z += s.Ply
	}
	return z
}
