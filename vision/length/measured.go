// Package length holds measured lengths: a value, its standard uncertainty
// and its unit, together with how it depends on the inputs that several
// lengths of one photo share.
//
// Unit: millimetres inside, inches and fractions at the edges. Uncertainties
// are standard uncertainties (k = 1) unless a name says U95.
package length

import "math"

// MM is a length in millimetres.
type MM float64

// Inch is exactly 25.4 mm.
const Inch MM = 25.4

// K95 is the coverage factor of a 95 % interval of a normal distribution
// (JCGM 100:2008, table G.1).
const K95 = 1.959963984540054

// Measured is a length with its standard uncertainty.
//
// The uncertainty has two parts. `own` belongs to this length alone, by source
// (where its two ends were located, how far its head stands out).
// `shared[i]` is the signed effect, in mm, of one standard deviation of the
// i-th shared input of the photo (corners of the card, lens, height of the
// stack ...); the inputs are independent of each other by construction. Two
// lengths of one photo list the same inputs in the same order, so their
// correlation is kept and a difference comes out right (JCGM 100:2008, 5.2 and
// F.1.2.3).
//
// The zero value is an exact length of 0 mm. Lengths of different photos must
// not be subtracted with Sub.
type Measured struct {
	value  MM
	own    [sources]float64
	shared []float64
}

// New returns a length with the standard uncertainty of where it was located
// and no shared input.
func New(value, u MM) Measured { return Measured{value: value}.Widen(Localisation, u) }

// WithShared returns m with the given effects of the shared inputs, in mm for
// one standard deviation of each. The slice is kept, not copied.
func (m Measured) WithShared(effects []float64) Measured {
	m.shared = effects
	return m
}

// Value is the best estimate.
func (m Measured) Value() MM { return m.value }

// Own is the standard uncertainty that no other length shares.
func (m Measured) Own() MM {
	s := 0.0
	for _, u := range m.own {
		s += u * u
	}
	return MM(math.Sqrt(s))
}

// Shared lists the effects of the shared inputs in mm; it must not be changed.
func (m Measured) Shared() []float64 { return m.shared }

// U is the combined standard uncertainty: the root of the sum of squares of
// all parts (JCGM 100:2008, equation 10).
func (m Measured) U() MM {
	s := 0.0
	for _, u := range m.own {
		s += u * u
	}
	for _, e := range m.shared {
		s += e * e
	}
	return MM(math.Sqrt(s))
}

// U95 is the half width of the 95 % interval.
func (m Measured) U95() MM { return K95 * m.U() }

// Sub is m - n with the correlation that comes from shared inputs.
func (m Measured) Sub(n Measured) Measured { return combine(m, n, -1) }

// Add is m + n with the correlation that comes from shared inputs.
func (m Measured) Add(n Measured) Measured { return combine(m, n, 1) }

// Neg is -m.
func (m Measured) Neg() Measured { return combine(Measured{}, m, -1) }

// Abs is the length without its sign; the uncertainty is that of m.
func (m Measured) Abs() Measured {
	if m.value < 0 {
		return m.Neg()
	}
	return m
}

// Plus is m moved by an exact length.
func (m Measured) Plus(d MM) Measured {
	m.value += d
	return m
}

// Widen adds a further independent standard uncertainty to m's own.
func (m Measured) Widen(from Source, u MM) Measured {
	m.own[from] = math.Hypot(m.own[from], float64(u))
	return m
}

func combine(m, n Measured, sign float64) Measured {
	out := Measured{value: m.value + MM(sign)*n.value}
	for i := range out.own {
		out.own[i] = math.Hypot(m.own[i], n.own[i])
	}
	k := max(len(m.shared), len(n.shared))
	if k == 0 {
		return out
	}
	out.shared = make([]float64, k)
	copy(out.shared, m.shared)
	for i, e := range n.shared {
		out.shared[i] += sign * e
	}
	return out
}
