package main

import (
	"bytes"
	"image/png"
	"math"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// shownMark is a mark as the browser lays it out, in pixels of the upright
// photo with (0, 0) at the centre of the first pixel.
type shownMark struct {
	File, Head, Verdict, Words string
	X, Y                       float64
}

// marksOnPage asks where each mark's origin comes to lie over its photo. SVG
// counts from the corner of the first pixel, hence the half.
const marksOnPage = `[...document.querySelectorAll("article.photo")].flatMap(a => {
	const img = a.querySelector("img"), svg = a.querySelector("svg.over g.mark")?.ownerSVGElement;
	if (!svg) return [];
	const box = img.getBoundingClientRect(), view = svg.viewBox.baseVal;
	return [...svg.querySelectorAll("g.mark")].map(g => {
		const m = g.getScreenCTM();
		return {
			File: a.querySelector(".name").textContent.trim(), Head: g.dataset.head,
			Verdict: g.classList[1], Words: g.querySelector("title").textContent,
			X: (m.e - box.left) / box.width * view.width - 0.5,
			Y: (m.f - box.top) / box.height * view.height - 0.5,
		};
	});
})`

// The report in a real browser: nothing red in the console, nothing fetched,
// every picture shown, and each mark where its head is.
func TestReportInBrowser(t *testing.T) {
	jobs := mustInspect(t)
	b := startBrowser(t)
	for _, j := range jobs {
		t.Run(j.name, func(t *testing.T) {
			b.t, b.faults = t, nil
			path, err := filepath.Abs(filepath.Join(j.out, "report.html"))
			if err != nil {
				t.Fatal(err)
			}
			b.open((&url.URL{Scheme: "file", Path: path}).String())
			var marks []shownMark
			b.eval(marksOnPage, &marks)
			compareMarks(t, j, marks)
			var broken int
			b.eval(`[...document.images].filter(i => !i.complete || i.naturalWidth === 0).length`, &broken)
			if broken > 0 {
				t.Errorf("%d pictures are not shown", broken)
			}
			lookAt(t, b.screenshot())
			for _, f := range b.faults {
				t.Error(f)
			}
		})
	}
}

// compareMarks holds each mark against its head in the inspection (0.5 px:
// the browser's layout rounds) and against the true head (2 px).
func compareMarks(t *testing.T, j inspectedJob, marks []shownMark) {
	t.Helper()
	heads, truly := 0, 0
	for _, p := range j.document.Photos {
		if p.Refusal != nil {
			continue
		}
		truth := readTruth(t, j, p.File)
		for _, h := range p.Heads {
			heads++
			i := slices.IndexFunc(marks, func(m shownMark) bool {
				return m.File == p.File && math.Hypot(m.X-h.Px[0], m.Y-h.Px[1]) <= 0.5
			})
			if i < 0 {
				t.Errorf("%s: no mark at head %d", p.File, h.ID)
				continue
			}
			if m := marks[i]; m.Verdict != h.Verdict || !strings.Contains(m.Words, strings.ReplaceAll(h.Verdict, "_", " ")) {
				t.Errorf("%s: head %d is %s, its mark is %s and reads %q", p.File, h.ID, h.Verdict, m.Verdict, m.Words)
			}
			for _, f := range truth.Fasteners {
				if !f.Visible || headAt(p.Heads, f.Px, f.RadiusPx) == nil || headAt(p.Heads, f.Px, f.RadiusPx).ID != h.ID {
					continue
				}
				truly++
				if d := math.Hypot(marks[i].X-f.Px[0], marks[i].Y-f.Px[1]); d > 2 {
					t.Errorf("%s: the mark of head %d is %.1f px off the true head %s", p.File, h.ID, d, f.ID)
				}
			}
		}
	}
	if heads != len(marks) || truly == 0 {
		t.Errorf("%d heads, %d marks, %d of them on true heads", heads, len(marks), truly)
	}
}

// lookAt fails on a screenshot that is one colour, as of a page that did not
// render.
func lookAt(t *testing.T, shot []byte) {
	t.Helper()
	m, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[[3]uint32]bool{}
	for y := m.Bounds().Min.Y; y < m.Bounds().Max.Y; y += 3 {
		for x := m.Bounds().Min.X; x < m.Bounds().Max.X; x += 3 {
			r, g, b, _ := m.At(x, y).RGBA()
			seen[[3]uint32{r, g, b}] = true
		}
	}
	if len(seen) < 8 {
		t.Errorf("the screenshot has %d colours", len(seen))
	}
}
