package main

import (
	"encoding/csv"
	"fmt"
	"html"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"coursegauge/report/inspection"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// oddNames are names that a file system allows and documents, pages, tables or
// terminals may stumble over.
var oddNames = []string{
	"D\xe4cher.jpg",                                    // ISO 8859-1
	"\xff\xfe.jpg", "\xff\xfd.jpg", "\xed\xa0\x80.jpg", // two of one replacement character; a surrogate
	`D\xE4cher.jpg`, // valid, and what the first one looks like
	"Dächer 屋根.jpg", "new\nline.jpg", "carriage\rreturn.jpg", "tab\t.jpg", "bell\a\x1b[2J\x7f.jpg",
	"\u202egpj.exe.jpg", "\u2028.jpg", "\ufeff.jpg", "\ufffd.jpg", "-o.jpg", "--out.jpg", "'\"`$(id).jpg", "=1+1.jpg", "a%2f%zz.jpg", "<b>&amp;.jpg", `\.jpg`, " .jpg", "*[a].jpg",
	strings.Repeat("\xff", 250) + ".jpg", // as long as a name can be
}

// A batch answers every name: it is done, each document is valid and leads back
// to the file, and no name has a say on the screen.
func TestOddNames(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	for i, name := range oddNames {
		writeFile(t, filepath.Join(dir, "photos\xff\n", name), cardless(t, 64, 48+i))
	}
	r := runIn(t, dir, "inspect", "photos\xff\n", "--schedule", "lot.yaml", "--out", "out", "--no-cache")
	r.said(t, exitLook, fmt.Sprintf("%d photos: 0 measured, %d refused", len(oddNames), len(oddNames)))
	for _, c := range r.out + r.err {
		if c != '\n' && !unicode.IsGraphic(c) || c == utf8.RuneError && !strings.Contains(r.err, "\ufffd.jpg") {
			t.Fatalf("%q was printed in\n%s%s", c, r.out, r.err)
		}
	}
	r = runIn(t, dir, "inspect", "photos\xff\n", "--schedule", "lot.yaml", "--out", "out", "--no-cache", "--json")
	r.said(t, exitLook)
	if !utf8.ValidString(r.out) {
		t.Error("the summary is no UTF-8")
	}

	want := slices.Sorted(slices.Values(oddNames))
	written, err := os.ReadFile(filepath.Join(dir, "out/inspection.json"))
	if err != nil {
		t.Fatal(err)
	}
	if !utf8.Valid(written) {
		t.Error("the inspection is no UTF-8")
	}
	if err := inspectionSchema(t).Validate(decoded(t, written)); err != nil {
		t.Error(err)
	}
	d := inspectionIn(t, filepath.Join(dir, "out"))
	var got []string
	for _, p := range d.Photos {
		got = append(got, p.Path())
		if utf8.ValidString(p.Path()) != (p.File == p.Path()) || (p.FileBytes == "") != utf8.ValidString(p.Path()) {
			t.Errorf("%q stands as %q and %q", p.Path(), p.File, p.FileBytes)
		}
	}
	if slices.Sort(got); !slices.Equal(got, want) {
		t.Errorf("the inspection leads to\n%q, want\n%q", got, want)
	}

	report := reportOf(t, filepath.Join(dir, "out"))
	if !utf8.ValidString(report) || strings.Contains(report, "\u202e") || strings.Contains(report, "\x1b") {
		t.Error("the report is no UTF-8, or holds a control character of a name")
	}
	at := photosOf(filepath.Join(dir, "out"), []byte(report), "")
	if got, want := identity(at), identity(filepath.Join(dir, "photos\xff\n")); got != want {
		t.Errorf("the report leads to the folder %q, want %q", got, want)
	}
	for _, p := range d.Photos {
		if !strings.Contains(html.UnescapeString(report), ">"+p.Shown()+"<") {
			t.Errorf("%q is not in the report", p.Shown())
		}
	}

	// In a table of fasteners, each name is one cell.
	d.Photos = slices.Clone(d.Photos)
	for i := range d.Photos {
		d.Photos[i].Status, d.Photos[i].Refusal = inspection.Measured, nil
		d.Photos[i].Heads = []inspection.Fastener{{ID: 1, Verdict: "clear"}}
	}
	var table strings.Builder
	if err := inspection.EncodeCSV(&table, d); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(table.String())).ReadAll()
	if err != nil || len(rows) != len(oddNames)+1 || !utf8.ValidString(table.String()) {
		t.Fatalf("%d rows (%v)", len(rows), err)
	}
	for i, row := range rows[1:] {
		if want := d.Photos[i].Shown(); row[0] != want && row[0] != "'"+want { // no formula
			t.Errorf("row %d is of %q, want %q", i, row[0], want)
		}
	}

	// Parts are merged under the same names.
	for _, part := range []string{"1/2", "2/2"} {
		runIn(t, dir, "inspect", "photos\xff\n", "--schedule", "lot.yaml", "--out", "part-"+part[:1], "--no-cache", "--shard", part).said(t, exitLook)
	}
	runIn(t, dir, "merge", "part-1", "part-2", "--out", "whole").said(t, exitLook)
	if got, want := encoded(t, inspectionIn(t, dir+"/whole")), encoded(t, inspectionIn(t, dir+"/out")); got != want {
		t.Error("the merged parts are another inspection")
	}
}

// The links of a report to its photos, and what the review serves, are those of
// the bytes of a name.
func TestOddNameOfMeasuredPhoto(t *testing.T) {
	dir := t.TempDir()
	jobs := filepath.Join(testdata, "photos/laminated-metric")
	for from, to := range map[string]string{"schedule.yaml": "lot.yaml", "roof-002.jpg": "photos/D\xe4cher\n.jpg"} {
		data, err := os.ReadFile(filepath.Join(jobs, from))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(dir, to), data)
	}
	runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache", "--stages", "stages").said(t, exitDone)
	report := reportOf(t, filepath.Join(dir, "out"))
	link := regexp.MustCompile(`href="([^"#]*\.jpg)"`).FindStringSubmatch(report)
	if link == nil {
		t.Fatal("no link to the photo")
	}
	path, err := url.PathUnescape(html.UnescapeString(link[1]))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "out", path)); err != nil {
		t.Error(err)
	}
	d := inspectionIn(t, filepath.Join(dir, "out"))
	r := &reviewed{document: d, photos: photosOf(filepath.Join(dir, "out"), []byte(report), "")}
	if _, data, err := r.photo(d.Photos[0].SHA256); err != nil || len(data) == 0 {
		t.Errorf("the review does not find the photo: %v", err)
	}
	if stages, err := filepath.Glob(filepath.Join(dir, "stages/*/*.jpg")); err != nil || len(stages) == 0 {
		t.Errorf("no pictures of the stages (%v)", err)
	}
}

func inspectionSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	parsed, err := jsonschema.UnmarshalJSON(strings.NewReader(string(inspection.Schema())))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("inspection.json", parsed); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("inspection.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}
