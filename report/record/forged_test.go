package record

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
)

// Whoever forges a record that is not signed can write every list anew. What was
// measured must then be held against the pictures and the limits: each of these ways
// around it is a problem, or is counted among what was not checked.
func TestForgedMeasurements(t *testing.T) {
	const north = 1 // the index of north/IMG 1.jpg, with a suspect and a clear head
	first := func(d *inspection.Document) *inspection.Fastener { return &d.Photos[north].Heads[0] }
	for _, c := range []struct {
		name    string
		change  func(d *inspection.Document)
		problem string
		counted string
	}{
		{"nothing", func(*inspection.Document) {}, "", ""},
		{"a verdict", func(d *inspection.Document) { first(d).Verdict = "clear" }, "is clear, and its rules make it suspect", ""},
		{"a verdict and its rule", func(d *inspection.Document) {
			h := first(d)
			h.Verdict = "clear"
			for i := range h.Rules {
				if h.Rules[i].Result == "suspect" {
					h.Rules[i].Result = "clear"
				}
			}
		}, "the rule height is clear, and its lengths and the schedule make it suspect", ""},
		{"a rule not judged", func(d *inspection.Document) {
			h := first(d)
			h.Verdict, h.Rules[rule(h, "height")].Result = "unresolved", "not_judged"
		}, "the rule height is not_judged", ""},
		{"a rule left out", func(d *inspection.Document) {
			h := first(d)
			h.Verdict = "unresolved"
			h.Rules = slices.Delete(h.Rules, rule(h, "height"), rule(h, "height")+1)
		}, "nothing is said of the rule height", ""},
		{"other limits", func(d *inspection.Document) { h := first(d); v := 195.0; h.Rules[rule(h, "height")].HighMM = &v }, "other lengths or limits", ""},
		{"another length in the rule", func(d *inspection.Document) {
			h := first(d)
			h.Rules[rule(h, "height")].Length = &inspection.Length{MM: 170, U: 0.4}
		}, "other lengths or limits", ""},
		{"no hash", func(d *inspection.Document) { d.Photos[north].SHA256 = "" }, "has no hash", ""},
		{"no hash, and refused", func(d *inspection.Document) {
			p := &d.Photos[north]
			p.SHA256, p.Status, p.Heads, p.Refusal = "", inspection.Refused, nil, &inspection.Refusal{Reason: "unreadable"}
		}, "has no hash", ""},
		{"a length, by another version", func(d *inspection.Document) { d.Tool.Version = "0.9"; *first(d) = head(1, "clear") }, "height above the butt is 160.00 mm", ""},
		{"a length and a wide uncertainty, by another version", func(d *inspection.Document) {
			d.Tool.Version = "0.9"
			first(d).AboveButt = &inspection.Length{MM: 165, U: 30}
		}, "height above the butt is 165.00 mm", ""},
		{"a wide uncertainty, by another version", func(d *inspection.Document) { d.Tool.Version = "0.9"; first(d).AboveButt.U = 1 }, "height above the butt is 190.00 mm", ""},
		{"a wide uncertainty", func(d *inspection.Document) { first(d).AboveButt.U = 0.46 }, "height above the butt is 190.00 mm", ""},
		{"a head left out, by another version", func(d *inspection.Document) {
			d.Tool.Version = "0.9"
			d.Photos[north].Heads = d.Photos[north].Heads[1:]
		}, "", "1 difference that another version of the program may explain"},
		{"a head left out", func(d *inspection.Document) { d.Photos[north].Heads = d.Photos[north].Heads[1:] }, "is found when measured again and is not in the record", ""},
		{"a profile that is not there", func(d *inspection.Document) { d.Photos[north].Camera = &inspection.Camera{Source: "profile"} }, "the record holds none", ""},
		{"a proved card that is not there", func(d *inspection.Document) { d.Photos[north].Card = &inspection.Card{Size: "proved"} }, "holds no sizes of cards", ""},
		{"a version that is none", func(d *inspection.Document) { d.Tool.Version = "0.9 complete and unchanged" }, "a version are needed", ""},
		{"another reason, by another version", func(d *inspection.Document) {
			d.Tool.Version = "0.9"
			d.Photos[0].Refusal = &inspection.Refusal{Reason: "blurred"}
		}, "", "1 difference that another version"},
	} {
		in := job(t)
		in.Decisions = nil
		now := map[string]inspection.Photo{}
		for _, p := range job(t).Document.Photos {
			now[p.File] = p
		}
		d := job(t).Document
		c.change(&d)
		in.Inspection = encoded(t, inspection.New(d.Tool, d.Schedule, d.Made, d.Photos))
		path := filepath.Join(t.TempDir(), "r")
		mustMake(t, in, path)
		v := verdictOf(t, path, Options{Version: "test", Measure: func(MeasuringSettings) (Measurer, error) {
			return func(_ context.Context, file string, _ []byte) (inspection.Photo, error) { return now[file], nil }, nil
		}})
		if told := strings.Contains(strings.Join(v.Notes, "\n"), "measured by version 0.9, again by test"); told != strings.Contains(c.name, "another version") {
			t.Errorf("%s: notes %q", c.name, v.Notes)
		}
		if c.problem == "" && len(v.Problems) > 0 || !strings.Contains(said(v), c.problem) {
			t.Errorf("%s: never said %q:\n%s", c.name, c.problem, said(v))
		}
		if counted := strings.Join(v.Unchecked, ", "); !strings.Contains(counted, c.counted) || c.problem == "" && c.counted == "" && counted != "" {
			t.Errorf("%s: not checked: %q, want %q", c.name, counted, c.counted)
		}
	}
}

func rule(h *inspection.Fastener, name string) int {
	return slices.IndexFunc(h.Rules, func(r inspection.Rule) bool { return r.Rule == name })
}

// A photo whose lens was known by the device's name cannot be measured again once that
// was left out: it is counted. One that is as it was is measured.
func TestProfilesOfRewrittenPhotos(t *testing.T) {
	in := job(t)
	in.Decisions = nil
	in.NoLocation = true
	in.Profiles = []NamedFile{{"example.lens", []byte("lens")}}
	located := mustRead(t, filepath.Join(testdata, "reference/exif/gps-south.jpg"))
	mustWrite(t, filepath.Join(in.Photos, "north/IMG 1.jpg"), located)
	in.Document.Photos[1].SHA256 = hashOf(located)
	for i := range in.Document.Photos {
		in.Document.Photos[i].Camera = &inspection.Camera{Source: "profile"}
	}
	now := map[string]inspection.Photo{}
	for _, p := range in.Document.Photos {
		now[p.File] = p
	}
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, path)
	v := verdictOf(t, path, Options{Version: "test", Measure: func(s MeasuringSettings) (Measurer, error) {
		if len(s.Profiles) != 1 || s.Profiles[0].Name != "example.lens" {
			t.Errorf("%+v", s.Profiles)
		}
		return func(_ context.Context, file string, _ []byte) (inspection.Photo, error) { return now[file], nil }, nil
	}})
	if len(v.Problems) > 0 || v.Again != 2 || len(v.Unchecked) != 2 || !strings.HasPrefix(v.Unchecked[1], "1 photo not measured again, since its lens") {
		t.Errorf("%d again, not checked %q\n%s", v.Again, v.Unchecked, said(v))
	}
}
