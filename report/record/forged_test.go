package record

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
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
		{"when it was taken", func(d *inspection.Document) { d.Photos[north].Taken = "2026-05-09T10:00:00-07:00" }, "was taken 2026-05-09T10:00:00-07:00 in the record and 2026-05-04T10:00:00-07:00 by its own file", ""},
		{"when it was taken, by another version", func(d *inspection.Document) { d.Tool.Version, d.Photos[north].Taken = "0.9", "" }, "was taken not given in the record", ""},
		{"when a refused one was taken", func(d *inspection.Document) { d.Photos[0].Taken = "" }, "was taken not given in the record", ""},
		{"where it was taken", func(d *inspection.Document) { d.Photos[north].Location = &inspection.Location{Lat: 40, Lon: -90} }, "was taken at 40, -90 in the record and 40, -100 by its own file", ""},
		{"the device", func(d *inspection.Document) { d.Photos[north].Device = "other phone" }, "comes from the device other phone in the record", ""},
		{"the size", func(d *inspection.Document) { d.Photos[north].Image = nil }, "has the size not given in the record and 48 by 32 px, orientation 1, by its own file", ""},
		{"a check", func(d *inspection.Document) { d.Photos[north].Checks = []inspection.Check{{Name: "edges"}} }, "passes the checks edges (failed) in the record and none when measured again", ""},
		{"a check, by another version", func(d *inspection.Document) {
			d.Tool.Version = "0.9"
			d.Photos[north].Checks = []inspection.Check{{Name: "edges", OK: true}}
		}, "", "1 difference that another version"},
		{"a version that is none", func(d *inspection.Document) { d.Tool.Version = "0.9 complete and unchanged" }, "a version are needed", ""},
		{"another reason, by another version", func(d *inspection.Document) {
			d.Tool.Version = "0.9"
			d.Photos[0].Refusal = &inspection.Refusal{Reason: "blurred"}
		}, "", "1 difference that another version"},
	} {
		in := job(t)
		in.Decisions, in.Report = nil, nil
		now := map[string]inspection.Photo{}
		for _, p := range job(t).Document.Photos {
			now[p.File] = p
		}
		d := job(t).Document
		c.change(&d)
		d = inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)
		if in.Inspection = encoded(t, d); c.problem == "" {
			in.Document = d // the pages, too, were forged
		}
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
		p.Location = nil
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

// Pages and the table of a record that nobody signed are written again and compared; the
// report, which cannot be, is counted.
func TestForgedPages(t *testing.T) {
	const counted = "1 report with pictures that nobody signed"
	for _, c := range []struct {
		name, file, version string
		problem             string
		counted             []string
	}{
		{"nothing", "", "test", "", []string{counted}},
		{"the page", pagePath, "test", "data/READ-ME.txt: does not tell what", []string{counted}},
		{"the table", fastenersPath, "test", "data/inspection/fasteners.csv: does not tell what", []string{counted}},
		{"the page, by another version", pagePath, "newer", "", []string{"1 page or table that another version wrote", counted}},
		{"the report", reportPath, "test", "", []string{counted}},
	} {
		in := job(t)
		path := filepath.Join(t.TempDir(), "r")
		mustMake(t, in, path)
		if c.file != "" {
			forge(t, path, c.file)
		}
		v := verdictOf(t, path, Options{Version: c.version})
		if want := append(c.counted, "3 photos not measured again"); !slices.Equal(v.Unchecked, want) {
			t.Errorf("%s: not checked %q, want %q", c.name, v.Unchecked, want)
		}
		if len(v.Problems) > 1 || c.problem == "" && len(v.Problems) > 0 || !strings.Contains(said(v), c.problem) {
			t.Errorf("%s: never said %q:\n%s", c.name, c.problem, said(v))
		}
	}
	in := job(t)
	in.Decisions, in.Report = nil, nil
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, path)
	if v := verdictOf(t, path, Options{}); !slices.Equal(v.Unchecked, []string{"3 photos not measured again"}) {
		t.Errorf("without a report: not checked %q", v.Unchecked)
	}
}

// forge changes a letter of a payload file for another and writes new lists.
func forge(t *testing.T, record, file string) {
	t.Helper()
	path := filepath.Join(record, bag.Payload, file)
	data := mustRead(t, path)
	sum, list := hashOf(data), filepath.Join(record, bag.ManifestFile)
	data[len(data)/2] ^= 1
	mustWrite(t, path, data)
	was := mustRead(t, list)
	now := []byte(strings.Replace(string(was), sum, hashOf(data), 1))
	mustWrite(t, list, now)
	tags := filepath.Join(record, bag.TagManifestFile)
	mustWrite(t, tags, []byte(strings.Replace(string(mustRead(t, tags)), hashOf(was), hashOf(now), 1)))
}
