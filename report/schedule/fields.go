package schedule

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

// field is one key of the file: how its text becomes a value of a Schedule.
// A field that is not required and has no fallback may be left empty.
type field struct {
	key      string // "section.name", or "name" at the top
	label    string // what it limits, for readers of a report; "" for what is no limit
	required bool
	fallback string // the default, as one would write it in the file
	kind
}

// kind says how a value is read from the file, and what it is in a Schedule.
type kind struct {
	set func(s *Schedule, v scalar) error
	get func(s Schedule) any
}

// scalar is a value as it stands in the file.
type scalar struct {
	text   string
	number bool // written without quotes and without a unit
}

// fields is the form of the file, in the order in which people write it. The
// defaults are common practice without a source: they carry the mark Practice.
var fields = []field{
	{key: "title", kind: words(func(s *Schedule) *string { return &s.Title })},
	{key: "product.name", kind: words(func(s *Schedule) *string { return &s.Shingle.Name })},
	{key: "product.family", required: true, kind: kind{set: setFamily}},
	{key: "product.width", label: "width of a piece", required: true, kind: span(func(s *Schedule) *length.MM { return &s.Shingle.Width })},
	{key: "product.height", label: "height of a piece", required: true, kind: span(func(s *Schedule) *length.MM { return &s.Shingle.Height })},
	{key: "product.exposure", label: "exposure", required: true, kind: span(func(s *Schedule) *length.MM { return &s.Shingle.Exposure })},
	{key: "product.ply", label: "thickness of one layer", fallback: "0.10 in", kind: span(func(s *Schedule) *length.MM { return &s.Shingle.Ply })},
	{key: "band.low", label: "band begins above the butt", required: true, kind: span(func(s *Schedule) *length.MM { return &s.Band.Low })},
	{key: "band.high", label: "band ends above the butt", required: true, kind: span(func(s *Schedule) *length.MM { return &s.Band.High })},
	{key: "fasteners.per_piece", label: "heads in a full piece, at least", required: true, kind: count(2, 24, func(s *Schedule) *int { return &s.Fasteners.PerPiece })},
	{key: "fasteners.head_diameter", label: "diameter of a head, at least", fallback: "3/8 in", kind: span(func(s *Schedule) *length.MM { return &s.Fasteners.HeadDiameter })},
	{key: "ends.min", label: "outermost heads from the end, at least", fallback: "3/4 in", kind: span(func(s *Schedule) *length.MM { return &s.Ends.Min })},
	{key: "ends.max", label: "outermost heads from the end, at most", fallback: "1-1/2 in", kind: span(func(s *Schedule) *length.MM { return &s.Ends.Max })},
	{key: "joints.clearance", label: "head from a joint of the next course, at least", fallback: "2 in", kind: span(func(s *Schedule) *length.MM { return &s.Joints.Clearance })},
	{key: "joints.offset", label: "joints of neighbouring courses apart, at least", fallback: "4 in", kind: span(func(s *Schedule) *length.MM { return &s.Joints.Offset })},
	{key: "cut.narrowest", label: "narrowest piece", fallback: "6 in", kind: span(func(s *Schedule) *length.MM { return &s.Cut.Narrowest })},
	{key: "cut.short", label: "a short piece is under", fallback: "24 in", kind: span(func(s *Schedule) *length.MM { return &s.Cut.Short })},
	{key: "cut.short_count", label: "heads in a short piece, at least", fallback: "3", kind: count(2, 24, func(s *Schedule) *int { return &s.Cut.ShortCount })},
	{key: "cut.short_gap", label: "heads of a short piece apart, at most", fallback: "12 in", kind: span(func(s *Schedule) *length.MM { return &s.Cut.ShortGap })},
	{key: "next_course.stagger", label: "stagger of the next course", fallback: "observed", kind: kind{setStagger, func(s Schedule) any { return s.NextCourse }}},
	{key: "decision.suspect", label: "suspect from a probability of", fallback: "0.5", kind: probability(func(s *Schedule) *float64 { return &s.Decision.Suspect })},
	{key: "decision.clear", label: "clear up to a probability of", fallback: "0.05", kind: probability(func(s *Schedule) *float64 { return &s.Decision.Clear })},
	{key: "source", kind: words(func(s *Schedule) *string { return &s.Source })},
}

// words takes free text of one line.
func words(to func(*Schedule) *string) kind {
	return kind{set: func(s *Schedule, v scalar) error {
		if strings.ContainsFunc(v.text, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == 0x7f }) {
			return fmt.Errorf("%s holds a control character; write plain text", shorten(v.text))
		}
		*to(s) = strings.Join(strings.Fields(v.text), " ")
		return nil
	}}
}

// span takes a length over zero.
func span(to func(*Schedule) *length.MM) kind {
	return kind{get: func(s Schedule) any { return *to(&s) }, set: func(s *Schedule, v scalar) error {
		m, err := length.Parse(v.text)
		switch {
		case err != nil:
			return errors.New(strings.TrimPrefix(err.Error(), "length "))
		case m == 0:
			return fmt.Errorf(`%s is no length; write one over zero, as in "5-5/8 in"`, shorten(v.text))
		}
		*to(s) = m
		return nil
	}}
}

// count takes a whole number from low to high.
func count(low, high int, to func(*Schedule) *int) kind {
	return kind{get: func(s Schedule) any { return *to(&s) }, set: func(s *Schedule, v scalar) error {
		n, err := strconv.Atoi(v.text)
		if err != nil || !v.number || n < low || n > high || strconv.Itoa(n) != v.text {
			return fmt.Errorf("%s is not a whole number from %d to %d", shorten(v.text), low, high)
		}
		*to(s) = n
		return nil
	}}
}

// probability takes a decimal from 0 to 1.
func probability(to func(*Schedule) *float64) kind {
	return kind{get: func(s Schedule) any { return *to(&s) }, set: func(s *Schedule, v scalar) error {
		p, err := strconv.ParseFloat(v.text, 64)
		if err != nil || !v.number || !(p >= 0 && p <= 1) {
			return fmt.Errorf("%s is not a probability from 0 to 1", shorten(v.text))
		}
		*to(s) = p
		return nil
	}}
}

func setFamily(s *Schedule, v scalar) error {
	legal := []string{string(vision.Laminated), string(vision.ThreeTab)}
	for _, name := range legal {
		if v.text == name {
			s.Shingle.Family = vision.Family(name)
			return nil
		}
	}
	return fmt.Errorf("%s is no family; legal values are %s%s", shorten(v.text), strings.Join(legal, ", "), didYouMean(v.text, legal))
}

func setStagger(s *Schedule, v scalar) error {
	switch v.text {
	case "observed":
		s.NextCourse = NextCourse{Stagger: vision.Stagger{Observed: true}}
		return nil
	case "unknown":
		s.NextCourse = NextCourse{Unknown: true}
		return nil
	}
	m, err := length.Parse(v.text)
	if err != nil || m == 0 {
		hint := didYouMean(v.text, []string{"observed", "unknown"})
		return fmt.Errorf(`%s is no stagger; legal values are observed, unknown, or a length as in "5-5/8 in"%s`, shorten(v.text), hint)
	}
	s.NextCourse = NextCourse{Stagger: vision.Stagger{Length: m}}
	return nil
}

// shorten quotes a value for a message of one line.
func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "..."
	}
	return strconv.Quote(s)
}
