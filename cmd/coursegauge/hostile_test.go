package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

// hostileFolder is what inspect would have written of photos, a schedule and
// crews that somebody named to deceive, with two people's decisions.
func hostileFolder(t *testing.T) (dir, schedule string) {
	t.Helper()
	dir, j := reviewFolder(t)
	doc := j.document
	doc.Photos = append([]inspection.Photo(nil), doc.Photos...)
	doc.Schedule.Title, doc.Schedule.File = hostile, hostile
	var lines []byte
	for i := range doc.Photos {
		p := &doc.Photos[i]
		p.File, p.Device, p.Crew = hostile+p.File, hostile, hostile
		if p.Refusal != nil {
			p.Refusal = &inspection.Refusal{Reason: hostile, Detail: hostile, Advice: hostile}
		}
		if len(p.Heads) > 0 {
			for _, what := range []string{review.Wrong, review.Sound} {
				d := review.Decision{
					Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(p.Heads[0].ID),
					What: what, Who: hostile, Note: hostile, When: "2026-05-04T17:30:00+02:00",
				}
				lines = append(lines, line(t, d)...)
			}
		}
	}
	var b bytes.Buffer
	if err := inspection.Encode(&b, doc); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "inspection.json"), b.Bytes())
	writeFile(t, filepath.Join(dir, review.FileName), lines)
	writeFile(t, filepath.Join(dir, "broken.jsonl"), []byte("{\"\u202e\x1b[2J\":1}\n"))
	return dir, absolute(t, filepath.Join(j.folder, "schedule.yaml"))
}

// Whatever a photo, a schedule, a crew or a decision is called: no line that
// the program prints is forged by it, and no page turned.
func TestNamesForgeNothing(t *testing.T) {
	t.Parallel()
	dir, schedule := hostileFolder(t)
	forging := "f\x1b[2J\u202e"
	writeFile(t, filepath.Join(dir, forging, "inspection.json"), []byte("{}"))
	for _, c := range []struct {
		name   string
		args   []string
		status int
		shows  bool // the hostile text, in what is printed
		page   string
	}{
		{"add", []string{"ledger", "add", ".", "--ledger", "l", "--schedule", schedule}, exitDone, false, ""},
		{"list", []string{"ledger", "list", "--ledger", "l"}, exitDone, true, ""},
		{"list for programs", []string{"ledger", "list", "--ledger", "l", "--json"}, exitDone, false, ""},
		{"export", []string{"ledger", "export", "--ledger", "l"}, exitDone, true, ""},
		{"sheet", []string{"crew", hostile, "--ledger", "l", "--out", "sheet.html"}, exitDone, false, "sheet.html"},
		{"sheet in Spanish", []string{"crew", hostile, "--ledger", "l", "--lang", "es", "--out", "hoja.html"}, exitDone, false, "hoja.html"},
		{"exercise", []string{"crew", hostile, "--ledger", "l", "--exercise", ".", "--out", "exercise.html"}, exitDone, false, "exercise.html"},
		{"no such crew", []string{"crew", forging, "--ledger", "l", "--out", "x.html"}, exitUsage, false, ""},
		{"mend", []string{"review", ".", "--mend", "mend.html"}, exitLook, true, "mend.html"},
		{"mend in Spanish", []string{"review", ".", "--mend", "lista.html", "--lang", "es"}, exitLook, true, "lista.html"},
		{"merge", []string{"review", ".", "--merge", "broken.jsonl"}, exitUsage, false, ""},
		{"no such file", []string{"review", ".", "--merge", forging}, exitUsage, false, ""},
		{"no such folder", []string{"review", forging + "\nx"}, exitUsage, false, ""},
		{"no inspection", []string{"review", forging}, exitUsage, false, ""},
		{"no such command", []string{forging}, exitUsage, false, ""},
		{"no such flag", []string{"review", "--" + forging}, exitUsage, false, ""},
		{"no such photo", []string{"inspect", forging + ".jpg", "--schedule", schedule}, exitUsage, false, ""},
		{"no such language", []string{"review", ".", "--lang", forging}, exitUsage, false, ""},
		{"remove", []string{"ledger", "remove", ".", "--ledger", "l"}, exitDone, true, ""},
	} {
		r := runIn(t, dir, c.args...)
		said := strings.TrimPrefix(r.out, "\ufeff") + r.err // a table begins with a byte order mark
		if r.status != c.status {
			t.Errorf("%s: exit status %d, want %d: %s", c.name, r.status, c.status, said)
		}
		if bad := obeyed(said); bad != "" {
			t.Errorf("%s: said %s", c.name, bad)
		}
		if strings.Contains(said, "\n  complete and unchanged") {
			t.Errorf("%s: a line is forged:\n%s", c.name, said)
		}
		if c.shows && !strings.Contains(said, `x\n  complete and unchanged\r\x1B[2J\u009B31m\u0085\u202Egpj`) {
			t.Errorf("%s: the text is not shown:\n%s", c.name, said)
		}
		if c.page == "" {
			continue
		}
		page, err := os.ReadFile(filepath.Join(dir, c.page))
		if err != nil {
			t.Error(err)
		} else if bad := obeyed(string(page)); bad != "" || !bytes.Contains(page, []byte(`\x1B[2J\u009B31m\u0085\u202Egpj`)) {
			t.Errorf("%s: the page holds %s, or not the text", c.name, bad)
		}
	}
}

// The same of a photo's own name, while it is measured and in what is written of it.
func TestPhotoNamesForgeNothing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "in", hostile+".jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "s.yaml"), []byte(strings.Replace(goodSchedule, "title:", "title: \"\\u202e\" #", 1)))
	for _, more := range [][]string{nil, {"--log-format", "json"}, {"--json"}} {
		r := runIn(t, dir, append([]string{"inspect", "in", "--schedule", "s.yaml", "--out", "out"}, more...)...)
		said := r.out + r.err
		if bad := obeyed(said); r.status != exitLook || bad != "" || strings.Contains(said, "\n  complete and unchanged") {
			t.Errorf("%q: exit status %d, said %s in:\n%s", more, r.status, bad, said)
		}
		if !strings.Contains(said, `u202`) {
			t.Errorf("%q: the name is not shown:\n%s", more, said)
		}
	}
	page := string(mustRead(t, filepath.Join(dir, "out/report.html")))
	if bad := obeyed(page); bad != "" || !strings.Contains(page, `\u202Egpj`) {
		t.Errorf("the report holds %s, or not the name", bad)
	}
}

// What people decided is shown by the script; there, too, it turns nothing.
func TestDecisionsTurnNothing(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	var lines []byte
	for _, p := range j.document.Photos {
		for _, h := range p.Heads {
			lines = append(lines, line(t, review.Decision{
				Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(h.ID),
				What: review.Wrong, Who: hostile, Note: hostile, When: "2026-05-04T17:30:00+02:00",
			})...)
		}
	}
	writeFile(t, filepath.Join(dir, review.FileName), lines)
	b := startBrowser(t)
	b.openReview(startReview(t, dir))
	b.until("a decision to be shown", `document.querySelector(".answer bdi")`)
	var text string
	b.eval(`[...document.querySelectorAll(".answer bdi")].map(e => e.textContent).join("")`, &text)
	if bad := obeyed(text); bad != "" || !strings.Contains(text, `\u009B31m\u0085\u202Egpj\u2066\u2028\u200B\U000E0041`) {
		t.Errorf("the page shows %s in %.300q", bad, text)
	}
}
