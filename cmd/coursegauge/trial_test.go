package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/calibrate/trial"
	"coursegauge/report/inspection"
	"coursegauge/vision/length"
)

// trialOf is a folder with the inspection of a job of testdata in it.
func trialOf(t *testing.T, j inspectedJob) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "trial")
	data, err := os.ReadFile(filepath.Join(j.out, "inspection.json"))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "inspection.json"), data)
	return dir
}

// say runs one command line in this process.
func say(args ...string) ran {
	var out, stderr strings.Builder
	status := run(args, &terminal{out: &out, err: &stderr})
	return ran{status, out.String(), stderr.String()}
}

func sheetOf(t *testing.T, dir string) []trial.Row {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "tape.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := trial.DecodeSheet("tape.csv", data)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// fill types the true height of each row, as a tape with sixteenths shows it.
func fill(t *testing.T, j inspectedJob, dir string, rows []trial.Row) {
	t.Helper()
	for i, r := range rows {
		for _, f := range readTruth(t, j, r.Photo).Fasteners {
			if math.Hypot(f.Px[0]-r.X, f.Px[1]-r.Y) < 8 {
				rows[i].Typed[trial.AboveButt] = length.Sixteenths(length.MM(f.AboveButt))
			}
		}
	}
	var b strings.Builder
	if err := trial.EncodeSheet(&b, rows); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "tape.csv"), []byte(b.String()))
}

// A trial from the first to the last command, on each job of testdata, its
// tape read off the truth.
func TestTrial(t *testing.T) {
	for _, j := range mustInspect(t) {
		t.Run(j.name, func(t *testing.T) {
			dir, schedule := trialOf(t, j), filepath.Join(j.folder, "schedule.yaml")
			say("trial", "new", dir, j.folder, "--schedule", schedule, "--heads", "8").said(t, exitDone, "8 heads to tape", "tape.html", "tape.csv")
			rows := sheetOf(t, dir)
			fill(t, j, dir, rows)
			say("trial", "new", dir, j.folder, "--heads", "10", "--seed", "5").said(t, exitDone, "10 heads to tape", "with something typed kept")
			again := sheetOf(t, dir)
			for i, r := range rows {
				if again[i].Typed[trial.AboveButt] != r.Typed[trial.AboveButt] || again[i].X != r.X || again[i].No != r.No {
					t.Errorf("row %d was typed and is now %+v", r.No, again[i])
				}
			}
			r := say("trial", "judge", dir, "--json")
			if devices := devicesOf(trialPhotos(j.document)); len(devices) > 1 {
				r.said(t, exitUsage, "a trial is of one phone: pick it with --device")
				r = say("trial", "judge", dir, "--json", "--device", j.document.Photos[0].Device)
			}
			r.said(t, exitLook)
			var a trialAnswer
			if err := json.Unmarshal([]byte(r.out), &a); err != nil {
				t.Fatalf("%v in %s", err, r.out)
			}
			if len(a.Lengths) != 1 || a.Lengths[0].Kind != trial.AboveButt || a.Lengths[0].Pairs < 2 {
				t.Fatalf("%+v", a)
			}
			l := a.Lengths[0]
			if math.Abs(l.Bias) > 2 || l.SD > 2.5 || l.Trust != trial.NotShown || l.Judged == 0 { // mm; a net, wider than the scores
				t.Errorf("%+v", l)
			}
			browse(t, filepath.Join(dir, "tape.html"), filepath.Join(dir, "trial.html"))
		})
	}
}

