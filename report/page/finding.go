package page

import (
	"strings"

	"coursegauge/report/judge"
)

// findingLine is a rule's answer: what was seen, what to do about it, and how
// probable it is that the rule is broken, in words and in percent.
type findingLine struct{ Rule, Result, Text, Do, Chance, P string }

// findingLines are the answers that a person must look at.
func findingLines(in []judge.Finding) (out []findingLine) {
	for _, f := range in {
		if needsLook(string(f.Result)) {
			seen, do := parted(f.Text)
			out = append(out, findingLine{capital(say(ruleWords, f.Rule)), say(resultWords, string(f.Result)), sentence(capital(seen)), sentence(capital(do)), chance(f.P), percent(f.P)})
		}
	}
	return out
}

// parted splits a rule's sentence into what was seen and what to do.
func parted(text string) (seen, do string) {
	for _, begin := range []string{"; common practice is to ", "; common practice is ", "; the photo cannot tell"} {
		if i := strings.LastIndex(text, begin); i >= 0 {
			return text[:i], text[i+2:]
		}
	}
	return text, ""
}
