// Package inspection is the written form of a batch: inspection.json with its
// JSON Schema, and fasteners.csv. It holds what was measured and judged, not
// how; every number in it is rounded once, when the photo is built, so that
// the same photos give the same bytes.
//
// Units: millimetres with standard uncertainty (k = 1) in the JSON, inches and
// millimetres with U95 in the CSV, pixels of the upright picture with (0, 0)
// at the centre of the first pixel. A length that cannot be given is absent.
package inspection

// Format is the name and the version of the form.
const Format = "coursegauge-inspection/1"

// The two states of a photo.
const (
	Measured = "measured"
	Refused  = "refused"
)

// Document is a whole inspection.
type Document struct {
	Format   string   `json:"format"`
	Made     string   `json:"made"` // RFC 3339
	Tool     Tool     `json:"tool"`
	Schedule Schedule `json:"schedule"`
	Photos   []Photo  `json:"photos"` // by file name
	Totals   Totals   `json:"totals"`
	// NotDone are the files that the run was stopped before; absent when it went to its end.
	NotDone []string `json:"not_done,omitempty"`
}

// Tool says what made the document.
type Tool struct {
	Version    string `json:"version"`
	OpenCV     string `json:"opencv"`
	CardFormat string `json:"card_format"`
}

// Schedule names the schedule that was judged by.
type Schedule struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Title  string `json:"title"`
}

// Photo is what one photo told.
type Photo struct {
	File string `json:"file"` // UTF-8, unique in the document
	// FileBytes is there when the name is not UTF-8; see Name and Path.
	FileBytes string `json:"file_bytes,omitempty"`

	// AlsoAs are other files of the batch with the same bytes, which are not counted.
	AlsoAs []string `json:"also_as,omitempty"`

	SHA256   string      `json:"sha256"`
	Taken    string      `json:"taken,omitempty"`
	Device   string      `json:"device,omitempty"`
	Crew     string      `json:"crew,omitempty"`
	Location *Location   `json:"location,omitempty"`
	Image    *Image      `json:"image,omitempty"` // absent when the file could not be read
	Status   string      `json:"status"`
	Refusal  *Refusal    `json:"refusal,omitempty"`
	Card     *Card       `json:"card,omitempty"`
	Camera   *Camera     `json:"camera,omitempty"`
	Scale    float64     `json:"scale_px_per_mm,omitempty"`
	Tilt     *float64    `json:"tilt_deg,omitempty"`
	Course   *Course     `json:"course,omitempty"`
	Heads    []Fastener  `json:"fasteners,omitzero"` // empty, not absent, on a measured photo
	Findings []Finding   `json:"findings,omitempty"`
	Checks   []Check     `json:"checks,omitempty"`
	Budget   BudgetTable `json:"budget,omitempty"`
	Stages   []Stage     `json:"stages,omitempty"`
}

// Location is where the photo was taken, in degrees (WGS 84).
type Location struct {
	Lat float64 `json:"lat"`
	Lon float64 `json:"lon"`
}

// Image is the size of the upright picture and the EXIF orientation (1 to 8;
// 0 when the file names none) that made it upright.
type Image struct {
	Width       int `json:"width"`
	Height      int `json:"height"`
	Orientation int `json:"orientation"`
	// Decoder is the library that read the pixels, when that was not the OpenCV
	// that Tool names: "libheif 1.15.1".
	Decoder string `json:"decoder,omitempty"`
}

// Refusal says why a photo was not measured and how to retake it.
type Refusal struct {
	Reason string `json:"reason"`
	Detail string `json:"detail"`
	Advice string `json:"advice"`
}

// Card is what the printed card told.
type Card struct {
	Number     int     `json:"number"`
	Corners    int     `json:"corners"` // how many were used, of 54
	ResidualPx float64 `json:"residual_px"`
	Size       string  `json:"size"` // nominal | proved
}

// Camera is the lens after the adjustment.
type Camera struct {
	Source     string  `json:"source"`
	FocalPx    float64 `json:"focal_px,omitempty"`
	FocalU     float64 `json:"focal_u,omitempty"`
	K1         float64 `json:"k1"`
	K1U        float64 `json:"k1_u,omitempty"`
	ExifPx     float64 `json:"exif_px,omitempty"`
	DistanceMM float64 `json:"distance_mm,omitempty"`
}

// XY is a place in the picture frame, px.
type XY [2]float64

// Length is a measured length in millimetres with its standard uncertainty (k = 1).
type Length struct {
	MM float64 `json:"mm"`
	U  float64 `json:"u"`
}

// Course is the open course.
type Course struct {
	ButtPx      [2]XY        `json:"butt_px"`
	BandPx      [][]XY       `json:"band_px,omitempty"` // the lower and the upper border, each from left to right
	Pieces      []Piece      `json:"pieces,omitempty"`
	LowerJoints []LowerJoint `json:"lower_joints,omitempty"`
	Offset      *Length      `json:"offset,omitempty"`
}

