package length

import "math"

// Source is a group of inputs that a length's uncertainty comes from.
type Source int

// The sources of uncertainty, in the order of an uncertainty budget.
const (
	Localisation Source = iota // pixels of the head's and of the edge's own place
	Corners                    // noise of the card's corners
	Lens                       // focal length, distortion, principal point
	Height                     // how the card lies over the shingles, how far the head stands out
	Surface                    // how the shingles lie over the deck: thickness, overlap, drape, waviness
	Bend                       // of the card
	Print                      // printed size of the card
	Product                    // edges of the courses, and how well pieces keep to the product's lengths
	sources
)

// Sources lists every source in the order of a budget.
func Sources() []Source {
	return []Source{Localisation, Corners, Lens, Height, Surface, Bend, Print, Product}
}

var sourceNames = [sources]string{"localisation", "corners", "lens", "height", "surface", "bend", "print", "product"}

// String is the source's name, one lower-case word.
func (s Source) String() string { return sourceNames[s] }

// Budget is the contribution of each source to a length's standard
// uncertainty, in mm (k = 1): the squares add up to its square (JCGM 100:2008,
// equation 10).
type Budget [sources]MM

// U is the combined standard uncertainty.
func (b Budget) U() MM {
	s := 0.0
	for _, u := range b {
		s += float64(u * u)
	}
	return MM(math.Sqrt(s))
}

// Budget splits m's uncertainty by source. inputs tells the source of each
// shared input of the photo, in the order of Shared.
func (m Measured) Budget(inputs []Source) Budget {
	var v [sources]float64
	for s, u := range m.own {
		v[s] = u * u
	}
	for i, e := range m.shared {
		v[inputs[i]] += e * e
	}
	var b Budget
	for s := range v {
		b[s] = MM(math.Sqrt(v[s]))
	}
	return b
}
