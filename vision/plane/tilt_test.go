package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"coursegauge/vision/length"
)

// What a head's height above the butt is told to, by the angle of view: the
// part that the adjustment leaves, the surface under the head seen at the angle,
// and the pixels, of which a millimetre up the slope has fewer at a flat angle.
// At 52 degrees, where photos are refused, it must still be a quarter of what
// the band asks for (JCGM 106:2012, 7.6.3: measurement capability index T/(4u)
// of 4), and about two or three times that square on.
func TestUncertaintyGrowsWithTheAngle(t *testing.T) {
	const (
		rise   = .35 // mm, how far a head stands out
		pixels = .35 // mm, head and butt located square on, at 2.5 px a millimetre
		draws  = 10
	)
	for _, c := range []struct {
		name     string
		product  Stack
		band     float64 // mm: of the rendered products the narrowest of the family
		y        float64 // its middle above the butt
		capacity float64
	}{
		{"laminated", laminated(), 28, 164, 4},
		{"three-tab", NewStack(false, 2.5, 337, 143), 20, 162, 4},
	} {
		u := map[float64]float64{}
		for _, degrees := range []float64{0, 20, 35, 52} {
			r := rand.New(rand.NewPCG(81, 1))
			a := degrees * math.Pi / 180
			for range draws {
				o := drawRoofOn(r, a, 0, lineU, func(_ length.Source, s float64) float64 { return s * r.NormFloat64() }, c.product, nil)
				q, _ := o.aboveButt(1, 450, c.y)
				across := math.Hypot(c.product.LocalU(c.y), rise) * math.Tan(a)
				own := pixels / math.Cos(a)
				u[degrees] += math.Sqrt(sumOf(o.problem.Solve().Effects(q))+across*across+own*own) / draws
			}
			t.Logf("%s, %g degrees: %.2f mm, capability index %.1f", c.name, degrees, u[degrees], c.band/(4*u[degrees]))
		}
		if i := c.band / (4 * u[52]); i < c.capacity {
			t.Errorf("%s: at 52 degrees the capability index is %.1f, want %g at least", c.name, i, c.capacity)
		}
		if k := u[52] / u[0]; k < 1.5 || k > 4 {
			t.Errorf("%s: at 52 degrees the uncertainty is %.1f times that square on, want two to three", c.name, k)
		}
	}
}
