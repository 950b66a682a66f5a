package card

import (
	"fmt"
	"image"
	"math"

	"gocv.io/x/gocv"
)

// look is one way of looking for markers.
type look struct {
	half    bool   // at half size
	deep    bool   // with the tones of deepTones
	windows [2]int // of the adaptive thresholds, px
	hopeful bool   // only when some marker was seen before
}

const (
	halfFrom     = 1600 // px: from this long side on the first looks are at half size
	minPerimeter = 24   // px of a marker: seven modules a side are more than one pixel each then, or cannot be told
	tileSide     = 2200 // px: a larger picture is looked at in tiles, for the sake of memory
	tileOverlap  = 256  // px: larger markers show at half size
)

// One threshold sees as many of most cards as three, in a third of the time. Where
// it sees nothing at full size either, three would find nothing.
var (
	oneWindow  = [2]int{13, 13}
	allWindows = [2]int{3, 23}
)

// ladder is the looks at a picture, scale by scale, the quickest first.
func ladder(pic raster) [][]look {
	full := []look{{deep: true, windows: oneWindow}, {windows: oneWindow}, {deep: true, windows: allWindows, hopeful: true}, {windows: allWindows, hopeful: true}}
	if max(pic.width, pic.height) < halfFrom {
		return [][]look{full}
	}
	half := []look{{half: true, deep: true, windows: oneWindow}, {half: true, deep: true, windows: allWindows}, {half: true, windows: allWindows}}
	return [][]look{half, full}
}

// depth is the exponent that takes a picture's tones back to light and beyond.
// Burnt-out paper bleeds over thin black modules, and adaptive thresholds then
// lose them: on eight rendered photos with burnt-out cards it took the markers
// decoded at full size from 23 to 160.
const depth = 4

// deepTones raises tones to depth, the brightest thousandth of the picture's at
// white. Markers in shade may be lost in it, so the picture itself is looked at
// too where too few are found.
func deepTones(pic raster) (tones [256]byte) {
	var hist [256]int
	n := 0
	for i := 0; i < len(pic.pix); i += 31 {
		hist[pic.pix[i]]++
		n++
	}
	white, over := 255, hist[255]
	for white > 32 && over < n/1000 {
		white--
		over += hist[white]
	}
	for i := range tones {
		tones[i] = byte(255*math.Pow(math.Min(1, float64(i)/float64(white)), depth) + .5)
	}
	return tones
}

// markers are those that the look finds, their corners in pixels of gray.
func (l look) markers(gray gocv.Mat, tones [256]byte, dictionary int) ([]Marker, error) {
	var out []Marker
	for _, tile := range tiles(gray.Cols(), gray.Rows(), l.half) {
		found, err := l.tile(gray, tile, tones, dictionary)
		if err != nil {
			return nil, err
		}
		out = append(out, unlike(out, found)...)
	}
	return out, nil
}

// tile looks at one part of the picture.
func (l look) tile(gray gocv.Mat, at image.Rectangle, tones [256]byte, dictionary int) ([]Marker, error) {
	part := gray.Region(at)
	defer func() { _ = part.Close() }()
	if l.half {
		small := gocv.NewMat()
		if err := gocv.Resize(part, &small, image.Pt(at.Dx()/2, at.Dy()/2), 0, 0, gocv.InterpolationArea); err != nil {
			_ = small.Close()
			return nil, fmt.Errorf("card: %w", err)
		}
		_ = part.Close()
		part = small
	}
	if l.deep {
		table, err := gocv.NewMatFromBytes(1, len(tones), gocv.MatTypeCV8U, tones[:])
		if err != nil {
			return nil, fmt.Errorf("card: %w", err)
		}
		defer func() { _ = table.Close() }()
		toned := gocv.NewMat()
		if err := gocv.LUT(part, table, &toned); err != nil {
			_ = toned.Close()
			return nil, fmt.Errorf("card: %w", err)
		}
		_ = part.Close()
		part = toned
	}
	sx, sy := float64(at.Dx())/float64(part.Cols()), float64(at.Dy())/float64(part.Rows())
	found, err := detect(part, dictionary, l.windows, minPerimeter/float64(max(part.Cols(), part.Rows())))
	for i := range found {
		for k, c := range found[i].Corners {
			found[i].Corners[k] = [2]float64{float64(at.Min.X) + (c[0]+.5)*sx - .5, float64(at.Min.Y) + (c[1]+.5)*sy - .5}
		}
	}
	return found, err
}

// tiles cover a picture; at half size it is small enough as it is.
func tiles(w, h int, half bool) []image.Rectangle {
	if half || max(w, h) <= tileSide {
		return []image.Rectangle{image.Rect(0, 0, w, h)}
	}
	nx, ny := parts(w), parts(h)
	var out []image.Rectangle
	for j := range ny {
		for i := range nx {
			r := image.Rect(w*i/nx, h*j/ny, w*(i+1)/nx, h*(j+1)/ny).Inset(-tileOverlap / 2)
			out = append(out, r.Intersect(image.Rect(0, 0, w, h)))
		}
	}
	return out
}

func parts(side int) int { return (side + tileSide - tileOverlap - 1) / (tileSide - tileOverlap) }

// unlike are the markers of more that do not lie where one of the same id does
// already: the strip that two tiles share.
func unlike(have, more []Marker) []Marker {
	var out []Marker
	for _, m := range more {
		again := false
		for _, k := range have {
			again = again || k.ID == m.ID && distance(k.Corners[0], m.Corners[0]) < distance(k.Corners[0], k.Corners[1])/2
		}
		if !again {
			out = append(out, m)
		}
	}
	return out
}

// union adds the markers whose ids are not there yet.
func union(have, more []Marker) []Marker {
	ids := map[int]bool{}
	for _, m := range have {
		ids[m.ID] = true
	}
	for _, m := range more {
		if !ids[m.ID] {
			have = append(have, m)
		}
	}
	return have
}
