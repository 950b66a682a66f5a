package card

import (
	"fmt"
	"image"
	"math"

	"gocv.io/x/gocv"
)

// Limits of Find.
const (
	MinMarkers = 3   // markers of one number that make a card, if its corners then turn up where they must
	TwoMarkers = 4   // markers of each number that make several cards
	CutMarkers = 2   // markers of one number that show a card cut off by the border, if they agree on where it lies
	CutShare   = .25 // share of the corners that must lie beyond the border then
	MinCorners = 12  // corners that a measurement needs: three times what a pose takes
	MinSpread  = .25 // share of the board that their hull must cover: with .3 of it heights err no more than with all
)

const (
	minSide   = 32  // px: a smaller picture holds no card
	smoothing = 1.4 // px, standard deviation: quiets the noise before corners are located
)

// Corner is one inner corner of the chessboard.
type Corner struct {
	ID             int     // row by row from the upper left as printed
	BoardX, BoardY float64 // mm, card frame
	X, Y           float64 // px, picture frame
	U              float64 // standard uncertainty of X and of Y, px
}

// Marker is one decoded marker, its corners clockwise from the upper left as
// printed, in pixels of the picture, good to about one pixel.
type Marker struct {
	ID      int
	Corners [4][2]float64
}

// Sight is the card as one picture shows it.
type Sight struct {
	Number      int
	Corners     []Corner
	Markers     int           // decoded markers of this number
	H           [9]float64    // card frame (mm) to picture frame (px), row by row, least squares over Corners
	ResidualPx  float64       // root mean square distance between Corners and H, px; holds bend and lens too
	SquarePx    float64       // mean side of a projected square
	MinSquarePx float64       // shortest side of one
	Numbers     map[int]int   // decoded markers by card number
	Outline     [4][2]float64 // projected outer corners of the board, clockwise from the origin of the card frame
	Cropped     int           // inner corners that fall outside the picture
}

// Find looks for one card of the family b in an upright 8-bit picture with one
// channel. The markers are looked for at half size first, which is faster and
// decodes soft pictures better, then at full size, which sees smaller ones; the
// corners are always located at full size.
//
// The error is an *Unseen when there is no card, more than one, too little of
// it, or one with a number that does not exist; any other error means that the
// picture or the board cannot be worked with.
func Find(gray gocv.Mat, b Board) (Sight, error) {
	if err := b.check(); err != nil {
		return Sight{}, err
	}
	pic, err := rasterOf(gray)
	if err != nil {
		return Sight{}, err
	}
	return climb(gray, pic, b)
}

// climb goes from scale to scale until one shows a card that can be used, or
// settles why none can; else the scale that showed most of it counts.
func climb(gray gocv.Mat, pic raster, b Board) (Sight, error) {
	var best *Unseen
	var good *Sight
	hope := false
	tones := deepTones(pic)
	for _, scale := range ladder(pic) {
		var markers []Marker
		for _, l := range scale {
			if l.hopeful && !hope {
				continue
			}
			more, err := l.markers(gray, tones, b.Dictionary)
			if err != nil {
				return Sight{}, err
			}
			hope = hope || len(more) > 0
			markers = union(markers, more)
			sight, unseen, err := sightOf(gray, pic, b, markers)
			if err != nil {
				return Sight{}, err
			}
			switch {
			case unseen == nil && 2*sight.Markers > b.Markers() && len(sight.Numbers) == 1:
				return sight, nil
			case unseen == nil:
				good = &sight
			case unseen.Kind == ErrTwo || unseen.Kind == ErrOutside:
				return sight, unseen
			case best == nil || unseen.tells(best):
				best = unseen
			}
		}
		if good != nil && len(good.Numbers) == 1 { // a marker of another card calls for a closer look
			return *good, nil
		}
	}
	if good != nil {
		return *good, nil
	}
	return best.Sight, best
}

// rasterOf checks a picture and gives access to its bytes.
func rasterOf(gray gocv.Mat) (raster, error) {
	if gray.Empty() {
		return raster{}, fmt.Errorf("card: the picture is empty")
	}
	if gray.Type() != gocv.MatTypeCV8UC1 || !gray.IsContinuous() {
		return raster{}, fmt.Errorf("card: picture of type %v: one channel of 8 bits in one block is needed", gray.Type())
	}
	if gray.Cols() < minSide || gray.Rows() < minSide {
		return raster{}, fmt.Errorf("card: picture of %d x %d px: at least %d x %d are needed", gray.Cols(), gray.Rows(), minSide, minSide)
	}
	pix, err := gray.DataPtrUint8()
	if err != nil {
		return raster{}, fmt.Errorf("card: %w", err)
	}
	return raster{pix: pix, width: gray.Cols(), height: gray.Rows()}, nil
}

