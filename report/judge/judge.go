// Package judge says which heads and pieces of a photo a person must look at.
// In: a schedule and what one photo told, all of it lengths with their
// uncertainty. Out: for every rule the probability that it is broken (JCGM
// 106:2012, 7.2 and 7.3, for a normal distribution), what follows from it, and
// what was seen and what is usually done about it. It marks; people decide.
//
// To add a rule: a file of its own that registers it, its limits in
// report/schedule, and its texts in texts.go.
package judge

import (
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// Result is what follows from the probability that a rule is broken.
type Result string

// The results, the worst first. NotJudged means that the rule lacks its input.
const (
	Suspect    Result = "suspect"
	Unresolved Result = "unresolved"
	Clear      Result = "clear"
	NotJudged  Result = "not_judged"
)

// Finding is one rule's answer.
type Finding struct {
	Rule   string
	Result Result
	P      float64 // probability that the rule is broken; 0 and without meaning when not judged

	// What was seen, in plain words and inches, no markup; and what a person is to
	// do about it, "" where there is nothing to do.
	Observation, Remedy string

	Length              *length.Measured // what was compared; nil when nothing was measured
	LimitLow, LimitHigh *length.MM       // the limits it was compared with; nil where there is none
}

// Text is the whole of a finding as one sentence.
func (f Finding) Text() string {
	if f.Remedy == "" {
		return f.Observation
	}
	return f.Observation + "; " + f.Remedy
}

// Head is one head with the findings of all rules that concern it: an inner
// head has no `end`.
type Head struct {
	Fastener vision.Fastener
	Findings []Finding
	Verdict  Result // suspect, unresolved or clear
}

// PieceFinding is a finding about a piece or a joint rather than a head.
type PieceFinding struct {
	Finding
	Piece int // Piece.ID, or -1
	Joint int // index into Course.LowerJoints, or -1
}

// Photo is the judgement of one photo.
type Photo struct {
	Heads  []Head // in the order of Result.Fasteners
	Pieces []PieceFinding
}

// Judge applies all rules. A refused photo gives an empty judgement.
func Judge(s schedule.Schedule, r *vision.Result) Photo {
	if r == nil || r.Refusal != nil || r.Course == nil {
		return Photo{}
	}
	c, rules := newScene(s, r), Rules()
	var out Photo
	for i, f := range r.Fasteners {
		h := Head{Fastener: f}
		for _, rule := range rules {
			if rule.head == nil {
				continue
			}
			if finding, ok := rule.head(c, i); ok {
				h.Findings = append(h.Findings, finding)
			}
		}
		h.Verdict = Verdict(h.Findings)
		out.Heads = append(out.Heads, h)
	}
	for _, rule := range rules {
		if rule.pieces != nil {
			out.Pieces = append(out.Pieces, rule.pieces(c)...)
		}
	}
	return out
}

// Verdict is the worst of the findings. A head whose height could not be
// judged is never clear: nobody knows whether it lies in the band.
func Verdict(findings []Finding) Result {
	worst, placed := Clear, false
	for _, f := range findings {
		switch {
		case f.Result == Suspect:
			return Suspect
		case f.Result == Unresolved:
			worst = Unresolved
		case f.Rule == "height" && f.Result == Clear:
			placed = true
		}
	}
	if !placed {
		return Unresolved
	}
	return worst
}

// decide turns a probability into a result. Anything that is no probability
// (NaN) is unresolved.
func decide(d schedule.Decision, p float64) Result {
	switch {
	case p >= d.Suspect:
		return Suspect
	case p <= d.Clear:
		return Clear
	}
	return Unresolved
}
