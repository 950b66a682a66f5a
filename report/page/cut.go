package page

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"gocv.io/x/gocv"

	"coursegauge/vision"
	"coursegauge/vision/length"
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

// Cut takes the pictures from the upright photo m (8 bits, B G R).
func Cut(r *vision.Result, m gocv.Mat) (*Cuttings, error) {
	c := &Cuttings{Width: m.Cols(), Height: m.Rows()}
	var err error
	if r.Refusal != nil {
		c.Whole, err = shrunk(m, refusedSize, refusedBytes)
		return c, err
	}
	small := gocv.NewMat()
	defer small.Close()
	if err := resized(m, &small, pictureSize); err != nil {
		return nil, err
	}
	if c.Whole, err = shrunk(small, pictureSize, pictureBytes); err != nil {
		return nil, err
	}
	if c.Thumb, err = shrunk(small, thumbSize, thumbBytes); err != nil {
		return nil, err
	}
	if r.ToPicture == nil {
		return c, nil
	}
	if err := c.cutHeads(r, m); err != nil {
		return nil, err
	}
	return c, c.cutStrip(r, m)
}

func (c *Cuttings) cutHeads(r *vision.Result, m gocv.Mat) error {
	c.Heads = map[int][]byte{}
	for _, f := range r.Fasteners {
		x, y, ok := onRoof(r.ToPicture, f.Px, valueOr(f.Along, 0), valueOr(f.AboveButt, 0))
		if !ok {
			continue
		}
		jpeg, err := rectified(m, r.ToPicture, x, y)
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
func (c *Cuttings) cutStrip(r *vision.Result, m gocv.Mat) error {
	left, right := math.Inf(1), math.Inf(-1)
	for _, at := range placesOf(r.Course) {
		if x, _, ok := onRoof(r.ToPicture, at, 0, 0); ok {
			left, right = min(left, float64(x)-pieceW/2), max(right, float64(x)+pieceW/2)
		}
	}
	if left >= right || right-left > stripMost {
		return nil
	}
	strip, err := unrolled(m, r.ToPicture, left, pieceH-pieceFoot, int(math.Ceil((right-left)*pieceScale)), int(pieceH*pieceScale))
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
// the full picture. Over so small a piece the mapping is a homography, which
// its four corners give. It is nil where a corner is not to be seen.
func rectified(m gocv.Mat, toPicture toPicture, x, y length.MM) ([]byte, error) {
	w, h := int(closeW*closeScale), int(closeH*closeScale)
	var from, to []gocv.Point2f
	for _, c := range [][2]float64{{-1, 1}, {1, 1}, {1, -1}, {-1, -1}} {
		u, v := c[0]*closeW/2, c[1]*closeH/2
		p := toPicture(x+length.MM(u), y+length.MM(v))
		if math.IsNaN(p.X + p.Y) {
			return nil, nil
		}
		from = append(from, gocv.Point2f{X: float32(p.X), Y: float32(p.Y)})
		to = append(to, gocv.Point2f{
			X: float32((u+closeW/2)*closeScale - 0.5),
			Y: float32((closeH/2-v)*closeScale - 0.5),
		})
	}
	src, dst := gocv.NewPoint2fVectorFromPoints(from), gocv.NewPoint2fVectorFromPoints(to)
	defer src.Close()
	defer dst.Close()
	homography := gocv.GetPerspectiveTransform2f(src, dst)
	defer homography.Close()
	out := gocv.NewMat()
	defer out.Close()
	if err := gocv.WarpPerspectiveWithParams(m, &out, homography, image.Pt(w, h), gocv.InterpolationCubic, gocv.BorderConstant, outside); err != nil {
		return nil, err
	}
	return jpegOf(out, gocv.IMWriteJpegQuality, cutQuality)
}

// outside is what a view shows where the photo ends.
var outside = color.RGBA{R: 0xdd, G: 0xdd, B: 0xdd, A: 0xff}

// unrollStep is the grid, px of the strip, on which the mapping is looked up;
// in between it is linear. A step is 20 mm of roof, over which a lens bends far
// less than a pixel.
const unrollStep = 12

// stripMost is the longest strip that is unrolled, mm: ten shingles.
const stripMost = 10_000

// unrolled is a stretch of roof as a picture: so many columns from left, mm
// along the course, and rows down from top, mm above the butt. Over so long a
// piece the mapping is no homography.
func unrolled(m gocv.Mat, toPicture toPicture, left, top float64, cols, rows int) (gocv.Mat, error) {
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
		p := toPicture(length.MM(left+(float64(j*unrollStep)+.5)/pieceScale), length.MM(top-(float64(i*unrollStep)+.5)/pieceScale))
		if math.IsNaN(p.X + p.Y) {
			p.X, p.Y = -1e4, -1e4
		}
		return p
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
	out := gocv.NewMat()
	if err := gocv.Remap(m, &out, &mapX, &mapY, gocv.InterpolationLinear, gocv.BorderConstant, outside); err != nil {
		out.Close()
		return gocv.Mat{}, err
	}
	return out, nil
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
