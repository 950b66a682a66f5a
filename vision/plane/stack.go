package plane

import (
	"math"

	"coursegauge/vision/length"
)

// Stack is the height of a course's surface over the deck. Shingles lie on
// those below: the height is that of the plies that lie at a place, each end of
// a ply below bridged over some length. How thick a ply is, where the second
// ply ends, over which length an end is bridged and how far the sheet hangs
// through are unknowns of the adjustment (see SurfacePrior).
type Stack struct {
	Ply, Height, Exposure float64 // mm, nominal
	Plies                 float64 // at the weather side: 2 laminated, 1 three-tab
	Thick                 float64 // factor on Ply, about 1
	Step                  float64 // mm over the exposure where the second ply of a laminated piece ends
	Bridge                float64 // mm over which a sheet comes down from an end of a ply below it
	Sag                   float64 // mm by which a course hangs through half way between its butt and its top edge
}

// SurfacePrior is what is known of a stack before the photo: standard
// uncertainties of its four unknowns. None has a published source.
type SurfacePrior struct {
	Thick  float64 // relative: a ply is 30 % thinner to 50 % thicker than its product says, or than is usual where nothing is said (common practice, no source)
	Step   float64 // mm: overlaps of 20 to 60 mm are met, as if spread evenly (common practice, no source)
	Bridge float64 // mm: a stiff, cold sheet bridges further than a warm one (common practice, no source)
	Sag    float64 // mm (common practice, no source)
}

// Nominal values of what no product tells (common practice, no source).
const (
	usualStep   = 38.0 // mm
	usualBridge = 45.0 // mm
	leastBridge = 1.0  // mm: a sheet does not bend at a right angle
)

// DefaultSurface is a stack of which only the product's nominal lengths are known.
func DefaultSurface() SurfacePrior { return SurfacePrior{Thick: .25, Step: 11, Bridge: 15, Sag: .5} }

// NewStack takes the product's nominal lengths; laminated pieces have two
// plies on the weather side.
func NewStack(laminated bool, ply, height, exposure length.MM) Stack {
	s := Stack{Ply: float64(ply), Height: float64(height), Exposure: float64(exposure), Plies: 1, Thick: 1, Step: usualStep, Bridge: usualBridge}
	if laminated {
		s.Plies = 2
	}
	return s
}

// At is the height of the surface y mm above the course's own butt, at its
// upper side.
func (s *Stack) At(y float64) float64 {
	if s.Ply == 0 || s.Exposure <= 0 {
		return 0 // no product yet
	}
	y = max(y, 0)
	second := s.Plies == 2
	plies := 1.0
	if second {
		plies += 1 - s.beyond(y)
	}
	for u := y + s.Exposure; u < s.Height+max(s.Bridge, leastBridge); u += s.Exposure { // above the butt of the next piece below
		plies += s.left(u - s.Height)
		if second {
			plies += s.left(u - s.Exposure - s.Step)
		}
	}
	a := min(y/s.Height, 1)
	return s.Thick*s.Ply*plies - 4*s.Sag*a*(1-a)
}

// left is the share of a ply's thickness that still carries the sheet over it,
// past mm beyond the ply's end.
func (s *Stack) left(past float64) float64 {
	return 1 - min(max(past/max(s.Bridge, leastBridge), 0), 1)
}

// stepHalf is half the range in which a piece's own second ply may end, mm: an
// even spread of the prior's standard uncertainty.
const stepHalf = 11 * 1.7320508

// beyond is the probability that the piece's own second ply has ended y mm
// above its butt. The end is abrupt and its place is not told by the photo, so
// it stays where it is usual, and At gives the mean height.
func (s *Stack) beyond(y float64) float64 {
	return min(max((y-s.Exposure-usualStep+stepHalf)/(2*stepHalf), 0), 1)
}

// unevenU is the standard uncertainty of a place's height against that of its
// surroundings, mm: decks are wavy by about a millimetre, and sheets are lifted
// by granules and by what lies under them (common practice, no source).
const unevenU = .5

// LocalU is the standard uncertainty of At at one place, mm, beyond that of the
// unknowns that all places share: unevenness, and on which side of the end of
// the piece's own second ply the place lies.
func (s *Stack) LocalU(y float64) float64 {
	if s.Plies != 2 {
		return unevenU
	}
	p := s.beyond(y)
	return math.Hypot(unevenU, s.Thick*s.Ply*math.Sqrt(p*(1-p)))
}
