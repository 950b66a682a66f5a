package page

import "coursegauge/report/judge"

// findingLine is a rule's answer: what was seen, what to do about it, and how
// probable it is that the rule is broken, in words and in percent.
type findingLine struct{ Rule, Result, Text, Do, Chance, P string }

// findingLines are the answers that a person must look at.
func findingLines(in []judge.Finding) (out []findingLine) {
	for _, f := range in {
		if needsLook(string(f.Result)) {
			out = append(out, findingLine{capital(RuleWords(f.Rule)), say(resultWords, string(f.Result)), sentence(capital(f.Observation)), sentence(capital(f.Remedy)), chance(f.P), percent(f.P)})
		}
	}
	return out
}
