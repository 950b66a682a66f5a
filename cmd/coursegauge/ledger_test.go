package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/ledger"
	"coursegauge/report/review"
)

// demoLedger is a ledger of the jobs of testdata, each the work of a crew of its own.
func demoLedger(t *testing.T) (dir, path string) {
	t.Helper()
	dir = t.TempDir()
	path = filepath.Join(dir, "work.ledger")
	crews := "folders: {"
	for i, j := range mustInspect(t) {
		crews += fmt.Sprintf("%s: crew %d, ", j.name, i+1)
	}
	writeFile(t, filepath.Join(dir, "crews.yaml"), []byte(strings.TrimSuffix(crews, ", ")+"}\n"))
	for _, j := range mustInspect(t) {
		say("ledger", "add", j.out, "--ledger", path, "--schedule", filepath.Join(j.folder, "schedule.yaml"), "--crews", filepath.Join(dir, "crews.yaml")).said(t, exitDone, "added")
	}
	return dir, path
}

// The ledger from the first to the last command.
func TestLedger(t *testing.T) {
	dir, path := demoLedger(t)
	jobs := mustInspect(t)
	heads := 0
	for _, j := range jobs {
		heads += j.document.Totals.Fasteners
	}
	before := mustRead(t, path)
	say("ledger", "add", jobs[0].out, "--ledger", path, "--schedule", filepath.Join(jobs[0].folder, "schedule.yaml"), "--crews", filepath.Join(dir, "crews.yaml")).said(t, exitDone, "was there already, nothing changed")
	if !bytes.Equal(before, mustRead(t, path)) {
		t.Error("the same again changed the file")
	}
	var list struct {
		Inspections []ledger.Inspection
		Crews       []ledger.Crew
	}
	r := say("ledger", "list", "--ledger", path, "--json")
	if err := json.Unmarshal([]byte(r.out), &list); err != nil || len(list.Inspections) != len(jobs) || len(list.Crews) != len(jobs) {
		t.Fatalf("%v in %s", err, r.out)
	}
	say("ledger", "list", "--ledger", path).said(t, exitDone, "crew crew 1: ", plural(heads, "fastener", "fasteners"))
	r = say("ledger", "export", "--format", "csv", "--ledger", path)
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(r.out, "\ufeff"))).ReadAll()
	if err != nil || len(rows) != heads+1 {
		t.Errorf("%v, %d rows for %d fasteners", err, len(rows), heads)
	}
	say("ledger", "remove", list.Inspections[0].ID, "--ledger", path).said(t, exitDone, "removed "+list.Inspections[0].ID)
	say("ledger", "list", "--ledger", path).said(t, exitDone, plural(len(jobs)-1, "inspection", "inspections"))
}

// What is decided in a folder follows into the ledger when it is added again.
func TestLedgerFollowsDecisions(t *testing.T) {
	dir, j := reviewFolder(t)
	path := filepath.Join(t.TempDir(), "l")
	say("ledger", "add", dir, "--ledger", path).said(t, exitDone, "0 decided")
	for _, p := range j.document.Photos {
		if len(p.Heads) == 0 {
			continue
		}
		d := review.Decision{Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(p.Heads[0].ID), What: review.Wrong, Who: "x", When: "2026-05-04T17:30:00+02:00"}
		writeFile(t, filepath.Join(dir, review.FileName), line(t, d))
		break
	}
	say("ledger", "add", dir, "--ledger", path).said(t, exitDone, "brought up to date", "1 decided")
	if r := say("ledger", "export", "--ledger", path); !strings.Contains(r.out, `,"wrong",`) {
		t.Errorf("%s", r.out)
	}
}

