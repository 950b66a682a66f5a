package course

import (
	"fmt"
	"math"
	"sort"

	"gocv.io/x/gocv"
)

// turnSize is the side of the square view whose spectrum is taken, px.
const turnSize = 512

// Turns finds the directions of the courses in a square view of turnSize
// pixels, the likeliest first (at most n; degrees in [0, 180)). One that is a
// quarter turn off can't be ruled out. Butts, joints and edges of the lap are long and straight, so the
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
	power, err := spectrum(logGray(b, view.Channels(), skip))
	if err != nil {
		return nil, fmt.Errorf("spectrum of the view: %w", err)
	}
	whiten(power)
	along, square := cross(power)
	return peaks(along, square, n), nil
}

// logGray is the logarithm of the brightness, mean taken out, faded at the borders.
func logGray(b []byte, channels int, skip func(col, row int) bool) []float32 {
	tones := make([]float64, 255*channels+1)
	for s := range tones {
		tones[s] = math.Log(float64(s)/float64(channels)/255 + .04)
	}
	z := make([]float64, turnSize*turnSize)
	use := make([]bool, len(z))
	sum, count := 0.0, 0.0
	for i := range z {
		s := 0
		for _, v := range b[i*channels : (i+1)*channels] {
			s += int(v)
		}
		if s == 0 || skip(i%turnSize, i/turnSize) {
			continue
		}
		z[i], use[i] = tones[s], true
		sum += z[i]
		count++
	}
	var fade [turnSize]float64
	for i := range fade {
		fade[i] = .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/turnSize)
	}
	out := make([]float32, len(z))
	mean := sum / max(count, 1)
	for i, v := range z {
		if use[i] {
			out[i] = float32((v - mean) * fade[i%turnSize] * fade[i/turnSize])
		}
	}
	return out
}

// spectrum is the power of the two-dimensional Fourier transform, as far out as
// it is looked at.
func spectrum(z []float32) ([]float64, error) {
	m := gocv.NewMatWithSize(turnSize, turnSize, gocv.MatTypeCV32F)
	defer m.Close()
	in, err := m.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	copy(in, z)
	f := gocv.NewMat()
	defer f.Close()
	if err := gocv.DFT(m, &f, gocv.DftComplexOutput); err != nil {
		return nil, err
	}
	out, err := f.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	power := make([]float64, len(z))
	eachSeen(func(i, _ int) {
		re, im := float64(out[2*i]), float64(out[2*i+1])
		power[i] = re*re + im*im
	})
	return power, nil
}

// The rings of the spectrum that tell the direction, cycles a view, and as far as
// it is looked at.
const (
	firstRing = 5
	lastRing  = 150
	seen      = lastRing + 2
)

// eachSeen goes over what is looked at of the spectrum, with the ring it lies in.
func eachSeen(do func(i, ring int)) {
	for y := -seen; y <= seen; y++ {
		row := (y + turnSize) % turnSize * turnSize
		for x := -seen; x <= seen; x++ {
			do(row+(x+turnSize)%turnSize, rings[(y+seen)*(2*seen+1)+x+seen])
		}
	}
}

// rings are the distances from the middle of the spectrum, row by row.
var rings = func() (out [(2*seen + 1) * (2*seen + 1)]int) {
	for i := range out {
		x, y := i%(2*seen+1)-seen, i/(2*seen+1)-seen
		out[i] = int(math.Sqrt(float64(x*x+y*y)) + .5)
	}
	return out
}()

// whiten divides each ring of the spectrum by its mean.
func whiten(p []float64) {
	var sum, n [2 * seen]float64
	eachSeen(func(i, ring int) {
		sum[ring] += p[i]
		n[ring]++
	})
	for k := range sum {
		sum[k] = 1 / (sum[k]/max(n[k], 1) + 1e-12)
	}
	eachSeen(func(i, ring int) { p[i] *= sum[ring] })
}

// turnStep is the resolution of the search for the direction, degrees.
const turnStep = .25

// cross sums the spectrum along both arms of a cross, for each direction in
// [0, 90): the arm of lines along it, and that of lines square to it.
func cross(p []float64) (along, square []float64) {
	at := func(x, y float64) float64 {
		x, y = x+turnSize, y+turnSize
		i, j := int(x), int(y)
		fx, fy := x-float64(i), y-float64(j)
		i, j, i1, j1 := i%turnSize, j%turnSize, (i+1)%turnSize, (j+1)%turnSize
		return (p[j*turnSize+i]*(1-fx)+p[j*turnSize+i1]*fx)*(1-fy) + (p[j1*turnSize+i]*(1-fx)+p[j1*turnSize+i1]*fx)*fy
	}
	along, square = make([]float64, int(90/turnStep)), make([]float64, int(90/turnStep))
	for k := range along {
		s, c := math.Sincos(float64(k) * turnStep * math.Pi / 180)
		for r := float64(firstRing); r < lastRing; r++ {
			along[k] += math.Min(at(-r*s, r*c), 60)
			square[k] += math.Min(at(r*c, r*s), 60)
		}
	}
	return along, square
}

// peaks are the directions of the n highest sums of both arms, at least 4 degrees
// apart. One strong arm is enough (rows of butts), a second one helps (joints,
// teeth); butts are longer than joints, so the courses run with the stronger.
func peaks(along, square []float64, n int) []float64 {
	order := make([]int, len(along))
	for i := range order {
		order[i] = i
	}
	sum := func(k int) float64 { return along[k] + square[k] }
	sort.Slice(order, func(a, b int) bool { return sum(order[a]) > sum(order[b]) })
	var out []float64
	for _, k := range order {
		d := float64(k) * turnStep
		far := true
		for _, e := range out {
			a := math.Abs(d - math.Mod(e, 90))
			far = far && math.Min(a, 90-a) > 4
		}
		if !far {
			continue
		}
		if square[k] > along[k] {
			d += 90
		}
		out = append(out, d)
		if len(out) == n {
			break
		}
	}
	return out
}
