package judge_test

import (
	"strings"
	"testing"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
)

// Every rule has its texts, and every text its rule; a key of a rule is one of
// the schedule's.
func TestRegistryIsComplete(t *testing.T) {
	for _, r := range judge.Rules() {
		texts, ok := judge.TextsOf(r.ID)
		if !ok {
			t.Errorf("rule %s has no texts", r.ID)
		}
		if r.Remedy == "" || len(r.Needs) == 0 {
			t.Errorf("rule %s: remedy %q, needs %v", r.ID, r.Remedy, r.Needs)
		}
		said := 0
		for _, l := range []judge.Lines{texts.Head, texts.Piece} {
			l.Each(func(x judge.Text) {
				said++
				if x.Spanish == "" {
					t.Errorf("rule %s: %q has no Spanish", r.ID, x.English)
				}
			})
		}
		if said == 0 || texts.Label == "" || texts.Site.English == "" || texts.Site.Spanish == "" {
			t.Errorf("rule %s: %d lines of the list, label %q, on site %q", r.ID, said, texts.Label, texts.Site)
		}
		for _, key := range r.Keys {
			if _, err := schedule.Read("s", []byte(strings.Replace(key, ".", ": {", 1)+": x}")); err == nil || strings.Contains(err.Error(), "unknown key") {
				t.Errorf("rule %s: key %s: %v", r.ID, key, err)
			}
		}
	}
	for _, x := range judge.AllTexts() {
		if _, ok := judge.Find(x.Rule); !ok {
			t.Errorf("texts of %s, which is no rule", x.Rule)
		}
	}
}

// The line of a length names the limit that it breaks.
func TestLines(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		rule          string
		mm, low, high *float64
		class         string
		what, do      string
		limit         float64 // 0 for none
	}{
		{"height", number(190), number(150), number(178), "", "too high", "Set a further nail inside", 178},
		{"height", number(140), number(150), number(178), "", "too low", "Take it out", 150},
		{"height", number(150), number(150), number(178), "", "height above the butt edge not certain", "Take it out", 0},
		{"height", number(178), number(150), number(178), "", "height above the butt edge not certain", "Take it out", 0},
		{"height", nil, nil, nil, "", "height above the butt edge not certain", "Take it out", 0},
		{"drive", nil, nil, nil, "cocked", "driven at a slant", "Take it out", 0},
		{"drive", nil, nil, nil, "flush", "how it is driven is not certain", "", 0},
		{"exposed", number(-3), number(0), nil, "", "below the butt edge", "Take it out", 0},
	} {
		texts, _ := judge.TextsOf(c.rule)
		line, limit := texts.Head.Of(c.mm, c.low, c.high, c.class)
		got := 0.0
		if limit != nil {
			got = *limit
		}
		if !strings.HasPrefix(line.What.English, c.what) || !strings.HasPrefix(line.Do.English, c.do) || (c.do == "") != (line.Do.English == "") || got != c.limit {
			t.Errorf("%s: %q, %q, limit %v; want %q, %q, %v", c.rule, line.What.English, line.Do.English, got, c.what, c.do, c.limit)
		}
	}
}
