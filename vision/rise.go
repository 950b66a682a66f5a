package vision

import "math"

// standsOut is how far a head's middle stands out of the surface by how it was
// driven, mm: mean and standard uncertainty (common practice, no source; an
// underdriven head stands 2.5 to 7 mm out, a flush one about its own thickness).
var standsOut = map[DriveClass]struct{ mean, u float64 }{
	Flush: {.3, .2}, Overdriven: {-.6, .5}, Underdriven: {4.75, 1.3}, Cocked: {1.8, .9},
}

// riseU is the standard uncertainty of a head's rise, which was found to be
// rise with the uncertainty u: the spread of the mixture of the classes. The
// likeliest adds u or, where less is left open by how it was driven, its own
// spread; each other class adds as much as it is probable. A head that is underdriven with a probability of .03 stands .15 mm
// higher on average, and .8 mm more uncertain, than one that is surely flush.
func riseU(d Drive, rise, u float64) float64 {
	likeliest := Flush
	for c, p := range d.P {
		if p > d.P[likeliest] || p == d.P[likeliest] && c < likeliest {
			likeliest = c
		}
	}
	u = min(u, standsOut[likeliest].u)
	v := u * u
	for c, p := range d.P {
		if s := standsOut[c]; c != likeliest {
			v += p * ((s.mean-rise)*(s.mean-rise) + s.u*s.u)
		}
	}
	return math.Sqrt(v)
}
