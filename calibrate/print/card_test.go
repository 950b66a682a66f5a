package print

import (
	"math"
	"strings"
	"testing"

	"coursegauge/vision"
	"coursegauge/vision/plane"
)

func TestNew(t *testing.T) {
	for _, c := range []struct {
		r        Reading
		x, y     float64 // printed over nominal, by hand
		res      float64 // mm
		says     string  // of the error
		wrong    string  // of the refusal
		thick, u float64
	}{
		{r: Reading{Number: 3, Long: "10.02in"}, x: 1.002, y: 1.002, res: 25.4 / 64},
		{r: Reading{Number: 3, Long: "254.5mm"}, x: 254.5 / 254, y: 254.5 / 254, res: 25.4 / 64},
		{r: Reading{Number: 3, Long: "10-1/32 in", Short: "7-1/64in"}, x: 10.03125 / 10, y: 7.015625 / 7, res: 25.4 / 32},
		{r: Reading{Number: 0, Long: "254.50mm", Resolution: "0.05mm", Thickness: "3.2mm"}, x: 254.5 / 254, y: 254.5 / 254, res: .05, thick: 3.2, u: .25 / math.Sqrt(12)},
		{r: Reading{Number: 27, Long: "9.5in"}, wrong: "5.0 % too small"},
		{r: Reading{Number: 27, Long: "10.4in"}, wrong: "4.0 % too large"},
		{r: Reading{Number: 27, Long: "10.10in", Short: "6.95in"}, wrong: "too long for its height"},
		{r: Reading{Number: 27, Long: "10.00in", Short: "7.25in"}, wrong: "3.6 % too large"},
		{r: Reading{Number: 28, Long: "10.00in"}, says: "0 to 27"},
		{r: Reading{Number: 1, Long: "10"}, says: "no unit"},
		{r: Reading{Number: 1, Long: "10in"}, says: "read to 25.4 mm only"},
		{r: Reading{Number: 1, Long: "10 in"}, says: "all digits that were read (10.00in when it is exactly that)"},
		{r: Reading{Number: 1, Long: `10"`}, says: "10.00\" when"},
		{r: Reading{Number: 1, Long: "10-1/8in"}, says: "all digits that were read, as in"},
		{r: Reading{Number: 5, Long: "10.00in", Short: "7.00in"}, x: 1, y: 1, res: 25.4 / 64},
		{r: Reading{Number: 1, Long: "10cm"}, says: "nominally"},
		{r: Reading{Number: 1, Long: "10.00in", Short: "10.00in"}, wrong: "too large"},
		{r: Reading{Number: 1, Long: "10.00in", Thickness: "5in"}, says: "over 30 mm"},
		{r: Reading{Number: 1, Long: "10.00in", Resolution: "fine"}, says: "fine"},
	} {
		got, err := New(c.r)
		if c.says != "" {
			if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%+v: %v, want one line with %q", c.r, err, c.says)
			}
			continue
		}
		if err != nil {
			t.Errorf("%+v: %v", c.r, err)
			continue
		}
		r := got.Wrong()
		if c.wrong != "" {
			if r == nil || r.Reason != vision.CardWrongSize || !strings.Contains(r.Detail, c.wrong) {
				t.Errorf("%+v: %+v, want %q", c.r, r, c.wrong)
			}
			continue
		}
		p := got.Print()
		if r != nil || math.Abs(p.ScaleX-c.x) > 1e-9 || math.Abs(p.ScaleY-c.y) > 1e-9 || math.Abs(float64(got.Resolution)-c.res) > 1e-9 {
			t.Errorf("%+v: %+v, resolution %v, refusal %+v", c.r, p, got.Resolution, r)
		}
		if math.Abs(float64(p.Thickness)-c.thick) > 1e-9 || math.Abs(float64(p.ThicknessU)-c.u) > 1e-9 {
			t.Errorf("%+v: thickness %v ± %v", c.r, p.Thickness, p.ThicknessU)
		}
		// resolution/√6 for the two ends, with rule and damp
		want := math.Sqrt(c.res*c.res/6+ruleU*ruleU+wetU*wetU) / 254
		if c.r.Short != "" {
			want *= 254 / 177.8
		}
		if math.Abs(p.U-want) > 1e-9 {
			t.Errorf("%+v: u %.6f, want %.6f", c.r, p.U, want)
		}
		if p.U >= plane.DefaultPrior(true).CardScale*.6 {
			t.Errorf("%+v: a proved print is known hardly better (%.4f) than one that is not", c.r, p.U)
		}
	}
}