// browse opens pages in a browser: nothing red, nothing fetched, every picture shown.
func browse(t *testing.T, pages ...string) {
	t.Helper()
	b := startBrowser(t)
	for _, p := range pages {
		b.open((&url.URL{Scheme: "file", Path: p}).String())
		var broken int
		b.eval(`[...document.images].filter(i => !i.complete || i.naturalWidth === 0).length`, &broken)
		if broken > 0 {
			t.Errorf("%s: %d pictures are not shown", filepath.Base(p), broken)
		}
		var wide bool
		b.eval(`document.documentElement.scrollWidth > innerWidth`, &wide)
		if wide {
			t.Errorf("%s is wider than the window", filepath.Base(p))
		}
		lookAt(t, b.screenshot())
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// Photos of one course, compared without a tape. The scene is written by hand:
// the heads of two photos of one folder, the second with each length 0.4 mm off.
func TestTrialRepeats(t *testing.T) {
	dir := t.TempDir()
	one := 1
	photo := func(file string, off float64) inspection.Photo {
		p := inspection.Photo{File: file, Status: inspection.Measured, Device: "example phone", Heads: []inspection.Fastener{}, Card: &inspection.Card{Number: 3},
			Course: &inspection.Course{Pieces: []inspection.Piece{{ID: 1, Left: "joint", Right: "joint", Width: &inspection.Length{MM: 1000, U: 1}}}}}
		for i, x := range []float64{20, 330, 700, 968} {
			sign := float64(1 - 2*(i%2))
			l := inspection.Length{MM: x + sign*off, U: .5}
			p.Heads = append(p.Heads, inspection.Fastener{ID: i + 1, Px: inspection.XY{x, 9}, RadiusPx: 9, Piece: &one, Verdict: "clear",
				AboveButt: &inspection.Length{MM: 150 + float64(7*i) + sign*off, U: .4}, LeftEnd: &l, End: &l})
		}
		return p
	}
	d := inspection.New(inspection.Tool{}, inspection.Schedule{}, "2026-01-01T00:00:00Z", []inspection.Photo{photo("a.jpg", 0), photo("b.jpg", .4)})
	if err := inspection.WriteFile(filepath.Join(dir, "inspection.json"), d); err != nil {
		t.Fatal(err)
	}
	r := say("trial", "judge", dir, "--repeats")
	// differences of ± 0.4 mm about a mean of 0: repeatability sqrt(4 x 0.08 / 4) = 0.283 mm less
	// what the photos' own mean takes; two photos differ by less than 2.77 times that, 0.031 in.
	r.said(t, exitDone, "two photos of one head differ by less than 0.031 in", "trial.html")
	say("trial", "judge", dir).said(t, exitUsage, "no tape.csv in "+dir)
	browse(t, filepath.Join(dir, "trial.html"))
}

// A sheet that is wrong, a folder that is none: one line that says what to do.
func TestTrialWrongUse(t *testing.T) {
	j := mustInspect(t)[0]
	dir := trialOf(t, j)
	base := filepath.Dir(dir)
	sheet := func(name, rows string) string {
		to := filepath.Join(base, name)
		data, err := os.ReadFile(filepath.Join(dir, "inspection.json"))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(to, "inspection.json"), data)
		writeFile(t, filepath.Join(to, "tape.csv"), []byte("no,photo,head,above_butt,end,side,lower_joint,name,note,x_px,y_px\n"+rows))
		return to
	}
	writeFile(t, filepath.Join(base, "other.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(base, "plain/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(base, "empty/notes.txt"), nil)
	for _, c := range []struct {
		name  string
		args  []string
		words []string
	}{
		{"no folder", []string{"new"}, []string{"no folder given"}},
		{"nothing in the folder", []string{"new", filepath.Join(base, "empty")}, []string{"no inspection in", "PHOTOS... --schedule FILE"}},
		{"photos elsewhere", []string{"new", dir}, []string{"the photos are needed for the printed sheet", "name them"}},
		{"other photos", []string{"new", dir, filepath.Join(base, "plain")}, []string{"of the inspection not found", "name the photos"}},
		{"another schedule", []string{"new", dir, j.folder, "--schedule", filepath.Join(base, "other.yaml")}, []string{"not the one that the photos were inspected by"}},
		{"no heads", []string{"new", dir, j.folder, "--heads", "0"}, []string{"1 to 500"}},
		{"another phone", []string{"new", dir, j.folder, "--device", "brick"}, []string{"no measured photo is of this phone", "the photos name"}},
		{"no inspection", []string{"judge", filepath.Join(base, "empty")}, []string{"no inspection at"}},
		{"no sheet", []string{"judge", dir}, []string{"no tape.csv in", "make it with"}},
		{"an empty sheet", []string{"judge", sheet("blank", "1,roof.jpg,1,,,left,,,,1,1\n")}, []string{"nothing is typed in the sheet yet"}},
		{"a length without a unit", []string{"judge", sheet("unit", "1,roof.jpg,1,10,,left,,,,1,1\n")}, []string{`tape.csv:2: no 1, above_butt: length "10": no unit`}},
		{"a sheet of other photos", []string{"judge", sheet("other", "1,roof.jpg,1,6 in,,left,,,,1,1\n")}, []string{"is this the sheet of these photos?"}},
		{"a spoilt sheet is not written over", []string{"new", sheet("spoilt", "1,roof.jpg,1,10,,left,,,,1,1\n"), j.folder}, []string{"no unit"}},
		{"a tape without a unit", []string{"judge", dir, "--tape", "10"}, []string{"--tape: length \"10\": no unit"}},
		{"a tape of feet", []string{"judge", dir, "--tape", "1 ft"}, []string{"up to 1 in"}},
		{"repeats of different courses", []string{"judge", dir, "--repeats"}, []string{"--repeats: "}},
		{"two folders", []string{"judge", dir, base}, []string{"one folder is judged at a time"}},
		{"a command that is none", []string{"jduge", dir}, []string{"did you mean: coursegauge trial judge"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := say(append([]string{"trial"}, c.args...)...)
			r.said(t, exitUsage, c.words...)
			r.oneError(t)
		})
	}
	r := say("trial", "new", filepath.Join(base, "made"), filepath.Join(base, "plain"), "--schedule", filepath.Join(base, "other.yaml"))
	r.said(t, exitUsage, "no head was measured in these photos: 1 photo, 1 refused (1 no_card)")
	if _, err := os.Stat(filepath.Join(base, "made/tape.csv")); err == nil {
		t.Error("a sheet was written for nothing")
	}
	if got := fmt.Sprint(filesIn(t, filepath.Join(base, "spoilt"))); got != "[inspection.json tape.csv]" {
		t.Errorf("left behind: %s", got)
	}
}
