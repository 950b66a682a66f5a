package card

import "math"

// project takes a point of the card (mm) through h to the picture (px).
func project(h [9]float64, p [2]float64) [2]float64 {
	w := h[6]*p[0] + h[7]*p[1] + h[8]
	return [2]float64{(h[0]*p[0] + h[1]*p[1] + h[2]) / w, (h[3]*p[0] + h[4]*p[1] + h[5]) / w}
}

// slope is the derivative of project at p: px per mm, rows x and y.
func slope(h [9]float64, p [2]float64) [2][2]float64 {
	w := h[6]*p[0] + h[7]*p[1] + h[8]
	q := project(h, p)
	return [2][2]float64{
		{(h[0] - q[0]*h[6]) / w, (h[1] - q[0]*h[7]) / w},
		{(h[3] - q[1]*h[6]) / w, (h[4] - q[1]*h[7]) / w},
	}
}

// sides gives the lengths in pixels of the two sides of a square at p.
func sides(h [9]float64, p [2]float64, squareMM float64) (across, down float64) {
	j := slope(h, p)
	return squareMM * math.Hypot(j[0][0], j[1][0]), squareMM * math.Hypot(j[0][1], j[1][1])
}

// sensible tells whether h shows the whole board from its printed side, with no
// part of it behind the camera.
func sensible(h [9]float64, b Board) bool {
	sign := 0.0
	for _, p := range b.outline() {
		w := h[6]*p[0] + h[7]*p[1] + h[8]
		j := slope(h, p)
		det := j[0][0]*j[1][1] - j[0][1]*j[1][0]
		if w == 0 || math.IsNaN(w) || !(det > 0) || sign*w < 0 {
			return false
		}
		sign = w
	}
	return true
}

func distance(a, b [2]float64) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
