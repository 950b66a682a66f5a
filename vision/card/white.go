package card

import (
	"image"
	"image/color"
	"math"
	"sort"

	"gocv.io/x/gocv"
)

var white = color.RGBA{255, 255, 255, 255}

// Limits of White; lengths in pixels of the shrunk picture unless said.
const (
	whiteSoft     = .7  // standard deviation of the smoothing
	whiteOpen     = 5   // strokes thinner than this are no sheet
	whiteCells    = 40  // the background is the median over about this many of the shrunk picture's eighths
	whiteFill     = .88 // least area of a blob in its hull
	whiteCorners  = .72 // least area of the hull in its smallest rectangle
	whiteLong     = 3.2 // most length over width
	whiteSmall    = 8   // least width that is looked at
	whiteDarkLow  = .2  // share of dark pixels within the hull, least
	whiteDarkHigh = .75 // and most
	whiteContrast = 35  // least difference of the 90th and the 15th percentile, grey levels
)

// White looks for a light quadrilateral with dark squares in it, as a card shows
// from too far away to decode any marker. shortSidePx is the shorter side of the
// best one, white rim included, in pixels of gray; scraps of light things on a
// roof stay small. It knows nothing of markers: ask it only when none decodes.
func White(gray gocv.Mat) (found bool, shortSidePx float64) {
	if _, err := rasterOf(gray); err != nil {
		return false, 0
	}
	for _, shrink := range []int{3, 6} {
		small := gocv.NewMat()
		err := gocv.Resize(gray, &small, image.Pt(gray.Cols()/shrink, gray.Rows()/shrink), 0, 0, gocv.InterpolationArea)
		if err == nil && small.Cols() >= minSide && small.Rows() >= minSide {
			for _, fill := range []int{7, 15} {
				if side := float64(shrink) * whiteIn(small, fill); side > shortSidePx {
					found, shortSidePx = true, side
				}
			}
		}
		small.Close()
	}
	return found, shortSidePx
}

// whiteIn gives the longest short side of a sheet in one shrunk picture, 0 for none.
func whiteIn(small gocv.Mat, fill int) (best float64) {
	light := gocv.NewMat()
	defer light.Close()
	if !lifted(small, &light, fill) {
		return 0
	}
	mask := gocv.NewMat()
	defer mask.Close()
	for _, level := range []float32{25, 50} {
		gocv.Threshold(light, &mask, level, 255, gocv.ThresholdBinary)
		blobs := gocv.FindContours(mask, gocv.RetrievalExternal, gocv.ChainApproxSimple)
		for i := range blobs.Size() {
			if side := sheet(small, blobs.At(i)); side > best {
				best = side
			}
		}
		blobs.Close()
	}
	return best
}

// lifted fills the dark squares of a board, and leaves what is lighter than its
// wide surroundings.
func lifted(small gocv.Mat, light *gocv.Mat, fill int) bool {
	filled, ground := gocv.NewMat(), gocv.NewMat()
	defer filled.Close()
	defer ground.Close()
	closing := gocv.GetStructuringElement(gocv.MorphRect, image.Pt(fill, fill))
	defer closing.Close()
	opening := gocv.GetStructuringElement(gocv.MorphRect, image.Pt(whiteOpen, whiteOpen))
	defer opening.Close()
	cells := image.Pt(max(1, small.Cols()/8), max(1, small.Rows()/8))
	for _, err := range []error{
		gocv.GaussianBlur(small, &filled, image.Pt(0, 0), whiteSoft, whiteSoft, gocv.BorderReplicate),
		gocv.MorphologyEx(filled, &filled, gocv.MorphClose, closing),
		gocv.MorphologyEx(filled, &filled, gocv.MorphOpen, opening),
		gocv.Resize(filled, &ground, cells, 0, 0, gocv.InterpolationArea),
		gocv.MedianBlur(ground, &ground, whiteCells+1),
		gocv.Resize(ground, &ground, image.Pt(small.Cols(), small.Rows()), 0, 0, gocv.InterpolationLinear),
		gocv.Subtract(filled, ground, light),
	} {
		if err != nil {
			return false
		}
	}
	return true
}

// sheet gives the short side of the blob's smallest rectangle if it looks like a
// card, else 0.
func sheet(small gocv.Mat, blob gocv.PointVector) float64 {
	box := gocv.MinAreaRect(blob)
	short, long := math.Min(float64(box.Width), float64(box.Height)), math.Max(float64(box.Width), float64(box.Height))
	if short < whiteSmall || long > whiteLong*short {
		return 0
	}
	index := gocv.NewMat()
	defer index.Close()
	if gocv.ConvexHull(blob, &index, true, false) != nil {
		return 0
	}
	corners := make([]image.Point, index.Rows())
	for i := range corners {
		corners[i] = blob.At(int(index.GetIntAt(i, 0)))
	}
	if len(corners) < 3 {
		return 0
	}
	hull := gocv.NewPointVectorFromPoints(corners)
	defer hull.Close()
	area := gocv.ContourArea(hull)
	if gocv.ContourArea(blob) < whiteFill*area || area < whiteCorners*short*long || !checkered(small, corners) {
		return 0
	}
	return short
}

// checkered tells whether the hull holds light and dark in a board's shares.
func checkered(small gocv.Mat, hull []image.Point) bool {
	frame := gocv.NewMatWithSize(small.Rows(), small.Cols(), gocv.MatTypeCV8UC1)
	defer frame.Close()
	polygon := gocv.NewPointsVectorFromPoints([][]image.Point{hull})
	defer polygon.Close()
	frame.SetTo(gocv.NewScalar(0, 0, 0, 0))
	gocv.FillPoly(&frame, polygon, white)
	in, err := frame.DataPtrUint8()
	grey, err2 := small.DataPtrUint8()
	if err != nil || err2 != nil {
		return false
	}
	var v []int
	for i, m := range in {
		if m != 0 {
			v = append(v, int(grey[i]))
		}
	}
	if len(v) < 20 {
		return false
	}
	sort.Ints(v)
	low, high := v[len(v)*15/100], v[len(v)*90/100]
	dark := float64(sort.SearchInts(v, (low+high)/2)) / float64(len(v))
	return high-low >= whiteContrast && dark >= whiteDarkLow && dark <= whiteDarkHigh
}
