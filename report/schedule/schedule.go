// Package schedule reads the file of a job that says what was installed and
// what counts: the product, the band for the heads, the limits at ends and
// joints, and how sure a judgement must be. In: the bytes of a YAML file. Out:
// a Schedule with every length in millimetres and every default marked, or one
// line that says where the file is wrong and what would be legal.
package schedule

import (
	_ "embed"
	"slices"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

// Schema is the JSON Schema (2020-12) of the file, for editors and other
// tools. It cannot compare two values, so Read refuses more than it does: a
// low over a high, an exposure over the height and the like.
//
//go:embed schedule.schema.json
var Schema []byte

// Practice is the mark that a default carries into reports.
const Practice = "common practice, check the product's instructions"

// Schedule is one job's file. Lengths are millimetres.
type Schedule struct {
	File   string // as given to Read
	SHA256 string // of the file's bytes, lower-case hex

	Title      string
	Shingle    Shingle
	Band       Range // a head's centre above the butt edge of its piece
	Fasteners  Fasteners
	Ends       struct{ Min, Max length.MM } // outermost heads to the ends of the piece
	Joints     Joints
	Cut        Cut
	NextCourse NextCourse
	Decision   Decision
	Source     string // where the figures come from, free text

	// Defaults lists the keys ("joints.clearance") that the file leaves out
	// and whose value is therefore Practice, in the order of the file's form.
	Defaults []string
}

// Shingle is what the wrapper says.
type Shingle struct {
	Name                         string
	Family                       vision.Family
	Width, Height, Exposure, Ply length.MM
}

// Range is a pair of limits, Low under High.
type Range struct{ Low, High length.MM }

// Fasteners says how many a full piece needs and how small a head may be.
type Fasteners struct {
	PerPiece     int
	HeadDiameter length.MM
}

// Joints holds the least distance of a head to a joint of the neighbouring
// courses, and of the joints of two neighbouring courses to each other.
type Joints struct{ Clearance, Offset length.MM }

// Cut holds what counts for pieces that were cut.
type Cut struct {
	Narrowest, Short length.MM
	ShortCount       int
	ShortGap         length.MM
}

// NextCourse says how the joints of the next course will lie. Unknown is set
// when nobody can tell.
type NextCourse struct {
	Unknown bool
	Stagger vision.Stagger
}

// Decision holds the probabilities of a broken rule at or over which a head
// is suspect, and at or under which it is clear.
type Decision struct{ Suspect, Clear float64 }

// Product is what the measurement may know beforehand.
func (s Schedule) Product() vision.Product {
	return vision.Product{
		Family: s.Shingle.Family,
		Width:  s.Shingle.Width, Height: s.Shingle.Height, Exposure: s.Shingle.Exposure, Ply: s.Shingle.Ply,
		BandLow: s.Band.Low, BandHigh: s.Band.High,
		HeadDiameter: s.Fasteners.HeadDiameter,
		Stagger:      s.NextCourse.Stagger,
	}
}

// IsDefault tells whether the value of a key ("joints.clearance") is a default.
func (s Schedule) IsDefault(key string) bool { return slices.Contains(s.Defaults, key) }

// Limit is one limit of a schedule for readers of a report.
type Limit struct {
	Key, Label string
	Value      any // length.MM, int, float64 (a probability) or NextCourse
	Default    bool
}

// Limits are the limits in the order of the file.
func (s Schedule) Limits() (out []Limit) {
	for _, f := range fields {
		if f.label != "" {
			out = append(out, Limit{f.key, f.label, f.get(s), s.IsDefault(f.key)})
		}
	}
	return out
}