// Piece is one shingle of the open course.
type Piece struct {
	ID      int     `json:"id"`
	Left    string  `json:"left"`
	Right   string  `json:"right"`
	Width   *Length `json:"width,omitempty"`
	LeftPx  XY      `json:"left_px"`
	RightPx XY      `json:"right_px"`
}

// LowerJoint is a joint of the course below, where it meets the open butt line.
type LowerJoint struct {
	Px XY `json:"px"`
}

// Fastener is one head with its lengths and its judgement.
type Fastener struct {
	ID           int     `json:"id"`
	Px           XY      `json:"px"`
	RadiusPx     float64 `json:"radius_px"`
	Score        float64 `json:"score"`
	Piece        *int    `json:"piece,omitempty"` // absent when it lies on no piece of the open course
	Exposed      bool    `json:"exposed"`
	AboveButt    *Length `json:"above_butt,omitempty"`
	LeftEnd      *Length `json:"left_end,omitempty"`
	RightEnd     *Length `json:"right_end,omitempty"`
	End          *Length `json:"end,omitempty"`
	LowerJoint   *Length `json:"lower_joint,omitempty"`
	NextJoint    *Length `json:"next_joint,omitempty"`
	HeadDiameter *Length `json:"head_diameter,omitempty"`
	// Budget splits the uncertainty of each length above, by its key.
	Budget  map[string]Contributions `json:"budget,omitempty"`
	Drive   Drive                    `json:"drive"`
	Rules   []Rule                   `json:"rules,omitempty"`
	Verdict string                   `json:"verdict"`
}

// Contributions give by source its part of a length's standard uncertainty, mm
// (k = 1). Their squares add up to the square of the length's u, up to
// rounding; a source that adds nothing is absent. The sources are those of
// length.Source.
type Contributions map[string]float64

// Drive is the drive class and the probability of each.
type Drive struct {
	Class string             `json:"class"`
	P     map[string]float64 `json:"p,omitempty"`
}

// Rule is the answer of one rule. P, the probability that the rule is broken,
// is absent when the rule was not judged.
type Rule struct {
	Rule   string   `json:"rule"`
	Result string   `json:"result"`
	P      *float64 `json:"p,omitempty"`
	Text   string   `json:"text"`
	Remedied
	Compared
}

// Remedied are the two parts of a text that says what to do: what was seen, and
// the remedy. Both are absent from one that only says what was seen.
type Remedied struct {
	Observation string `json:"observation,omitempty"`
	Remedy      string `json:"remedy,omitempty"`
}

// Compared is the length that a rule looked at and the limits it must keep,
// each absent where there is none.
type Compared struct {
	Length *Length  `json:"length,omitempty"`
	LowMM  *float64 `json:"low_mm,omitempty"`
	HighMM *float64 `json:"high_mm,omitempty"`
}

// Finding is the answer of a rule about a piece or about a joint.
type Finding struct {
	Rule   string   `json:"rule"`
	Piece  *int     `json:"piece,omitempty"`
	Joint  *int     `json:"joint,omitempty"`
	Result string   `json:"result"`
	P      *float64 `json:"p,omitempty"`
	Text   string   `json:"text"`
	Remedied
	Compared
}

// Check is one self-check with what is known beforehand.
type Check struct {
	Name string `json:"name"`
	OK   bool   `json:"ok"`
	Text string `json:"text"`
}

// BudgetTable gives by source its share of the standard uncertainty.
type BudgetTable map[string]Share

// Share is the root mean square of one source over the photo's heads, mm
// (k = 1); a kind of length to which the source adds nothing is absent.
type Share struct {
	AboveButt  float64 `json:"above_butt,omitempty"`
	End        float64 `json:"end,omitempty"`
	LowerJoint float64 `json:"lower_joint,omitempty"`
}

// Stage is the time and the count of one stage of the pipeline.
type Stage struct {
	Name         string  `json:"name"`
	Milliseconds float64 `json:"ms"`
	Kept         int     `json:"kept"`
	Dropped      int     `json:"dropped"`
}

// Totals counts the batch.
type Totals struct {
	Photos          int            `json:"photos"`
	Measured        int            `json:"measured"`
	Refused         int            `json:"refused"`
	RefusedByReason map[string]int `json:"refused_by_reason"`
	Fasteners       int            `json:"fasteners"`
	Verdicts        map[string]int `json:"verdicts"`
	SuspectsByRule  map[string]int `json:"suspects_by_rule"` // heads, pieces and joints
	Unresolved      map[string]int `json:"unresolved_by_rule"`
}