// sightOf makes the most of the markers that were decoded.
func sightOf(gray gocv.Mat, pic raster, b Board, markers []Marker) (Sight, *Unseen, error) {
	numbers, outside := vote(b, markers)
	unseen := &Unseen{Kind: ErrNone, Markers: len(markers), Numbers: numbers, Outside: outside, Legal: b.MaxNumber}
	n := favourite(numbers)
	switch {
	case len(counted(numbers, TwoMarkers)) > 1:
		unseen.Kind = ErrTwo
		return Sight{}, unseen, nil
	case numbers[n] < MinMarkers:
		if len(outside) >= TwoMarkers {
			unseen.Kind = ErrOutside
		} else if s := cutOff(pic, b, n, markers); s.Cropped > 0 {
			s.Numbers = numbers
			unseen.Kind, unseen.Sight = ErrSpread, s
		}
		return Sight{}, unseen, nil
	}
	h, _, ok := fromMarkers(b, n, markers)
	if !ok {
		return Sight{}, unseen, nil
	}
	s := Sight{Number: n, Markers: numbers[n], Numbers: numbers, H: h}
	smooth, err := smoothed(gray, pic, b, s.H)
	if err != nil {
		return Sight{}, nil, err
	}
	defer smooth.Close()
	quiet, err := rasterOf(smooth)
	if err != nil {
		return Sight{}, nil, err
	}
	s.locate(quiet, b)
	s.describe(pic, b)
	if unseen.Spread = spread(b, s.Corners); len(s.Corners) < MinCorners || unseen.Spread < MinSpread {
		unseen.Kind, unseen.Sight = ErrSpread, s
		return s, unseen, nil
	}
	return s, nil, nil
}

// smoothed is the picture with the noise about the board quieted.
func smoothed(gray gocv.Mat, pic raster, b Board, h [9]float64) (gocv.Mat, error) {
	board := image.Rectangle{}
	for _, p := range b.outline() {
		q := project(h, p)
		x, y := int(q[0]), int(q[1])
		board = board.Union(image.Rect(x, y, x+1, y+1))
	}
	// what few markers tell of the far side may be out by some squares
	board = board.Inset(-max(board.Dx(), board.Dy())/4 - minSide).Intersect(image.Rect(0, 0, pic.width, pic.height))
	out := gray.Clone()
	if board.Empty() {
		return out, nil
	}
	from, to := gray.Region(board), out.Region(board)
	defer from.Close()
	defer to.Close()
	if err := gocv.GaussianBlur(from, &to, image.Pt(0, 0), smoothing, smoothing, gocv.BorderReplicate); err != nil {
		out.Close()
		return out, fmt.Errorf("card: %w", err)
	}
	return out, nil
}

// vote counts the markers by card number; ids beyond the last number are listed.
func vote(b Board, markers []Marker) (numbers map[int]int, outside []int) {
	numbers = map[int]int{}
	for _, m := range markers {
		n, i := m.ID/b.IDStep, m.ID%b.IDStep
		if n > b.MaxNumber || i >= b.Markers() {
			outside = append(outside, m.ID)
			continue
		}
		numbers[n]++
	}
	return numbers, outside
}

// favourite is the number with most markers, the lower one of equals.
func favourite(numbers map[int]int) int {
	best := 0
	for n, seen := range numbers {
		if seen > numbers[best] || seen == numbers[best] && n < best {
			best = n
		}
	}
	return best
}

// cutOff is a card of which the border leaves few markers: they decode alike,
// agree on where the board lies, and put much of it outside the picture. With
// Cropped 0 it is none: what a few modules look like by chance does not agree,
// and a board that lies inside has other reasons not to decode.
func cutOff(pic raster, b Board, n int, markers []Marker) Sight {
	h, seen, ok := fromMarkers(b, n, markers)
	if !ok || seen < CutMarkers {
		return Sight{}
	}
	s := Sight{Number: n, Markers: seen, H: h}
	s.describe(pic, b)
	if float64(s.Cropped) < CutShare*float64(b.Corners()) {
		return Sight{}
	}
	return s
}

// fromMarkers fits the homography to the marker corners of card n; agree counts
// the markers all of whose corners it fits.
func fromMarkers(b Board, n int, markers []Marker) (h [9]float64, agree int, ok bool) {
	var from, to [][2]float64
	side := 0.0
	for _, m := range markers {
		i := m.ID - n*b.IDStep
		if i < 0 || i >= b.Markers() {
			continue
		}
		board := b.markerCorners(i)
		from, to = append(from, board[:]...), append(to, m.Corners[:]...)
		side = max(side, distance(m.Corners[0], m.Corners[1]))
	}
	h, keep, ok := homography(from, to, math.Max(4, .08*side))
	for i := 0; i+3 < len(keep); i += 4 {
		if keep[i] && keep[i+1] && keep[i+2] && keep[i+3] {
			agree++
		}
	}
	return h, agree, ok && sensible(h, b)
}

// describe fills in what follows from the homography.
func (s *Sight) describe(pic raster, b Board) {
	for i, p := range b.outline() {
		s.Outline[i] = project(s.H, p)
	}
	s.MinSquarePx = math.Inf(1)
	for id := range b.Corners() {
		p := b.corner(id)
		across, down := sides(s.H, p, b.SquareMM)
		s.SquarePx += (across + down) / 2 / float64(b.Corners())
		s.MinSquarePx = min(s.MinSquarePx, across, down)
		if q := project(s.H, p); !pic.inside(q[0], q[1], 0) {
			s.Cropped++
		}
	}
}
