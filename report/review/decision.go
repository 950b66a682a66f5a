// Package review keeps what people decide about an inspection: one line of
// JSON a decision in a file that only grows, the rules by which many such lines
// become the answer that stands, and the server through which a browser reads
// and adds to them.
//
// Places are in pixels of the upright photo, (0, 0) at the centre of the first.
package review

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"coursegauge/report/inspection"
)

// Format is the name and the version of a line.
const Format = "coursegauge-decision/1"

// What was decided. Undecided takes an answer back; the others are answers.
const (
	Wrong     = "wrong"    // the tool is right: a rule is broken
	Sound     = "sound"    // a false alarm
	Unsure    = "unsure"   // a person cannot tell either
	NoNail    = "no_nail"  // this is no head of a fastener
	Missed    = "missed"   // here is a head that was not found
	Complete  = "complete" // every head of this photo is found or marked
	Undecided = "open"     // undecided again
)

// maxText bounds every text of a decision, in bytes.
const maxText = 10_000

// Decision is one line: all that is needed to know who said what about what.
type Decision struct {
	Format string `json:"format"`
	ID     string `json:"id"`    // 32 hex digits, made where the decision was made
	Photo  string `json:"photo"` // SHA-256 of the photo's file
	File   string `json:"file"`  // its name in the inspection
	// Target is what it is about, within the photo: "head/5", "piece/0/gap/1"
	// (the second finding of that rule on piece 0), "joint/1/offset/0",
	// "place/812.5/430.0" (px), "photo".
	Target string         `json:"target"`
	Px     *inspection.XY `json:"px,omitempty"` // where the head was found, so that it is known again
	What   string         `json:"what"`
	Note   string         `json:"note,omitempty"`
	Who    string         `json:"who"`
	When   string         `json:"when"`           // RFC 3339 with the offset of the place
	Tool   string         `json:"tool"`           // version
	Seen   []string       `json:"seen,omitempty"` // ids of the decisions that this one follows
}

// NewID is a fresh id.
func NewID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// Key names what a decision is about among all photos.
func (d Decision) Key() string { return d.Photo + "/" + d.Target }

// The targets of an inspection.
func HeadTarget(id int) string { return fmt.Sprintf("head/%d", id) }

// PlaceTarget is a place on the photo to a tenth of a pixel.
func PlaceTarget(p inspection.XY) string { return fmt.Sprintf("place/%.1f/%.1f", p[0], p[1]) }

// photoTarget is the photo as a whole.
const photoTarget = "photo"

// FindingTargets names the findings of a photo in their order.
func FindingTargets(findings []inspection.Finding) []string {
	count, out := map[string]int{}, make([]string, len(findings))
	for i, f := range findings {
		about := photoTarget
		switch {
		case f.Joint != nil:
			about = fmt.Sprintf("joint/%d", *f.Joint)
		case f.Piece != nil:
			about = fmt.Sprintf("piece/%d", *f.Piece)
		}
		about += "/" + f.Rule
		out[i] = fmt.Sprintf("%s/%d", about, count[about])
		count[about]++
	}
	return out
}

// Parse reads one line and refuses what is not of this form.
func Parse(line []byte) (Decision, error) {
	var d Decision
	dec := json.NewDecoder(bytes.NewReader(line))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		return Decision{}, err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Decision{}, errors.New("more text after the decision")
	}
	return d, d.check()
}

// line is the decision as it is written, ended by a newline.
func (d Decision) line() ([]byte, error) {
	b, err := json.Marshal(d)
	return append(b, '\n'), err
}

func (d Decision) check() error {
	if d.Format != Format {
		return fmt.Errorf("format is %.40q; this version reads %q", d.Format, Format)
	}
	if !isHex(d.ID, 32) || !isHex(d.Photo, 64) {
		return errors.New("id must have 32 and photo 64 digits 0-9 a-f")
	}
	for _, id := range d.Seen {
		if !isHex(id, 32) {
			return fmt.Errorf("seen holds %.40q, which is no id", id)
		}
	}
	if len(d.Seen) > 100 {
		return errors.New("seen holds more than 100 ids")
	}
	for name, s := range map[string]string{"file": d.File, "target": d.Target, "note": d.Note, "who": d.Who, "tool": d.Tool} {
		if len(s) > maxText || !utf8.ValidString(s) {
			return fmt.Errorf("%s must be UTF-8 of at most %d bytes", name, maxText)
		}
	}
	if _, err := time.Parse(time.RFC3339Nano, d.When); err != nil {
		return fmt.Errorf("when is %.40q; a time as 2026-05-04T17:30:00+02:00 is needed", d.When)
	}
	return d.checkWhat()
}

// checkWhat holds the answer against what it is about.
func (d Decision) checkWhat() error {
	kind, rest, _ := strings.Cut(d.Target, "/")
	allowed, formed := "", false
	switch kind {
	case "head":
		_, err := strconv.ParseUint(rest, 10, 31)
		allowed, formed = "wrong sound unsure no_nail open", err == nil
	case "piece", "joint":
		allowed, formed = "wrong sound unsure open", strings.Count(rest, "/") == 2
	case "place":
		_, ok := d.Place()
		allowed, formed = "missed open", ok
	case "photo":
		allowed, formed = "complete open", rest == ""
		if rest != "" {
			allowed, formed = "wrong sound unsure open", strings.Count(rest, "/") == 1
		}
	}
	if !formed {
		return fmt.Errorf("target is %.60q; it is head/N, piece/N/RULE/N, joint/N/RULE/N, place/X/Y or photo", d.Target)
	}
	for _, w := range strings.Fields(allowed) {
		if d.What == w {
			return nil
		}
	}
	return fmt.Errorf("what is %.40q; of %s it can be %s", d.What, kind, strings.ReplaceAll(allowed, " ", ", "))
}

// Place is where a place/X/Y lies.
func (d Decision) Place() (inspection.XY, bool) {
	words := strings.Split(d.Target, "/")
	if len(words) != 3 || words[0] != "place" {
		return inspection.XY{}, false
	}
	x, errX := strconv.ParseFloat(words[1], 64)
	y, errY := strconv.ParseFloat(words[2], 64)
	ok := errX == nil && errY == nil && math.Abs(x) < 1e6 && math.Abs(y) < 1e6
	return inspection.XY{x, y}, ok
}

func isHex(s string, n int) bool {
	if len(s) != n {
		return false
	}
	for _, c := range s {
		if !strings.ContainsRune("0123456789abcdef", c) {
			return false
		}
	}
	return true
}
