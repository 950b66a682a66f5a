package record

import (
	"strings"
	"testing"

	"coursegauge/report/inspection"
)

// A reason ends at the first semicolon of the sentence, not at one in brackets.
func TestFirstPart(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"too low: 5.1 in; nail it again", "too low: 5.1 in"},
		{"too low (5.1 in; the band begins at 5.9 in); nail it again", "too low (5.1 in; the band begins at 5.9 in)"},
		{"too low (5.1 in (U95 .1; k 2); and so on)", "too low (5.1 in (U95 .1; k 2); and so on)"},
		{"odd) text; more", "odd) text"},
		{"a;b", "a;b"},
		{"open (bracket; never closed", "open (bracket; never closed"},
		{"plain", "plain"}, {"", ""},
	} {
		if got := firstPart(c.text); got != c.want {
			t.Errorf("%q: %q, want %q", c.text, got, c.want)
		}
	}
}

// What is said of the card counts the photos that were measured, all of them and
// no others.
func TestCardWords(t *testing.T) {
	photo := func(status string, size string) inspection.Photo {
		p := inspection.Photo{Status: status}
		if size != "" {
			p.Card = &inspection.Card{Size: size}
		}
		return p
	}
	measured := func(sizes ...string) (out []inspection.Photo) {
		for _, s := range sizes {
			out = append(out, photo(inspection.Measured, s))
		}
		return out
	}
	refused := []inspection.Photo{photo(inspection.Refused, "nominal"), photo(inspection.Refused, "proved"), photo(inspection.Refused, "")}
	for _, c := range []struct {
		photos []inspection.Photo
		want   string
	}{
		{measured("nominal", "proved", "proved"), "in 2 of 3 measured photos; in the others it counts"},
		{measured("nominal", "nominal"), "nobody measured it"},
		{measured("proved"), "with a steel rule in every measured photo"},
		{nil, ""},
	} {
		for _, photos := range [][]inspection.Photo{c.photos, append(c.photos[:len(c.photos):len(c.photos)], refused...)} {
			if got := cardWords(photos); !strings.Contains(got, c.want) || (got == "") != (c.want == "") {
				t.Errorf("%d photos: %q, want %q", len(photos), got, c.want)
			}
		}
	}
}

// A row holds whole reasons and counts the others; no word is cut where there are several.
func TestFindingRow(t *testing.T) {
	half, long := strings.Repeat("word ", longestWhat/10-5)+"end", strings.Repeat("word ", longestWhat/5)+"end"
	for _, c := range []struct {
		first string
		then  []string
		want  string
	}{
		{"too low", nil, "too low"},
		{"too low", []string{"too near"}, "too low; too near"},
		{half, []string{half}, half + "; " + half},
		{half, []string{half, half}, half + "; " + half + "; and one more limit"},
		{half, []string{long, "short", "short"}, half + "; and 3 more limits"},
		{long, nil, strings.TrimSuffix(strings.Repeat("word ", longestWhat/5-1), " ") + " …"},
		{strings.Repeat("x", longestWhat+9), nil, strings.Repeat("x", longestWhat-1) + "…"},
		{long, []string{"short"}, strings.TrimSuffix(strings.Repeat("word ", (longestWhat-len("; and one more limit"))/5-1), " ") + " …; and one more limit"},
	} {
		r := findingRow{What: cutAtWord(c.first, longestWhat)}
		for _, reason := range c.then {
			r.add(reason)
		}
		if got := r.whole(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
