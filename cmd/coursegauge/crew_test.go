package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/ledger"
)

// crewSheets writes the sheets that the tests look at: of the photos of
// testdata, and of a simulated half year.
func crewSheets(t *testing.T) (dir string, names []string) {
	t.Helper()
	dir, path := demoLedger(t)
	l, err := ledger.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 4))
	var entries []ledger.Entry
	for i := range 36 {
		entries = append(entries, shift(r, 5*i, "Simulated", 9-float64(i)/3))
	}
	if _, err := l.Add(context.Background(), entries...); err != nil {
		t.Fatal(err)
	}
	l.Close()
	job := mustInspect(t)[0]
	for name, args := range map[string][]string{
		"demo.html": {"crew 1", "--photos", job.folder}, "demo-es.html": {"crew 1", "--lang", "es", "--photos", job.folder}, "exercise.html": {"crew 1", "--exercise", job.out},
		"ejercicio.html": {"crew 1", "--exercise", job.out, "--lang", "es"},
		"half-year.html": {"Simulated", "--from", "2026-04-01", "--to", "2026-06-30"}, "half-year-es.html": {"Simulated", "--lang", "es"},
	} {
		say(append([]string{"crew", "--ledger", path, "--out", filepath.Join(dir, name)}, args...)...).said(t, exitDone, ": "+filepath.Join(dir, name))
		names = append(names, name)
	}
	return dir, names
}

// Nothing that axe knows of is wrong with the sheets, in light and dark, wide
// and narrow; nothing is fetched, nothing blocked, nothing wider than the window.
func TestSheetsAccessible(t *testing.T) {
	t.Parallel()
	code := axe(t)
	dir, names := crewSheets(t)
	b := startBrowser(t)
	for _, name := range names {
		b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, name)}).String())
		for _, l := range []struct {
			width, height int
			scheme        string
		}{{1280, 900, "light"}, {1280, 900, "dark"}, {360, 740, "light"}} {
			b.look(l.width, l.height, "screen", l.scheme)
			b.accessible(fmt.Sprintf("%s, %d px, %s", name, l.width, l.scheme), code)
			var wide float64
			b.eval(`document.documentElement.scrollWidth - innerWidth`, &wide)
			if wide > 0 {
				t.Errorf("%s, %d px: the page is %.0f px wider than the window", name, l.width, wide)
			}
		}
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// The pictures of the habits come out of the photos, each with the nail in its
// ring; the exercise shows each photo of the crew, and on paper it is one page.
func TestSheetPictures(t *testing.T) {
	t.Parallel()
	dir, _ := crewSheets(t)
	b := startBrowser(t)
	b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, "demo.html")}).String())
	var cuts []struct{ W, H, X, Y float64 }
	b.eval(`[...document.querySelectorAll("svg.cut")].map(s => { const c = s.querySelector("g:has(> .cut-ring)").transform.baseVal[0].matrix; return {W: s.viewBox.baseVal.width, H: s.viewBox.baseVal.height, X: c.e, Y: c.f}; })`, &cuts)
	if len(cuts) < 3 {
		t.Errorf("%d pictures", len(cuts))
	}
	for _, c := range cuts {
		if c.X < 0 || c.X > c.W || c.Y < 0 || c.Y > c.H || c.W < 100 {
			t.Errorf("%+v", c)
		}
	}
	b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, "exercise.html")}).String())
	var steps, pictures int
	b.eval(`document.querySelectorAll(".step").length`, &steps)
	b.eval(`[...document.images].filter(i => i.complete && i.naturalWidth > 200).length`, &pictures)
	if want := len(mustInspect(t)[0].document.Photos); steps != want || pictures != want {
		t.Errorf("%d steps, %d pictures, want %d", steps, pictures, want)
	}
	for _, paper := range [][2]float64{{8.5, 11}, {8.27, 11.69}} {
		if pages := pdfPages(t, b.pdf(paper[0], paper[1])); pages != nil && len(pages) != 2 { // what follows the last form feed is empty
			t.Errorf("%v in: %d pages", paper, len(pages)-1)
		}
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// One person's sheet never shows another's work: no file, crew or figure of it.
func TestSheetsKeepPeopleApart(t *testing.T) {
	dir, names := crewSheets(t)
	jobs := mustInspect(t)
	for _, name := range names {
		page := string(mustRead(t, filepath.Join(dir, name)))
		own := 0
		if strings.HasPrefix(name, "half") {
			own = -1
		}
		for i, j := range jobs {
			for _, p := range j.document.Photos {
				if shown := strings.Contains(page, p.File); shown && i != own {
					t.Errorf("%s shows %s of another", name, p.File)
				}
			}
			if i != own && strings.Contains(page, fmt.Sprintf("crew %d", i+1)) {
				t.Errorf("%s names crew %d", name, i+1)
			}
		}
	}
}

// The half year of the simulated crew: its bias, and that it got better, which
// it did by a third of a millimetre a week.
func TestSheetTells(t *testing.T) {
	dir, _ := crewSheets(t)
	for name, words := range map[string][]string{
		"half-year.html":    {"Improved.", "above the aim", "You nail too high", "the time before"},
		"half-year-es.html": {"Mejoró.", "por encima del punto", "Clava demasiado alto", "la primera mitad"},
		"exercise.html":     {"Photo 1 of 3", "to the start"},
		"ejercicio.html":    {"Foto 1 de 3", "Lo que quiero hacer distinto"},
	} {
		page := string(mustRead(t, filepath.Join(dir, name)))
		for _, w := range words {
			if !strings.Contains(page, w) {
				t.Errorf("%s never says %q", name, w)
			}
		}
	}
}
