package vision

import (
	"bytes"
	"encoding/gob"
	"fmt"

	"coursegauge/vision/length"
	"coursegauge/vision/plane"
)

// Surface is the open course as the picture shows it: the adjusted camera and
// the edges of the pieces in pixels. It is all that drawing on a photo, or
// looking up a place in it, needs of the adjustment, so a Result that carries
// it can be kept and drawn again without the picture.
type Surface struct {
	Frame         plane.Frame
	Width, Height float64 // of the picture, px
	Pieces        []SurfacePiece
}

// SurfacePiece is the edges of one piece; a line that was not seen is nil, and
// then LeftX and RightX (mm, roof frame) tell where the piece ends.
type SurfacePiece struct {
	Butt, Left, Right *plane.Line
	LeftX, RightX     float64
}

// ToPicture maps a point of the surface (x along, y above the butt, mm) to the
// picture frame.
func (s *Surface) ToPicture(x, y length.MM) Point {
	u, v := s.Frame.Project(float64(x), float64(y), s.Frame.Stack.At(float64(y)))
	return Point{u, v}
}

// Trace follows the course y mm over its butt line, from left to right, in the
// picture frame.
func (s *Surface) Trace(y length.MM) []Point {
	var out []Point
	for i := range s.Pieces {
		q := &s.Pieces[i]
		l, r := s.end(q.Left, q.LeftX, float64(y)), s.end(q.Right, q.RightX, float64(y))
		n := max(2, int((r-l)/60)+1)
		for i := range n {
			x := l + (r-l)*float64(i)/float64(n-1)
			b := 0.0
			if q.Butt != nil {
				b = q.Butt.Across(&s.Frame, x)
			}
			u, v := s.Frame.Project(x, b+float64(y), s.Frame.Stack.At(float64(y)))
			if u > -s.Width/4 && u < 1.25*s.Width && v > -s.Height/4 && v < 1.25*s.Height {
				out = append(out, Point{u, v})
			}
		}
	}
	return out
}

func (s *Surface) end(l *plane.Line, x, y float64) float64 {
	if l != nil {
		return l.Across(&s.Frame, y)
	}
	return x
}

// surface keeps what drawing needs of a pass.
func (p *pass) surface() *Surface {
	s := &Surface{Frame: p.solution.Frame, Width: float64(p.picture.Width()), Height: float64(p.picture.Height())}
	for k := range p.geometry {
		g := &p.geometry[k]
		s.Pieces = append(s.Pieces, SurfacePiece{g.butt, g.left, g.right, g.sketch.Left.X, g.sketch.Right.X})
	}
	return s
}

// bind makes the functions of a Result from its surface.
func (r *Result) bind() {
	if r.Surface != nil {
		r.ToPicture = r.Surface.ToPicture
		if r.Course != nil {
			r.Course.Trace = r.Surface.Trace
		}
	}
}

// bare is a Result without its methods, so that gob does not call them again.
type bare Result

// GobEncode writes all of a Result down, infinite and undefined numbers
// included; the functions are made anew from Surface when it is read.
func (r *Result) GobEncode() ([]byte, error) {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode((*bare)(r)); err != nil {
		return nil, fmt.Errorf("write down a result: %w", err)
	}
	return b.Bytes(), nil
}

// GobDecode reads what GobEncode wrote.
func (r *Result) GobDecode(data []byte) error {
	var b bare
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&b); err != nil {
		return fmt.Errorf("read a result: %w", err)
	}
	*r = Result(b)
	r.bind()
	return nil
}
