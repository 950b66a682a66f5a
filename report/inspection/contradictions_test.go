package inspection

import (
	"testing"

	"coursegauge/report/schedule"
)

// The rule of the ends is held to the head's own distances and to the schedule's limits.
func TestEndsAreHeld(t *testing.T) {
	limits, err := schedule.Read("s.yaml", []byte("title: t\nproduct: {family: laminated, width: 39-3/8 in, height: 13-1/4 in, exposure: 5-5/8 in}\nband: {low: 5.9 in, high: 7.0 in}\nfasteners: {per_piece: 4}\n"))
	if err != nil {
		t.Fatal(err)
	}
	low, high := float64(limits.Ends.Min), float64(limits.Ends.Max)
	other := low + 1
	at := func(mm float64) *Length { return &Length{MM: mm, U: 0.5} }
	for _, c := range []struct {
		name string
		rule Rule
		left *Length
		ok   bool
	}{
		{"clear between the limits", endRule("clear", at((low+high)/2), &low, &high), at((low + high) / 2), true},
		{"suspect beyond", endRule("suspect", at(high+5), &low, &high), at(high + 5), true},
		{"clear beyond", endRule("clear", at(high+5), &low, &high), at(high + 5), false},
		{"clear too near", endRule("clear", at(low-5), &low, nil), at(low - 5), false},
		{"another length", endRule("clear", at((low+high)/2), &low, &high), at(high + 5), false},
		{"another limit", endRule("clear", at((low+high)/2), &other, &high), at((low + high) / 2), false},
		{"no length", endRule("not_judged", nil, nil, nil), nil, true},
	} {
		if got := endAgainst(c.rule, Fastener{LeftEnd: c.left}, limits); (got == "") != c.ok {
			t.Errorf("%s: %q", c.name, got)
		}
	}
}

func endRule(result string, l *Length, low, high *float64) Rule {
	return Rule{Rule: "end", Result: result, Compared: Compared{Length: l, LowMM: low, HighMM: high}}
}
