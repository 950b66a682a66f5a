package page

import (
	"fmt"
	"math"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// The view of a piece or a joint: every one shows the same stretch of roof at
// the same scale.
const (
	pieceW, pieceH = 1200.0, 420.0 // mm
	pieceScale     = 0.6           // px a mm
	pieceFoot      = 90.0          // mm below the butt
)

// newPieceView shows the roof about a piece, or about a joint of the course
// below, with the course's lines and the numbers of the heads.
func (in subject) newPieceView(f judge.PieceFinding, most int) (closeup, error) {
	r := in.r
	v := closeup{Alt: "the piece in question with its neighbours, seen square to the roof", Wide: true}
	at, ok := placeOf(f, r.Course)
	if in.cut == nil || in.cut.Strip == nil || r.ToPicture == nil || !ok {
		return v, nil
	}
	middle, _, ok := onRoof(r.ToPicture, at, 0, 0)
	if !ok {
		return v, nil
	}
	column := math.Round((float64(middle) - pieceW/2 - in.cut.StripLeft) * pieceScale)
	w := window{left: in.cut.StripLeft + column/pieceScale, top: pieceH - pieceFoot}
	small, err := in.shrink(View{JPEG: in.cut.Strip, X: int(column), Width: pieceW * pieceScale, Size: pieceW * pieceScale, Most: most})
	if err != nil {
		return v, err
	}
	v.Src = source("src", small)
	v.ViewBox = fmt.Sprintf("%s %s %s %s", num(w.left), num(-w.top), num(pieceW), num(pieceH))
	w.addCourse(r, in.s)
	w.addHeads(r.Fasteners)
	w.addGap(f, r.Fasteners)
	v.Guides = w.guides
	return v, nil
}

// placeOf is where a finding lies in the photo: the foot of a joint, the middle
// of a piece's butt.
func placeOf(f judge.PieceFinding, c *vision.Course) (vision.Point, bool) {
	if f.Joint >= 0 && f.Joint < len(c.LowerJoints) {
		return c.LowerJoints[f.Joint].Px, true
	}
	for _, q := range c.Pieces {
		if q.ID == f.Piece {
			return middleOf(q), true
		}
	}
	return vision.Point{}, false
}

// window is a stretch of roof: mm along the course and above the butt.
type window struct {
	left, top float64
	guides    []guide
}

func (w *window) inside(x float64) bool { return x > w.left && x < w.left+pieceW }

// addCourse draws butt, band, ends and joints.
func (w *window) addCourse(r *vision.Result, s schedule.Schedule) {
	right := num(w.left + pieceW)
	for _, l := range []struct {
		class, name string
		y           length.MM
	}{{"band", "", s.Band.High}, {"band", "", s.Band.Low}, {"butt", "butt", 0}} {
		y := -float64(l.y)
		w.guides = append(w.guides, guide{l.class, num(w.left), num(y), right, num(y), num(w.left + pieceW - 8), num(y - 8), l.name, "end"})
	}
	for _, q := range r.Course.Pieces {
		w.addEnd(r, q.Left, q.LeftPx, s)
		w.addEnd(r, q.Right, q.RightPx, s)
	}
	for _, l := range r.Course.LowerJoints {
		w.addUpright("lower-joint", "joint below", float64(l.X.Value()), -pieceFoot, float64(s.Band.High))
	}
}

func (w *window) addEnd(r *vision.Result, end vision.End, px vision.Point, s schedule.Schedule) {
	if x, _, ok := onRoof(r.ToPicture, px, 0, 0); ok && endSeen(end) {
		w.addUpright("joint", say(endWords, string(end)), float64(x), 0, float64(s.Shingle.Height))
	}
}

func (w *window) addUpright(class, name string, x, from, to float64) {
	if w.inside(x) {
		w.guides = append(w.guides, guide{class, num(x), num(-from), num(x), num(-min(to, w.top)), num(x + 6), num(-from - 10), name, "start"})
	}
}

// addHeads numbers the heads.
func (w *window) addHeads(heads []vision.Fastener) {
	for _, h := range heads {
		if h.Along == nil || h.AboveButt == nil || !w.inside(float64(h.Along.Value())) {
			continue
		}
		x, y := float64(h.Along.Value()), -float64(h.AboveButt.Value())
		w.guides = append(w.guides, guide{"head", num(x - 12), num(y), num(x + 12), num(y), num(x), num(y - 16), fmt.Sprint(h.ID), "middle"})
	}
}

// addGap is the dimension between the two heads that a gap speaks of.
func (w *window) addGap(f judge.PieceFinding, heads []vision.Fastener) {
	if f.Rule != "gap" || f.Length == nil {
		return
	}
	for _, a := range heads {
		for _, b := range heads {
			if a.Along == nil || b.Along == nil || a.AboveButt == nil || a.Piece != f.Piece || b.Piece != f.Piece ||
				b.Along.Sub(*a.Along).Value() != f.Length.Value() {
				continue
			}
			x1, x2, y := float64(a.Along.Value()), float64(b.Along.Value()), -float64(a.AboveButt.Value())-60
			w.guides = append(w.guides, guide{"dim", num(x1), num(y), num(x2), num(y), num((x1 + x2) / 2), num(y - 8), f.Length.String(), "middle"})
			return
		}
	}
}