func TestFile(t *testing.T) {
	a, err := New(Reading{Number: 4, Long: "10.01in", Short: "7.00in", Thickness: "2mm"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := New(Reading{Number: 1, Long: "254.0mm"})
	if err != nil {
		t.Fatal(err)
	}
	later, err := New(Reading{Number: 4, Long: "10.03in"})
	if err != nil {
		t.Fatal(err)
	}
	data, err := File{}.With(a).With(b).With(later).Encode()
	if err != nil {
		t.Fatal(err)
	}
	f, err := Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Cards) != 2 || f.Cards[0].Number != 1 || f.Cards[1].Long.Read != "10.03in" || f.Cards[1].Short != nil {
		t.Errorf("%+v", f)
	}
	if p := f.Prints()[4]; math.Abs(p.ScaleX-1.003) > 1e-9 {
		t.Errorf("%+v", p)
	}
}

func TestParseRefuses(t *testing.T) {
	for text, says := range map[string]string{
		``:                                    "no card file",
		`[]`:                                  "no card file",
		`{"format":"x"}`:                      format,
		`{"format":"` + format + `","odd":1}`: "odd",
		`{"format":"` + format + `","cards":[{"number":28,"long":{"mm":254,"u":0.2}}]}`:                                       "0 to 27",
		`{"format":"` + format + `","cards":[{"number":2,"long":{"mm":25,"u":0.2}}]}`:                                         "legal",
		`{"format":"` + format + `","cards":[{"number":2,"long":{"mm":254,"u":0}}]}`:                                          "uncertainty",
		`{"format":"` + format + `","cards":[{"number":2,"long":{"mm":254,"u":0.2}},{"number":2,"long":{"mm":254,"u":0.2}}]}`: "twice",
		`{"format":"` + format + `","cards":[{"number":2,"long":{"mm":254,"u":0.2},"short":{"mm":1e300,"u":0.2}}]}`:           "short",
		`{"format":"` + format + `","cards":[{"number":2,"long":{"mm":254,"u":0.2},"thickness":{"mm":-1,"u":0.2}}]}`:          "thickness",
		strings.Repeat(" ", maxFile+1): "bytes",
	} {
		if _, err := Parse([]byte(text)); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.60s: %v, want %q", text, err, says)
		}
	}
}

func FuzzParse(f *testing.F) {
	c, _ := New(Reading{Number: 4, Long: "10.01in", Short: "7.00in", Thickness: "2mm"})
	data, _ := File{}.With(c).Encode()
	f.Add(data)
	f.Add([]byte(`{"format":"coursegauge-cards/1","cards":[{"number":2}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Parse(data)
		if err != nil {
			return
		}
		for n, p := range file.Prints() {
			if n < 0 || n > 27 || !(p.ScaleX > 0 && p.ScaleY > 0 && p.U > 0) || math.IsInf(p.ScaleX, 0) {
				t.Errorf("card %d: %+v", n, p)
			}
		}
	})
}

func FuzzNew(f *testing.F) {
	for _, s := range []string{"10.02in", "10-1/32in", "254.5mm", "1/0in", "10./in", "9999999999in"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := New(Reading{Long: s, Short: s, Thickness: s})
		if err == nil && !(c.Long.U > 0 && c.Resolution > 0 && float64(c.Resolution) <= float64(nominalLong)) {
			t.Errorf("%q: %+v", s, c)
		}
		if step(s) < 0 || math.IsNaN(float64(step(s))) {
			t.Errorf("%q: step %v", s, step(s))
		}
	})
}
