// Package trial holds the photos' lengths against a tape, and photos of one
// course against each other. In: what the photos told of each head, and what a
// person read off a tape. Out: how well the two agree (Bland and Altman 1986),
// whether the stated uncertainties hold, and how well a photo repeats itself
// (a gauge study).
//
// Units: lengths are millimetres, differences are photo less tape. The
// statistics of Agree, Exact and Study know no unit: they answer in that of
// what they are given.
package trial

import (
	"coursegauge/vision/length"
)

// Kind names a length that a tape can check.
type Kind string

// The lengths of a trial, by the names that they have in an inspection.
const (
	AboveButt  Kind = "above_butt"  // from the butt edge of the head's own piece to the head's centre
	End        Kind = "end"         // along the course to the nearer end of the piece
	LowerJoint Kind = "lower_joint" // along the course to the nearest joint of the course below
)

// kinds lists them in the order of the sheet.
var kinds = []Kind{AboveButt, End, LowerJoint}

// Words says what a kind is.
func (k Kind) Words() string {
	return map[Kind]string{
		AboveButt: "height above the butt", End: "distance to the end of the piece", LowerJoint: "distance to a joint of the course below",
	}[k]
}

// Side tells to which end of its piece a head's End goes.
type Side string

// The sides, as seen from the eave.
const (
	Left  Side = "left"
	Right Side = "right"
)

// Answer is what the photo said about the rule on one length.
type Answer string

// The answers that a tape can confirm. Others are left alone.
const (
	Suspect    Answer = "suspect"
	Clear      Answer = "clear"
	Unresolved Answer = "unresolved"
)

// Head is one fastener as one photo shows it.
type Head struct {
	ID           int
	X, Y, Radius float64 // px, upright picture
	Piece        int     // -1 on none
	Side         Side    // of End; "" when it has none
	Lengths      map[Kind]length.Measured
	Answers      map[Kind]Answer
	// Ends are the distances to both ends of the piece, where seen: a tape may
	// have gone to the other one, and heads of several photos are told apart by
	// them.
	Ends map[Side]length.Measured
}

// to is a length of the head; that to an end goes to the given side.
func (h Head) to(k Kind, s Side) (length.Measured, bool) {
	if k == End && s != "" && s != h.Side {
		m, ok := h.Ends[s]
		return m, ok
	}
	m, ok := h.Lengths[k]
	return m, ok
}

// Piece is one shingle of the open course in one photo.
type Piece struct {
	ID    int
	Width *length.MM // nil unless both ends are seen
}

// Photo is one measured photo.
type Photo struct {
	File   string
	Device string // as the camera names itself, "" when it does not
	Crew   string
	Card   int
	Pieces []Piece // left to right
	Heads  []Head
}

// Limits are those of the schedule that a tape can check; Max is 0 where there
// is none.
type Limits map[Kind]Limit

// Limit is what a length must keep within.
type Limit struct{ Min, Max length.MM }
