package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"coursegauge/calibrate/lens"
	"coursegauge/report/inspection"
	"coursegauge/vision/photo"
)

// knownPhoto is a rendered photo of testdata whose phone lay sideways, so that
// the picture is turned by 90 degrees before it is measured.
const knownPhoto = "photos/threetab-inch/roof-018.jpg"

// trueProfile is what learning would give at best for knownPhoto: its camera
// from the truth beside it, with the uncertainties of a good set of views.
func trueProfile(t *testing.T) lens.Profile {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testdata, knownPhoto))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(testdata, strings.TrimSuffix(knownPhoto, ".jpg")+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Camera struct {
			K    [3]float64
			Dist [4]float64 `json:"dist"`
		}
	}
	if err := json.Unmarshal(text, &truth); err != nil {
		t.Fatal(err)
	}
	f := photo.ReadFacts(data)
	k, d := truth.Camera.K, truth.Camera.Dist
	p := lens.Profile{Format: lens.Format, Device: f.Device, FocalMM: f.FocalMM, Focal35: f.Focal35MM, Width: f.SensorW, Height: f.SensorH,
		F: k[0], Cx: k[1], Cy: k[2], K1: d[0], K2: d[1], P1: d[2], P2: d[3]}
	for i, u := range []float64{5e-4, 5e-4, 1e-3, .7, .7, 1e-4, 1e-4} {
		p.Covariance[i][i] = u * u
	}
	return p
}

func saveProfile(t *testing.T, path string, p lens.Profile) {
	t.Helper()
	b, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, b)
}

// TestKnownCardAndCamera: a proved card and a fitting profile are used and
// said; a profile of another phone is never used, and that is said too.
func TestKnownCardAndCamera(t *testing.T) {
	dir := t.TempDir()
	picture, err := filepath.Abs(filepath.Join(testdata, knownPhoto))
	if err != nil {
		t.Fatal(err)
	}
	schedule := filepath.Join(filepath.Dir(picture), "schedule.yaml")
	own, other := trueProfile(t), trueProfile(t)
	other.Device = "Example Phone 9"
	saveProfile(t, filepath.Join(dir, own.FileName()), own)
	saveProfile(t, filepath.Join(dir, "a-first"+lens.Ext), other)
	plain := mustInspect(t)
	var number int
	for _, j := range plain {
		for _, p := range j.document.Photos {
			if p.File == filepath.Base(knownPhoto) {
				number = p.Card.Number
				if p.Card.Size != "nominal" || p.Camera.Source != "exif" {
					t.Errorf("without card file and profile: %+v %+v", p.Card, p.Camera)
				}
			}
		}
	}
	runIn(t, dir, "card", "prove", "--number", strconv.Itoa(number), "--length", "10.01in", "--out", "cards.json").said(t, exitDone)
	inspect := func(out string, args ...string) inspection.Photo {
		t.Helper()
		r := runIn(t, dir, append([]string{"inspect", picture, "--schedule", schedule, "--out", out}, args...)...)
		r.said(t, exitDone)
		return inspectionIn(t, filepath.Join(dir, out)).Photos[0]
	}
	check := func(p inspection.Photo, name string) inspection.Check {
		for _, c := range p.Checks {
			if c.Name == name {
				return c
			}
		}
		return inspection.Check{}
	}

	p := inspect("auto", "--camera", "auto", "--card", "cards.json")
	if c := check(p, "camera profile"); p.Camera.Source != "profile" || !c.OK || !strings.Contains(c.Text, own.FileName()) {
		t.Errorf("auto: %+v, %+v", p.Camera, c)
	}
	if math.Abs(p.Camera.FocalPx-own.F) > 3e-3*own.F || p.Camera.FocalU > 3 {
		t.Errorf("auto: focal length %.1f ± %.1f px, true %.1f", p.Camera.FocalPx, p.Camera.FocalU, own.F)
	}
	if p.Card.Size != "proved" {
		t.Errorf("card %+v", p.Card)
	}
	if html, err := os.ReadFile(filepath.Join(dir, "auto", "report.html")); err != nil || strings.Contains(string(html), "Card size nominal") {
		t.Errorf("the report says that a proved card is nominal (%v)", err)
	}

	p = inspect("other", "--camera", "a-first"+lens.Ext)
	if c := check(p, "camera profile"); p.Camera.Source != "exif" || c.OK || !strings.Contains(c.Text, "another device") {
		t.Errorf("profile of another phone: %+v, %+v", p.Camera, c)
	}
	if html, err := os.ReadFile(filepath.Join(dir, "other", "report.html")); err != nil || !strings.Contains(string(html), "Card size nominal in 1 of 1 measured photo:") {
		t.Errorf("the report does not say that the card's size is nominal (%v)", err)
	}
}

func TestCameraAndCardFilesWrong(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "s.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "p.jpg"), cardless(t, 400, 300))
	writeFile(t, filepath.Join(dir, "bad.json"), []byte(`{"format": "odd/1"}`))
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--camera", "none.json"}, "cannot be opened"}, {[]string{"--camera", "bad.json"}, `its format is "odd/1"`},
		{[]string{"--card", "none.json"}, "cannot be opened"}, {[]string{"--card", "bad.json"}, `its format is "odd/1"`},
	} {
		r := runIn(t, dir, append([]string{"inspect", "p.jpg", "--schedule", "s.yaml", "--out", "out"}, c.args...)...)
		r.said(t, exitUsage, c.says)
		r.oneError(t)
	}
	r := runIn(t, dir, "inspect", "p.jpg", "--schedule", "s.yaml", "--out", "out", "--camera", "auto")
	r.said(t, exitLook, "--camera auto: no profile", "coursegauge")
	writeFile(t, filepath.Join(dir, "broken"+lens.Ext), []byte("{"))
	r = runIn(t, dir, "inspect", "p.jpg", "--schedule", "s.yaml", "--out", "out", "--camera", "auto")
	r.said(t, exitLook, "broken"+lens.Ext+" left out")
}

// TestCameraLearnWrongUse: photos without a card, too few of them, of two
// phones: one line that says what to do.
func TestCameraLearnWrongUse(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "bare/a.jpg"), cardless(t, 400, 300))
	writeFile(t, filepath.Join(dir, "empty/notes.txt"), []byte("x"))
	job, err := filepath.Abs(filepath.Join(testdata, "photos"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--out", "x.json"}, "no photos given"},
		{[]string{"bare"}, "--out is missing"},
		{[]string{"nowhere", "--out", "x.json"}, "no such file or folder"},
		{[]string{"empty", "--out", "x.json"}, "no photos in the folder"},
		{[]string{"bare", "--out", "x.json"}, "0 usable views of the card; at least 4 are needed"},
		{[]string{filepath.Join(job, "laminated-metric"), filepath.Join(job, "threetab-inch"), "--out", "x.json"}, "devices"},
	} {
		r := runIn(t, dir, append([]string{"camera", "learn"}, c.args...)...)
		r.said(t, exitUsage, c.says)
		if _, err := os.Stat(filepath.Join(dir, "x.json")); err == nil {
			t.Errorf("%v wrote a profile", c.args)
		}
	}
}