// Wrong use and wrong files are told in one line, and change nothing.
func TestLedgerMistakes(t *testing.T) {
	dir, path := demoLedger(t)
	job := mustInspect(t)[0]
	damaged, newer := bytes.Clone(mustRead(t, path)), bytes.Clone(mustRead(t, path))
	for i := 4096; i < len(damaged); i++ {
		damaged[i] ^= 0x33
	}
	newer[63] = 99 // user_version (sqlite.org/fileformat.html, 1.3)
	files := map[string][]byte{"damaged": damaged, "newer": newer, "text": []byte(strings.Repeat("words\n", 2000))}
	for name, data := range files {
		writeFile(t, filepath.Join(dir, name), data)
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	out := at("sheet.html")
	for _, c := range []struct {
		args   []string
		status int
		words  string
	}{
		{[]string{"ledger", "list"}, exitUsage, "--ledger is missing"},
		{[]string{"ledger", "list", "--ledger", at("none")}, exitUsage, "there is no such file"},
		{[]string{"ledger", "list", "--ledger", at("text")}, exitUsage, "this is no ledger"},
		{[]string{"ledger", "list", "--ledger", dir}, exitFailed, "no regular file"},
		{[]string{"ledger", "list", "--ledger", at("newer")}, exitFailed, "written by a newer version"},
		{[]string{"ledger", "list", "--ledger", at("damaged")}, exitFailed, "the file is damaged"},
		{[]string{"ledger", "add", job.out, "--ledger", at("damaged")}, exitFailed, "the file is damaged"},
		{[]string{"ledger", "add", job.out, "--ledger", at("newer")}, exitFailed, "written by a newer version"},
		{[]string{"ledger", "add", "--ledger", path}, exitUsage, "no folder given"},
		{[]string{"ledger", "add", dir, "--ledger", path}, exitUsage, "no inspection at"},
		{[]string{"ledger", "add", job.out, "--ledger", path, "--crews", at("none")}, exitUsage, "--crews"},
		{[]string{"ledger", "add", job.out, "--ledger", path, "--schedule", filepath.Join(mustInspect(t)[1].folder, "schedule.yaml")}, exitUsage, "is not the one"},
		{[]string{"ledger", "remove", "12345678", "--ledger", path}, exitUsage, "not in the ledger"},
		{[]string{"ledger", "remove", "--ledger", path}, exitUsage, "one inspection is needed"},
		{[]string{"ledger", "export", "--format", "xml", "--ledger", path}, exitUsage, "csv is the only one"},
		{[]string{"crew", "nobody", "--ledger", path, "--out", out}, exitUsage, `no crew "nobody"`},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--from", "2031-01-01"}, exitUsage, "no photos of"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--from", "1st of May"}, exitUsage, "is no day"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--from", "2026-05-02", "--to", "2026-05-01"}, exitUsage, "is before"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--against", "2026-05-02"}, exitUsage, "two days are needed"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--lang", "xx"}, exitUsage, "speaks en and es"},
		{[]string{"crew", "crew 1", "--ledger", path}, exitUsage, "--out is missing"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", filepath.Join(dir, "a", "b.html")}, exitFailed, "cannot write"},
		{[]string{"crew", "crew 1", "--ledger", at("damaged"), "--out", out}, exitFailed, "the file is damaged"},
		{[]string{"crew", "crew 1", "--ledger", path, "--out", out, "--exercise", at("none")}, exitUsage, "not in the ledger"},
		{[]string{"crew", "--ledger", path, "--out", out}, exitUsage, "the name of one crew"},
		{[]string{"sampling"}, exitUsage, "--pieces is missing"},
		{[]string{"sampling", "--pieces", "-3"}, exitUsage, "from 1 to"},
		{[]string{"sampling", "--pieces", "30", "--rate", "0"}, exitUsage, "above 0"},
		{[]string{"sampling", "--pieces", "30", "--rate", "NaN"}, exitUsage, "above 0"},
		{[]string{"sampling", "--pieces", "30", "--confidence", "95"}, exitUsage, "between 0.5 and 0.9999"},
		{[]string{"sampling", "--pieces", "30", "--aql", "3"}, exitUsage, "the table has"},
		{[]string{"sampling", "--pieces", "30", "--level", "IV"}, exitUsage, "levels are"},
	} {
		kept := mustRead(t, path)
		r := say(c.args...)
		r.said(t, c.status, c.words)
		r.oneError(t)
		if !bytes.Equal(kept, mustRead(t, path)) {
			t.Errorf("%q changed the ledger", c.args)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%q left a sheet", c.args)
		}
		if t.Failed() {
			t.Fatalf("%q", c.args)
		}
	}
	for name, data := range files {
		if !bytes.Equal(data, mustRead(t, at(name))) {
			t.Errorf("%s is not as it was", name)
		}
	}
}

