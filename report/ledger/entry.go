package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"slices"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

// Entry is an inspection as it goes into the ledger.
type Entry struct {
	Document inspection.Document
	Answers  review.Answers // what stands of the decisions
	Folder   string         // where inspect wrote it, absolute
	Product  *Product       // nil where the schedule is not at hand
}

// Product holds the lengths of the schedule that sheets draw, mm.
type Product struct {
	Width, Height, Exposure float64
	BandLow, BandHigh       float64
	EndMin, EndMax          float64
	Clearance               float64 // least distance to a joint
	PerPiece                int
}

// key knows an inspection again: the same photos judged by the same schedule.
func (e Entry) key() string {
	var names []string
	for _, p := range e.Document.Photos {
		names = append(names, p.SHA256)
	}
	slices.Sort(names)
	return digest(e.Document.Schedule.SHA256, names)
}

// content tells whether anything of an inspection that is kept has changed.
func (e Entry) content() string {
	d := inspection.Timeless(e.Document)
	return digest(d, e.Answers, e.Folder, e.Product)
}

func digest(of ...any) string {
	h := sha256.New()
	for _, v := range of {
		b, err := json.Marshal(v)
		if err != nil {
			panic("ledger: " + err.Error()) // only our own types, all of which can be written
		}
		io.WriteString(h, string(b)+"\n")
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// day is the day a photo was taken on, as the place's clock showed it, "" where
// the file does not say: when it was inspected tells nothing of the work.
func day(p inspection.Photo) string { return p.Taken[:min(len(p.Taken), len("2006-01-02"))] }

// letters shorten the results of rules.
var letters = map[string]string{"suspect": "s", "unresolved": "u", "clear": "c", "not_judged": "n"}

// rules writes the results of a head in one text, "height:s end:c".
func rules(of []inspection.Rule) string {
	var out []string
	for _, r := range of {
		if l, ok := letters[r.Result]; ok {
			out = append(out, r.Rule+":"+l)
		}
	}
	return strings.Join(out, " ")
}

// jointSide is the distance to the lower joint with a sign: positive when the
// joint lies to the right of the head. The document has the distance without
// one, so the side is the one that puts the joint where the photo shows it.
func jointSide(p inspection.Photo, h inspection.Fastener) (float64, bool) {
	if h.LowerJoint == nil || p.Course == nil || h.Piece == nil {
		return 0, false
	}
	i := slices.IndexFunc(p.Course.Pieces, func(q inspection.Piece) bool { return q.ID == *h.Piece })
	if i < 0 {
		return 0, false
	}
	at, ok := alongPiece(p, p.Course.Pieces[i], h)
	if !ok {
		return 0, false
	}
	best, d := math.Inf(1), h.LowerJoint.MM
	signed := d
	for _, j := range p.Course.LowerJoints {
		x, ok := jointFrom(p, p.Course.Pieces[i], j.Px, h)
		if !ok {
			continue
		}
		for _, s := range []float64{-d, d} {
			if off := math.Abs(at + s - x); off < best {
				best, signed = off, s
			}
		}
	}
	return signed, !math.IsInf(best, 1)
}

// alongPiece is how far a head lies from the end that jointFrom counts from.
func alongPiece(p inspection.Photo, q inspection.Piece, h inspection.Fastener) (float64, bool) {
	switch {
	case h.LeftEnd != nil:
		return h.LeftEnd.MM, true
	case h.RightEnd != nil:
		return -h.RightEnd.MM, true
	}
	return 0, false
}

// jointFrom is how far a place on the butt line lies to the right of the left
// end of a piece, mm, or else of its right end: in proportion to the piece's
// width where that is known, by the photo's scale where not.
func jointFrom(p inspection.Photo, q inspection.Piece, at inspection.XY, h inspection.Fastener) (float64, bool) {
	dx, dy := q.RightPx[0]-q.LeftPx[0], q.RightPx[1]-q.LeftPx[1]
	long := math.Hypot(dx, dy)
	if long == 0 {
		return 0, false
	}
	from := q.LeftPx
	if h.LeftEnd == nil {
		from = q.RightPx
	}
	px := ((at[0]-from[0])*dx + (at[1]-from[1])*dy) / long
	switch {
	case q.Width != nil:
		return px / long * q.Width.MM, true
	case p.Scale > 0:
		return px / p.Scale, true
	}
	return 0, false
}
