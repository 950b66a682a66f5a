package page

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"gocv.io/x/gocv"

	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// Cuttings are all pictures that a report may need of one photo, whatever it
// is judged by: they are cut once, while the pixels are there, and can be kept.
// A refused photo has nothing but Whole.
type Cuttings struct {
	Width, Height int            // of the upright photo, px
	Whole, Thumb  []byte         // JPEG as it stands in the report; Thumb is the one that entries share
	Heads         map[int][]byte // by head number: its close-up, square to the roof (JPEG)
	Strip         []byte         // the open course unrolled (JPEG), nil when it has neither piece nor joint
	StripLeft     float64        // where it begins, mm along the course
}

// cutQuality is the JPEG quality of what is cut for later: what it loses is
// far under what the report's own encoding loses.
const cutQuality = 92

// Cut takes the pictures from a photo.
func Cut(r *vision.Result, p *photo.Picture) (*Cuttings, error) {
	c := &Cuttings{Width: p.Width(), Height: p.Height()}
	var err error
	if r.Refusal != nil {
		c.Whole, err = reduced(p, refusedSize, refusedBytes)
		return c, err
	}
	if c.Whole, err = reduced(p, pictureSize, pictureBytes); err != nil {
		return nil, err
	}
	if c.Thumb, err = reduced(p, thumbSize, thumbBytes); err != nil {
		return nil, err
	}
	if r.ToPicture == nil {
		return c, nil
	}
	if err := c.cutHeads(r, p); err != nil {
		return nil, err
	}
	return c, c.cutStrip(r, p)
}

// reduced is the photo as a JPEG of so many pixels and bytes.
func reduced(p *photo.Picture, size, most int) ([]byte, error) {
	m, err := p.AtLeast(size)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	return shrunk(m, size, most)
}

func (c *Cuttings) cutHeads(r *vision.Result, p *photo.Picture) error {
	c.Heads = map[int][]byte{}
	for _, f := range r.Fasteners {
		x, y, ok := onRoof(r.ToPicture, f.Px, valueOr(f.Along, 0), valueOr(f.AboveButt, 0))
		if !ok {
			continue
		}
		jpeg, err := rectified(p, r.ToPicture, x, y)
		if err != nil {
			return err
		}
		if jpeg != nil {
			c.Heads[f.ID] = jpeg
		}
	}
	return nil
}

// cutStrip unrolls as much of the course as the views of its pieces and joints need.
func (c *Cuttings) cutStrip(r *vision.Result, p *photo.Picture) error {
	left, right := math.Inf(1), math.Inf(-1)
	for _, at := range placesOf(r.Course) {
		if x, _, ok := onRoof(r.ToPicture, at, 0, 0); ok {
			left, right = min(left, float64(x)-pieceW/2), max(right, float64(x)+pieceW/2)
		}
	}
	if left >= right || right-left > stripMost {
		return nil
	}
	n := 1
	for r.ScalePxPerMM/float64(2*n) >= pieceScale {
		n *= 2
	}
	strip, err := unrolled(p, n, r.ToPicture, left, pieceH-pieceFoot, int(math.Ceil((right-left)*pieceScale)), int(pieceH*pieceScale))
	if err != nil {
		return err
	}
	defer strip.Close()
	c.StripLeft = left
	c.Strip, err = jpegOf(strip, gocv.IMWriteJpegQuality, cutQuality)
	return err
}

// placesOf are the feet of the pieces and joints that a finding may speak of.
func placesOf(c *vision.Course) (out []vision.Point) {
	if c == nil {
		return nil
	}
	for _, l := range c.LowerJoints {
		out = append(out, l.Px)
	}
	for _, q := range c.Pieces {
		out = append(out, middleOf(q))
	}
	return out
}

func middleOf(q vision.Piece) vision.Point {
	return vision.Point{X: (q.LeftPx.X + q.RightPx.X) / 2, Y: (q.LeftPx.Y + q.RightPx.Y) / 2}
}

// rectified cuts the window about (x, y), mm on the course's surface, out of
// the photo. Over so small a piece the mapping is a homography, which its four
// corners give. It is nil where a corner is not to be seen.
func rectified(p *photo.Picture, toPicture toPicture, x, y length.MM) ([]byte, error) {
	var from, to [4]vision.Point
	for i, c := range [4][2]float64{{-1, 1}, {1, 1}, {1, -1}, {-1, -1}} {
		u, v := c[0]*closeW/2, c[1]*closeH/2
		from[i] = toPicture(x+length.MM(u), y+length.MM(v))
		to[i] = vision.Point{X: (u+closeW/2)*closeScale - .5, Y: (closeH/2-v)*closeScale - .5}
		if math.IsNaN(from[i].X + from[i].Y) {
			return nil, nil
		}
	}
	half, err := p.Reduced(2)
	if err != nil {
		return nil, err
	}
	colour, err := warped(half, from, to, .5)
	if err != nil {
		return nil, err
	}
	defer colour.Close()
	gray, err := warped(p.Gray, from, to, 1)
	if err != nil {
		return nil, err
	}
	defer gray.Close()
	if err := photo.Shade(&colour, gray); err != nil {
		return nil, err
	}
	return jpegOf(colour, gocv.IMWriteJpegQuality, cutQuality)
}

