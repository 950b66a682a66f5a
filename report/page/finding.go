package page

import (
	"fmt"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
)

// findingLine is a rule's answer; About names the piece or joint, "" for a head.
type findingLine struct{ About, Rule, Result, Text, P string }

// findingLines are the rules about a head that a person must look at.
func findingLines(in []judge.Finding) (out []findingLine) {
	for _, f := range in {
		if needsLook(string(f.Result)) {
			out = append(out, findingLine{"", capital(say(ruleWords, f.Rule)), say(resultWords, string(f.Result)), sentence(f.Text), percent(f.P)})
		}
	}
	return out
}

// findingsOf are those about pieces and joints.
func findingsOf(in []inspection.Finding) (out []findingLine) {
	for _, f := range in {
		if needsLook(f.Result) {
			l := findingLine{About: capital(about(f)), Rule: say(ruleWords, f.Rule), Result: say(resultWords, f.Result), Text: sentence(f.Text)}
			if f.P != nil {
				l.P = percent(*f.P)
			}
			out = append(out, l)
		}
	}
	return out
}

// about names what a finding that is no head's is about.
func about(f inspection.Finding) string {
	switch {
	case f.Joint != nil:
		return fmt.Sprintf("lower joint %d", *f.Joint)
	case f.Piece != nil:
		return fmt.Sprintf("piece %d", *f.Piece)
	}
	return ""
}

// brief is the first part of a rule's sentence: what was seen, without what
// practice does about it.
func brief(text string) string {
	seen, _, _ := strings.Cut(text, "; common practice")
	return seen
}
