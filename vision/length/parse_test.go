package length_test

import (
	"math"
	"strings"
	"testing"

	"coursegauge/vision/length"
)

func TestParse(t *testing.T) {
	// Values by hand from 1 in = 25.4 mm exactly.
	for _, c := range []struct {
		text string
		want length.MM
	}{
		{"5-5/8 in", 142.875},
		{"5 5/8 in", 142.875},
		{"5  5/8 in", 142.875},
		{"5.625 in", 142.875},
		{"5.625in", 142.875},
		{`5-5/8"`, 142.875},
		{"3/8 in", 9.525},
		{"9/8 in", 28.575},
		{"39-3/8 in", 1000.125},
		{"13-1/4 in", 336.55},
		{".5 in", 12.7},
		{"143 mm", 143},
		{"14.3 cm", 143},
		{"3 ft", 914.4},
		{"1-1/2 ft", 457.2},
		{" 0.10 in ", 2.54},
		{"0 mm", 0},
	} {
		got, err := length.Parse(c.text)
		if err != nil || math.Abs(float64(got-c.want)) > 1e-9 {
			t.Errorf("Parse(%q) = %v, %v; want %v", c.text, got, err, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for text, say := range map[string]string{
		"":                 "no unit",
		"5-5/8":            "no unit",
		"5 in in":          "not a plain number",
		"5 inches":         "unknown unit",
		"5 IN":             "unknown unit",
		"5'":               "unknown unit",
		"in":               "no number",
		"-5 in":            "no sign",
		"+5 in":            "no sign",
		"NaN in":           "not a plain number",
		"Inf mm":           "not a plain number",
		"1e3 mm":           "not a plain number",
		"0x10 mm":          "not a plain number",
		"1_000 mm":         "not a plain number",
		"5,625 in":         "not a plain number",
		"5. in":            "not a plain number",
		"5/0 in":           "divides by zero",
		"5-9/8 in":         "not under 1",
		"5--5/8 in":        "not a plain number",
		"5-5/ in":          "not a plain number",
		"5.5-5/8 in":       "not a plain number",
		"1/2/3 in":         "not a plain number",
		"100001 mm":        "over 100 m",
		"٣ in":             "not a plain number",
		"5 in ± 1 in":      "not a plain number",
		"99999999999 ft":   "over 100 m",
		"5-5/8 mm\n6-1 in": "not a plain number",
	} {
		got, err := length.Parse(text)
		switch {
		case err == nil:
			t.Errorf("Parse(%q) = %v, want an error", text, got)
		case !strings.Contains(err.Error(), say):
			t.Errorf("Parse(%q): %v; want it to say %q", text, err, say)
		case strings.ContainsAny(err.Error(), "\n\r"):
			t.Errorf("Parse(%q): error of more than one line: %q", text, err)
		}
	}
}

// FuzzParse looks for a text that is taken but is no length, and for an error
// of more than one line.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"5-5/8 in", `5 5/8"`, "143 mm", "3/8 in", "-1 in", "1e9 ft", "NaN in", "5/0 in", "in"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := length.Parse(s)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("Parse(%q): error of more than one line", s)
			}
			return
		}
		if !(m >= 0 && m <= length.Longest) {
			t.Fatalf("Parse(%q) = %v", s, m)
		}
		again, err := length.Parse(length.Sixteenths(m))
		if err != nil && m < length.Longest || math.Abs(float64(again-m)) > float64(length.Inch)/32*(1+1e-9) && m < length.Longest {
			t.Fatalf("Parse(Sixteenths(%v)) = %v, %v", m, again, err)
		}
	})
}

func TestPrint(t *testing.T) {
	const inch = length.Inch
	for _, c := range []struct{ got, want string }{
		{length.Inches(7.21 * inch), "7.21 in"},
		{length.Inches(142.875), "5.63 in"}, // 5-5/8
		{length.Inches(-142.875), "-5.63 in"},
		{length.Inches(7.375 * inch), "7.38 in"},
		{length.Inches(0), "0.00 in"},
		{length.Inches(-0.001 * inch), "0.00 in"},
		{length.Inches(-1 * inch), "-1.00 in"},
		{length.Millimetres(183.13), "183.1 mm"},
		{length.Sixteenths(142.875), "5-5/8 in"},
		{length.Sixteenths(7.21 * inch), "7-3/16 in"}, // 7.1875 is nearest
		{length.Sixteenths(9.525), "3/8 in"},
		{length.Sixteenths(6.98 * inch), "7 in"},
		{length.Sixteenths(-9.525), "-3/8 in"},
		{length.Sixteenths(-0.1), "0 in"},
		{length.New(7.21*inch, 0.04*inch/length.K95).String(), "7.21 in ± 0.04 in"},
		{length.New(7.21*inch, 0.0001).String(), "7.21 in ± 0.01 in"},
		{length.New(7.21*inch, 0).String(), "7.21 in ± 0.00 in"},
		{length.New(183.134, 1/length.K95).StringMM(), "183.1 mm ± 1.0 mm"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