// warped brings four places of the photo to four of a close-up; m is the photo
// at a scale.
func warped(m gocv.Mat, from, to [4]vision.Point, scale float64) (gocv.Mat, error) {
	var a, b []gocv.Point2f
	for i := range from {
		a = append(a, gocv.Point2f{X: float32((from[i].X+.5)*scale - .5), Y: float32((from[i].Y+.5)*scale - .5)})
		b = append(b, gocv.Point2f{X: float32(to[i].X), Y: float32(to[i].Y)})
	}
	src, dst := gocv.NewPoint2fVectorFromPoints(a), gocv.NewPoint2fVectorFromPoints(b)
	defer src.Close()
	defer dst.Close()
	homography := gocv.GetPerspectiveTransform2f(src, dst)
	defer homography.Close()
	out := gocv.NewMat()
	if err := gocv.WarpPerspectiveWithParams(m, &out, homography, image.Pt(closeW*closeScale, closeH*closeScale), gocv.InterpolationLinear, gocv.BorderConstant, outside); err != nil {
		out.Close()
		return out, err
	}
	return out, nil
}

// outside is what a view shows where the photo ends: grey, in colour and without.
var outside = color.RGBA{R: 0xdd, G: 0xdd, B: 0xdd, A: 0xff}

// unrollStep is the grid, px of the strip, on which the mapping is looked up;
// in between it is linear. A step is 20 mm of roof, over which a lens bends far
// less than a pixel.
const unrollStep = 12

// stripMost is the longest strip that is unrolled, mm: ten shingles.
const stripMost = 10_000

// unrolled is a stretch of roof as a picture, out of the photo reduced n times: so
// many columns from left, mm along the course, and rows down from top, mm above
// the butt. Over so long a piece the mapping is no homography.
func unrolled(p *photo.Picture, n int, toPicture toPicture, left, top float64, cols, rows int) (gocv.Mat, error) {
	mapX, mapY := gocv.NewMatWithSize(rows, cols, gocv.MatTypeCV32F), gocv.NewMatWithSize(rows, cols, gocv.MatTypeCV32F)
	defer mapX.Close()
	defer mapY.Close()
	xs, errX := mapX.DataPtrFloat32()
	ys, errY := mapY.DataPtrFloat32()
	if errX != nil || errY != nil {
		return gocv.Mat{}, fmt.Errorf("map of the view: %v %v", errX, errY)
	}
	nodes := cols/unrollStep + 2
	place := func(i, j int) vision.Point { // of a node of the grid
		at := toPicture(length.MM(left+(float64(j*unrollStep)+.5)/pieceScale), length.MM(top-(float64(i*unrollStep)+.5)/pieceScale))
		if math.IsNaN(at.X + at.Y) {
			at.X, at.Y = -1e4, -1e4
		}
		return at
	}
	row := func(i int) []vision.Point {
		out := make([]vision.Point, nodes)
		for j := range out {
			out[j] = place(i, j)
		}
		return out
	}
	above, below := row(0), row(1)
	for i := range rows {
		if i > 0 && i%unrollStep == 0 {
			above, below = below, row(i/unrollStep+1)
		}
		t := float64(i%unrollStep) / unrollStep
		for j := range cols {
			k, s := j/unrollStep, float64(j%unrollStep)/unrollStep
			a, b := (1-s)*(1-t), s*(1-t)
			c, d := (1-s)*t, s*t
			xs[i*cols+j] = float32(a*above[k].X + b*above[k+1].X + c*below[k].X + d*below[k+1].X)
			ys[i*cols+j] = float32(a*above[k].Y + b*above[k+1].Y + c*below[k].Y + d*below[k+1].Y)
		}
	}
	return p.Sample(mapX, mapY, n, outside)
}

// head is the cutting of a head, nil when there is none.
func (c *Cuttings) head(id int) []byte {
	if c == nil {
		return nil
	}
	return c.Heads[id]
}

// View asks for a picture of the report out of a cutting.
type View struct {
	JPEG     []byte
	X, Width int // the columns of the cutting that are shown; Width 0 is all of it
	Size     int // the longer side, px
	Most     int // bytes
}

// Shrink makes the JPEG of a view.
func (v View) Shrink() ([]byte, error) {
	m, err := gocv.IMDecode(v.JPEG, gocv.IMReadColor)
	if err != nil {
		return nil, fmt.Errorf("read a cutting: %w", err)
	}
	defer m.Close()
	if v.Width == 0 {
		return shrunk(m, v.Size, v.Most)
	}
	at := image.Rect(v.X, 0, v.X+v.Width, m.Rows()).Intersect(image.Rect(0, 0, m.Cols(), m.Rows()))
	if at.Empty() {
		return nil, fmt.Errorf("columns %d to %d of a cutting of %d", v.X, v.X+v.Width, m.Cols())
	}
	part := m.Region(at)
	defer part.Close()
	return shrunk(part, v.Size, v.Most)
}