// The answers of sampling are those of the published tables.
func TestSampling(t *testing.T) {
	say("sampling", "--pieces", "1000", "--confidence", "0.95", "--rate", "0.05").said(t, exitDone, "Photograph 57 pieces of 1000", "no random sample")
	say("sampling", "--pieces", "1000", "--aql", "2.5").said(t, exitDone, "code J, 80 pieces", "at most 5 bad, reject with 6", "your copy of the standard decides")
	say("sampling", "--tables").said(t, exitDone, "501 to 1200", "2000")
	var a samplingAnswer
	if err := json.Unmarshal([]byte(say("sampling", "--pieces", "500", "--rate", "0.01", "--json").out), &a); err != nil || a.Sample != 225 || a.Bad != 5 {
		t.Errorf("%v %+v", err, a)
	}
}

// shift simulates the inspection of a day: 30 photos with one piece of four
// nails each, of a crew whose nails lie by a known law.
func shift(r *rand.Rand, i int, crew string, up float64) ledger.Entry {
	product := ledger.Product{Width: 1000.1, Height: 336.6, Exposure: 142.9, BandLow: 149.9, BandHigh: 177.8, EndMin: 19.05, EndMax: 38.1, Clearance: 50.8, PerPiece: 4}
	day := time.Date(2026, 1, 1, 9, 0, 0, 0, time.UTC).AddDate(0, 0, i%360)
	d := inspection.Document{Format: inspection.Format, Made: day.Format(time.RFC3339), Schedule: inspection.Schedule{SHA256: "5c", Title: "Simulated"}}
	zero := 0
	for n := range 30 {
		p := inspection.Photo{
			File: fmt.Sprintf("p%d.jpg", n), SHA256: fmt.Sprintf("%032x%032x", i, n), Crew: crew, Status: inspection.Measured, Taken: day.Format(time.RFC3339), Scale: 2,
			Course: &inspection.Course{
				Pieces:      []inspection.Piece{{Width: &inspection.Length{MM: product.Width, U: .4}, LeftPx: inspection.XY{0, 0}, RightPx: inspection.XY{2000, 0}}},
				LowerJoints: []inspection.LowerJoint{{Px: inspection.XY{300, 0}}},
			},
			Findings: []inspection.Finding{{Rule: "count", Piece: &zero, Result: "clear"}},
		}
		for k := range 4 {
			x, y := 25.4+float64(k)*316.4+8*r.NormFloat64(), 163.9+up+6*r.NormFloat64()
			h := inspection.Fastener{
				ID: k, Px: inspection.XY{2 * x, -2 * y}, RadiusPx: 10, Piece: &zero, Drive: inspection.Drive{Class: "flush"}, Verdict: "clear",
				AboveButt: &inspection.Length{MM: y, U: .5}, LeftEnd: &inspection.Length{MM: x, U: .8}, RightEnd: &inspection.Length{MM: product.Width - x, U: .8},
				LowerJoint: &inspection.Length{MM: max(x-150, 150-x), U: .8},
			}
			result := "clear"
			if y < product.BandLow || y > product.BandHigh {
				result, h.Verdict = "suspect", "suspect"
			}
			h.Rules = []inspection.Rule{{Rule: "height", Result: result}, {Rule: "end", Result: "clear"}, {Rule: "lower_joint", Result: "clear"}, {Rule: "drive", Result: "clear"}}
			p.Heads = append(p.Heads, h)
		}
		d.Photos = append(d.Photos, p)
	}
	return ledger.Entry{Document: d, Folder: fmt.Sprintf("/reports/%d", i), Product: &product}
}

// A ledger of 2,000 inspections with 240,000 fasteners makes a sheet in under
// 2 s. (How it finds what it needs is shown by the query plan in report/ledger.)
func TestLargeLedger(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "l")
	l, err := ledger.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for from := 0; from < 2000; from += 500 {
		var entries []ledger.Entry
		for i := from; i < from+500; i++ {
			entries = append(entries, shift(r, i, fmt.Sprintf("crew %d", i%10), 4-float64(i)/500))
		}
		if _, err := l.Add(context.Background(), entries...); err != nil {
			t.Fatal(err)
		}
	}
	l.Close()
	began := time.Now()
	say("crew", "crew 3", "--ledger", path, "--from", "2026-01-01", "--to", "2026-12-31", "--out", filepath.Join(dir, "s.html")).said(t, exitDone)
	took := time.Since(began)
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	page := string(mustRead(t, filepath.Join(dir, "s.html")))
	t.Logf("ledger of %.0f MB: the sheet of 24,000 nails takes %v and has %.1f MB", float64(info.Size())/1e6, took, float64(len(page))/1e6)
	if !strings.Contains(page, "<dd>24,000</dd>") {
		t.Error("the sheet has not all nails")
	}
}
