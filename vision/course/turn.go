package course

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/dsp/fourier"
)

// turnSize is the side of the square view whose spectrum is taken, px.
const turnSize = 512

// Turns finds the directions of the courses in a square view of turnSize
// pixels, modulo a quarter turn, the likeliest first (at most n; degrees in
// [0, 90)). Butts, joints and edges of the lap are long and straight, so the
// power spectrum, each ring divided by its own mean, has a bright cross at
// right angles to them. skip tells which pixels do not belong to the roof.
func Turns(view gocv.Mat, skip func(col, row int) bool, n int) ([]float64, error) {
	if view.Cols() != turnSize || view.Rows() != turnSize {
		return nil, fmt.Errorf("spectrum of the view: is %d x %d px, must be %d square", view.Cols(), view.Rows(), turnSize)
	}
	b, err := view.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("spectrum of the view: %w", err)
	}
	power := spectrum(logGray(b, view.Channels(), skip))
	whiten(power)
	return peaks(cross(power), n), nil
}

// logGray is the logarithm of the brightness, mean taken out, faded at the borders.
func logGray(b []byte, channels int, skip func(col, row int) bool) []complex128 {
	z := make([]complex128, turnSize*turnSize)
	sum, count := 0.0, 0.0
	use := make([]bool, len(z))
	for i := range z {
		s := 0
		for c := range channels {
			s += int(b[i*channels+c])
		}
		if s == 0 || skip(i%turnSize, i/turnSize) {
			continue
		}
		v := math.Log(float64(s)/float64(channels)/255 + .04)
		z[i], use[i] = complex(v, 0), true
		sum += v
		count++
	}
	mean := complex(sum/max(count, 1), 0)
	for i := range z {
		if !use[i] {
			z[i] = 0
			continue
		}
		z[i] = (z[i] - mean) * complex(hann(i%turnSize)*hann(i/turnSize), 0)
	}
	return z
}

func hann(i int) float64 { return .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/turnSize) }

// spectrum is the power of the two-dimensional Fourier transform.
func spectrum(z []complex128) []float64 {
	f := fourier.NewCmplxFFT(turnSize)
	for r := range turnSize {
		f.Coefficients(z[r*turnSize:(r+1)*turnSize], z[r*turnSize:(r+1)*turnSize])
	}
	col := make([]complex128, turnSize)
	power := make([]float64, len(z))
	for c := range turnSize {
		for r := range turnSize {
			col[r] = z[r*turnSize+c]
		}
		f.Coefficients(col, col)
		for r := range turnSize {
			a := cmplx.Abs(col[r])
			power[r*turnSize+c] = a * a
		}
	}
	return power
}

// whiten divides each ring of the spectrum by its mean.
func whiten(p []float64) {
	const rings = turnSize / 2
	var sum, n [rings + 1]float64
	ring := func(i int) int {
		x, y := i%turnSize, i/turnSize
		if x > turnSize/2 {
			x -= turnSize
		}
		if y > turnSize/2 {
			y -= turnSize
		}
		return min(int(math.Hypot(float64(x), float64(y))+.5), rings)
	}
	for i, v := range p {
		k := ring(i)
		sum[k] += v
		n[k]++
	}
	for i := range p {
		k := ring(i)
		p[i] /= sum[k]/n[k] + 1e-12
	}
}

// turnStep is the resolution of the search for the direction, degrees.
const turnStep = .25

// cross sums the spectrum along both arms of a cross, for each direction in [0, 90).
func cross(p []float64) []float64 {
	at := func(x, y float64) float64 {
		x, y = math.Mod(x+turnSize, turnSize), math.Mod(y+turnSize, turnSize)
		i, j := int(x), int(y)
		fx, fy := x-float64(i), y-float64(j)
		i1, j1 := (i+1)%turnSize, (j+1)%turnSize
		return (p[j*turnSize+i]*(1-fx)+p[j*turnSize+i1]*fx)*(1-fy) + (p[j1*turnSize+i]*(1-fx)+p[j1*turnSize+i1]*fx)*fy
	}
	out := make([]float64, int(90/turnStep))
	for k := range out {
		s, c := math.Sincos(float64(k) * turnStep * math.Pi / 180)
		for r := 5.0; r < 150; r++ {
			// one strong arm is enough (rows of butts), a second one helps (joints, teeth)
			out[k] += math.Min(at(r*c, r*s), 60) + math.Min(at(-r*s, r*c), 60)
		}
	}
	return out
}

// peaks are the directions of the n highest maxima at least 4 degrees apart.
func peaks(s []float64, n int) []float64 {
	order := make([]int, len(s))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return s[order[a]] > s[order[b]] })
	var out []float64
	for _, k := range order {
		d := float64(k) * turnStep
		far := true
		for _, e := range out {
			a := math.Abs(d - e)
			far = far && math.Min(a, 90-a) > 4
		}
		if far {
			out = append(out, d)
		}
		if len(out) == n {
			break
		}
	}
	return out
}
