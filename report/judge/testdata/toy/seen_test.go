package judge_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/ledger"
	"coursegauge/report/mend"
	"coursegauge/report/page"
	"coursegauge/report/record"
	"coursegauge/report/record/bag"
	"coursegauge/report/sheet"
)

// The second head of three lies farther than 10 in from the left end.
func TestToyIsSeen(t *testing.T) {
	s := read(t, plain)
	r := layout{width: 36, heads: []float64{1, 22, 35}, height: 5.7}.result()
	j := judge.Judge(s, r)
	var photo bytes.Buffer
	if err := png.Encode(&photo, image.NewGray(image.Rect(0, 0, 48, 32))); err != nil {
		t.Fatal(err)
	}
	hash := func(data []byte) string {
		sum := sha256.Sum256(data)
		return hex.EncodeToString(sum[:])
	}
	p := inspection.Build(inspection.Source{File: "a.png", SHA256: hash(photo.Bytes()), Crew: "first crew", Width: 48, Height: 32}, s, r, j)
	p.Taken = "2026-05-04T10:00:00-07:00"
	doc := inspection.New(inspection.Tool{Version: "test"}, inspection.Schedule{File: "test.yaml", SHA256: hash([]byte(plain)), Title: "Toy"}, "2026-05-04T22:00:00Z", []inspection.Photo{p})

	var file, table bytes.Buffer
	if err := inspection.Encode(&file, doc); err != nil {
		t.Fatal(err)
	}
	again, err := inspection.Read(bytes.NewReader(file.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	rules := again.Photos[0].Heads[1].Rules
	last := rules[len(rules)-1]
	if last.Rule != "toy_reach" || last.Result != "suspect" || !strings.HasPrefix(last.Observation, "toy finding (most 10.00 in") ||
		!strings.Contains(last.Observation, "common practice") || !strings.Contains(last.Remedy, "to laugh about it") || again.Totals.SuspectsByRule["toy_reach"] != 2 {
		t.Errorf("JSON: %+v, %v", last, again.Totals.SuspectsByRule)
	}
	if !strings.Contains(string(inspection.Schema()), `"pattern"`) || !json.Valid(inspection.Schema()) {
		t.Error("the schema does not take a further rule")
	}

	if err := inspection.EncodeCSV(&table, doc); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(table.Bytes(), []byte("\ufeff")))).ReadAll()
	if err != nil || !strings.Contains(strings.Join(rows[2], "|"), "toy_reach") || !strings.Contains(strings.Join(rows[2], "|"), "toy finding") {
		t.Errorf("CSV: %v, %v", rows, err)
	}

	dir := t.TempDir()
	w, err := page.NewWriter(dir, s, page.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	parts, err := w.Make(p, r, j, nil, page.View.Shrink)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Put(parts); err != nil {
		t.Fatal(err)
	}
	report := filepath.Join(dir, "report.html")
	if err := w.Finish(report, doc); err != nil {
		t.Fatal(err)
	}
	html, err := os.ReadFile(report)
	if err != nil {
		t.Fatal(err)
	}
	holds(t, "report", string(html), "Toy label of the report", "Toy finding (most", "to laugh about it", "toy limit of the report")

	for lang, want := range map[string][]string{"en": {"toy too far: 22 in, at most 10 in", "Laugh about it."}, "es": {"juguete demasiado lejos: 22 pulg", "Reírse."}} {
		var list strings.Builder
		if err := mend.Write(&list, doc, nil, nil, lang); err != nil {
			t.Fatal(err)
		}
		holds(t, "list in "+lang, list.String(), want...)
	}

	ctx := context.Background()
	l, err := ledger.Create(filepath.Join(dir, "a.ledger"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := l.Add(ctx, ledger.Entry{Document: doc, Folder: "/a"}); err != nil {
		t.Fatal(err)
	}
	work, err := l.Of(ctx, "first crew", ledger.Span{From: "2026-01-01", To: "2026-12-31"})
	if err != nil {
		t.Fatal(err)
	}
	for lang, want := range map[string]string{"en": "toy label on site", "es": "nombre de juguete"} {
		var one, walk strings.Builder
		if err := sheet.Write(&one, sheet.Periods{Work: work}, func(sheet.Case) sheet.Picture { return sheet.Picture{} }, sheet.Look{Lang: lang}); err != nil {
			t.Fatal(err)
		}
		if err := sheet.WriteExercise(&walk, work, func(ledger.Photo) sheet.Whole { return sheet.Whole{} }, sheet.Look{Lang: lang}); err != nil {
			t.Fatal(err)
		}
		holds(t, "sheet in "+lang, one.String(), want)
		holds(t, "exercise in "+lang, walk.String(), want)
	}

	if err := os.WriteFile(filepath.Join(dir, "a.png"), photo.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	in := record.Input{Document: doc, Inspection: file.Bytes(), Report: html, Photos: dir, Schedule: record.NamedFile{Name: "test.yaml", Data: []byte(plain)}, Version: "test", Made: time.Date(2026, 5, 5, 8, 0, 0, 0, time.UTC)}
	if _, err := record.Make(ctx, in, filepath.Join(dir, "record")); err != nil {
		t.Fatal(err)
	}
	src, err := bag.Open(filepath.Join(dir, "record"))
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	v, err := record.Verify(ctx, src, record.Options{Version: "test"})
	if err != nil || len(v.Problems) > 0 {
		t.Fatalf("%v, %v", err, v.Problems)
	}
	pages, err := record.Summary(src, v, record.SummaryOptions{})
	if err != nil {
		t.Fatal(err)
	}
	holds(t, "record", string(pages), "toy label of the report", "toy finding")
}

func holds(t *testing.T, where, text string, wants ...string) {
	t.Helper()
	for _, want := range wants {
		if !strings.Contains(text, want) {
			t.Errorf("the %s never says %q", where, want)
		}
	}
}
