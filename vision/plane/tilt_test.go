package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// What a head's height above the butt is told to, by the angle of view: the
// part that the adjustment leaves, the unevenness of the surface under the head
// seen at the angle, and the pixels, of which a millimetre up the slope has
// fewer at a flat angle. At 52 degrees, where photos are refused, it must still
// be a quarter of what the band of 20 mm asks for (JCGM 106:2012, 7.6.3:
// measurement capability index T/(4u) of 4), and about twice that square on.
func TestUncertaintyGrowsWithTheAngle(t *testing.T) {
	const (
		band    = 20.0 // mm: the narrower one of the two rendered products
		surface = .25  // mm, uneven surface
		rise    = .35  // mm, how far a head stands out
		pixels  = .35  // mm, head and butt located square on, at 2.5 px a millimetre
		draws   = 10
	)
	u := map[float64]float64{}
	for _, degrees := range []float64{0, 20, 35, 52} {
		r := rand.New(rand.NewPCG(81, 1))
		a := degrees * math.Pi / 180
		for range draws {
			o := drawRoofAt(r, a, 0, lineU, func(_ length.Source, s float64) float64 { return s * r.NormFloat64() })
			q, _ := o.aboveButt(1, 450, 165)
			across := math.Hypot(surface, rise) * math.Tan(a)
			own := pixels / math.Cos(a)
			u[degrees] += math.Sqrt(sumOf(o.problem.Solve().Effects(q))+across*across+own*own) / draws
		}
		t.Logf("%g degrees: %.2f mm, capability index %.1f", degrees, u[degrees], band/(4*u[degrees]))
	}
	if c := band / (4 * u[52]); c < 4 {
		t.Errorf("at 52 degrees the capability index is %.1f, want 4 at least", c)
	}
	if k := u[52] / u[0]; k < 1.5 || k > 3 {
		t.Errorf("at 52 degrees the uncertainty is %.1f times that square on, want about twice", k)
	}
}
