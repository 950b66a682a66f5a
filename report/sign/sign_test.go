package sign

import (
	"maps"
	"slices"
	"testing"
)

// The shapes by hand: corners at 1.5, 1.1 and 1.4 of the size.
func TestPath(t *testing.T) {
	for _, c := range []struct{ verdict, name, path, from string }{
		{Suspect, "diamond", "M0 -6L6 0L0 6L-6 0Z", "m0 -6l6 6l-6 6l-6 -6z"},
		{Unresolved, "square", "M-4.4 -4.4L4.4 -4.4L4.4 4.4L-4.4 4.4Z", "m-4.4 -4.4l8.8 0l0 8.8l-8.8 0z"},
		{Clear, "circle", "M-4 0A4 4 0 1 1 4 0A4 4 0 1 1 -4 0Z", "h0"},
		{NotJudged, "triangle", "M0 -5.6L5.2 3.6L-5.2 3.6Z", "m0 -5.6l5.2 9.2l-10.4 0z"},
		{Missed, "cross", "M-5.6 0L5.6 0M0 -5.6L0 5.6", "m-5.6 0l11.2 0m-5.6 -5.6l0 11.2"},
		{"unheard of", "triangle", "M0 -5.6L5.2 3.6L-5.2 3.6Z", "m0 -5.6l5.2 9.2l-10.4 0z"},
	} {
		if n, p, f := Name(c.verdict), Path(c.verdict, 4), From(c.verdict, 4); n != c.name || p != c.path || f != c.from {
			t.Errorf("%s: %s, %s, %s", c.verdict, n, p, f)
		}
	}
}

// One shape, one meaning.
func TestNoTwoAlike(t *testing.T) {
	seen := map[string]string{}
	for _, verdict := range slices.Sorted(maps.Keys(signs)) {
		for _, s := range []string{Name(verdict), Path(verdict, 3)} {
			if other := seen[s]; other != "" {
				t.Errorf("%s and %s are both %s", verdict, other, s)
			}
			seen[s] = verdict
		}
	}
}
