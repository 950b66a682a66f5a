// Package vision measures what one photo of an open course shows: the card,
// the plane, the course with its pieces, and every fastener head. It knows
// nothing of rules, files or terminals; it answers with lengths and their
// uncertainties, and says why when it cannot.
//
// Frames. Picture frame: upright pixels, x right, y down, (0, 0) the centre of
// the first pixel. Roof frame: millimetres, x along the butt line of the open
// course to the right as seen from the eave, y up the slope, z out of the deck.
package vision

import (
	"coursegauge/vision/length"
)

// Point is a place in the picture frame, in pixels.
type Point struct{ X, Y float64 }

// Family tells how a product is built.
type Family string

// The families that can be measured.
const (
	Laminated Family = "laminated" // two plies, no cutouts, teeth on the weather side
	ThreeTab  Family = "three-tab" // one ply with cutouts between tabs
)

// Product is what is known beforehand of the shingles in the photo; the
// adjustment uses the lengths as weighted observations.
type Product struct {
	Family                       Family
	Width, Height, Exposure, Ply length.MM
	BandLow, BandHigh            length.MM // where heads are expected above the butt: a hint for the search only
	HeadDiameter                 length.MM // smallest allowed head: a hint for the search only
	Stagger                      Stagger
}

// Stagger says how the joints of the next course will lie against those of
// the open course.
type Stagger struct {
	Observed bool      // take the offset seen between the open course and the one below
	Length   length.MM // otherwise, when over zero, this offset to either side
}

// Reason names why a photo cannot be measured.
type Reason string

// The reasons of a refusal, as they stand in inspection.json.
const (
	Unreadable    Reason = "unreadable"
	NoCard        Reason = "no_card"
	TwoCards      Reason = "two_cards"
	CardCropped   Reason = "card_cropped"
	CardBent      Reason = "card_bent"
	CardWrongSize Reason = "card_wrong_size"
	Blurred       Reason = "blurred"
	Exposure      Reason = "exposure"
	Far           Reason = "far"
	Oblique       Reason = "oblique"
	NoOpenCourse  Reason = "no_open_course"
)

// Refusal says why a photo was not measured and what to do on the roof next time.
type Refusal struct {
	Reason Reason
	Detail string // what was seen, with figures: "the card is 13 px a square; 25 are needed"
	Advice string // one sentence for the person with the phone
}

// End tells what bounds a piece on one side.
type End string

// What the end of a piece can be.
const (
	EndJoint  End = "joint"
	EndRake   End = "rake"
	EndCut    End = "cut"
	EndFrame  End = "frame"  // runs out of the picture
	EndHidden End = "hidden" // under the card, or not to be seen
)

// Piece is one shingle of the open course.
type Piece struct {
	ID              int
	Left, Right     End
	LeftPx, RightPx Point            // where the butt line meets the ends (or the frame)
	Width           *length.Measured // nil unless both ends are seen
	Covered         bool             // some of its nailing area lies under the card or out of the picture
	Unsure          bool             // wider than a shingle: a joint in it was not made out, so its ends are not known
}

// LowerJoint is a joint of the course directly below the open one.
type LowerJoint struct {
	Px Point           // on the butt line of the open course
	X  length.Measured // along the butt line, roof frame
}

// MaybeJoints is one way in which the joints of the course below may lie.
type MaybeJoints struct {
	P float64
	X []length.Measured
}

// NextJoint is where a joint of the course above will be.
type NextJoint struct {
	Px Point
	X  length.Measured
}

// Course is the open course.
type Course struct {
	ButtPx      [2]Point // the butt line from left to right, where it enters and leaves the picture
	Pieces      []Piece  // left to right
	LowerJoints []LowerJoint
	NextJoints  []NextJoint
	Offset      *length.Measured // open joints against lower joints, in (-width/2, width/2]; nil when not seen
	// MaybeLower lists, when LowerJoints is empty because the joints of the course
	// below could not be told from other lines, where they may lie; the
	// probabilities sum to at most 1.
	MaybeLower []MaybeJoints
	// Trace gives the course's line at y mm above the butt from left to right in
	// the picture frame (for drawing the band, the top edge ...).
	Trace func(y length.MM) []Point `json:"-"`
}

// DriveClass tells how a fastener was driven.
type DriveClass string

// The drive classes.
const (
	Flush       DriveClass = "flush"
	Overdriven  DriveClass = "overdriven"
	Underdriven DriveClass = "underdriven"
	Cocked      DriveClass = "cocked"
	Unclear     DriveClass = "unclear"
)

// Drive is the class told and the probability of each of the four.
type Drive struct {
	Class DriveClass
	P     map[DriveClass]float64 // flush, overdriven, underdriven, cocked; sums to 1
}

// Fastener is one head that was found.
type Fastener struct {
	ID       int
	Px       Point   // centre of the head in the picture frame
	RadiusPx float64 // mean radius in the picture
	Score    float64 // probability that this is a fastener head, 0 to 1
	Piece    int     // Piece.ID, or -1 when it lies on no piece of the open course
	Exposed  bool    // below the butt of the open course

	// Lengths; nil when they cannot be given.
	Along        *length.Measured // x in the roof frame
	AboveButt    *length.Measured
	LeftEnd      *length.Measured
	RightEnd     *length.Measured
	End          *length.Measured // the smaller of the two
	LowerJoint   *length.Measured
	NextJoint    *length.Measured
	HeadDiameter *length.Measured

	Drive Drive
}

// CardSight is what the card told.
type CardSight struct {
	Number     int
	Corners    int     // used of 54
	ResidualPx float64 // rms reprojection error of the adjustment
	Proved     bool    // the size comes from a card file, not from the drawing
	OutlinePx  [4]Point
}

// Camera is what was known or estimated of the lens.
type Camera struct {
	Source   string  // none | exif | profile
	FocalPx  float64 // after the adjustment
	FocalU   float64
	K1, K1U  float64 // first radial coefficient (Brown), after the adjustment
	ExifPx   float64 // the start value from EXIF, 0 when absent
	Distance length.MM
}

// Check is one self-check with what is known beforehand of product and card.
type Check struct {
	Name string
	OK   bool
	Text string
}

// Stage is the time and the count of one stage of the pipeline.
type Stage struct {
	Name          string
	Milliseconds  float64
	Kept, Dropped int
}

// Share is one contribution to the uncertainty of the photo's lengths:
// the root mean square over its heads, in mm (k = 1), by kind of length.
type Share struct {
	Source                     length.Source
	AboveButt, End, LowerJoint length.MM
}

// Result is all that one photo told. Either Refusal is set, or Course is.
type Result struct {
	Refusal      *Refusal
	Card         *CardSight
	Camera       Camera
	ScalePxPerMM float64 // at the middle of the card
	TiltDeg      float64 // line of sight against the normal: of the roof, at the course's middle; of the card, at its middle, while Camera.Distance is 0
	Course       *Course
	Fasteners    []Fastener
	Checks       []Check
	Gauges       []Gauge         // every limit that was looked at, in the order of the stages
	Corners      []CornerSight   // of the card, also of one that is too poor to use
	Inputs       []length.Source // where each shared input of the lengths comes from, in the order of Measured.Shared
	Budget       []Share
	Stages       []Stage
	Surface      *Surface // what drawing on the photo needs; nil when refused
	// ToPicture maps a point of the surface of the open course (x along, y above
	// the butt, mm) to the picture frame; nil when refused.
	ToPicture func(x, y length.MM) Point `json:"-"`
}
