package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

// axe gives the accessibility rules, after a look at what they are.
func axe(t *testing.T) string {
	t.Helper()
	const want = "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c" // testdata/axe/README.md
	code := mustRead(t, filepath.Join(testdata, "axe/axe.min.js"))
	if sum := sha256.Sum256(code); hex.EncodeToString(sum[:]) != want {
		t.Fatalf("axe.min.js has the SHA-256 %x", sum)
	}
	return string(code)
}

// axeRun asks for what breaks WCAG 2.2 A or AA, and for the named good practices.
const axeRun = `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => {
	if (r.passes.length < 15) throw new Error("only " + r.passes.length + " rules looked at anything");
	return r.violations.map(v => v.id + " (" + v.impact + "): " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + " " + (n.any[0]?.message || n.all[0]?.message || n.none[0]?.message || "")).join(" | "));
})`

func (b *browser) accessible(what, code string) {
	b.t.Helper()
	b.eval("(() => {"+code+"\n; return true; })()", new(bool))
	var violations []string
	b.eval(axeRun, &violations)
	for _, v := range violations {
		b.t.Errorf("%s: %s", what, v)
	}
}

// Nothing that axe knows of is wrong with report and mend list, in light and
// dark, wide and narrow, served and as a file.
func TestAccessible(t *testing.T) {
	t.Parallel()
	code := axe(t)
	dir, _ := reviewFolder(t)
	b := startBrowser(t)
	r := startReview(t, dir)
	b.openReview(r)
	b.press("o", "w", "n")
	for _, l := range []struct {
		width, height int
		scheme        string
	}{{1280, 900, "light"}, {1280, 900, "dark"}, {360, 740, "light"}, {2560, 1440, "dark"}} {
		b.look(l.width, l.height, "screen", l.scheme)
		b.accessible(fmt.Sprintf("report, %d px, %s", l.width, l.scheme), code)
		var wide float64
		b.eval(`document.documentElement.scrollWidth - innerWidth`, &wide)
		if wide > 0 {
			t.Errorf("%d px: the page is %.0f px wider than the window", l.width, wide)
		}
		// WCAG 2.2, 2.5.8: 24 px, but for links in running text.
		var small []string
		b.eval(`[...document.querySelectorAll("button, input, summary, .do-it a")].filter(e => e.checkVisibility({contentVisibilityAuto: false})).map(e => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()]).filter(([, r]) => r.width > 0 && (r.width < 23.5 || r.height < 23.5)).map(([h]) => h).slice(0, 5)`, &small)
		for _, s := range small {
			t.Errorf("%d px: under 24 px: %s", l.width, s)
		}
	}
	b.eval(`(() => { document.querySelector("dialog").showModal(); return true; })()`, new(bool))
	b.accessible("list of keys", code)
	for _, lang := range []string{"en", "es"} {
		b.open(r.url + "mend?lang=" + lang)
		b.look(1280, 900, "screen", "light")
		b.accessible("mend list, "+lang, code)
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// On paper, Letter and A4, no entry is cut in two: each is told to stay whole
// and is no higher than a page; and what is printed has every entry's first and
// last words on one page.
func TestPrintCutsNoEntry(t *testing.T) {
	t.Parallel()
	dir, _ := reviewFolder(t)
	b := startBrowser(t)
	b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, "report.html")}).String())
	for _, paper := range []struct {
		name          string
		width, height float64 // in
	}{{"letter", 8.5, 11}, {"a4", 8.27, 11.69}} {
		const margin = 14 / 25.4 * 96 // px, as the style sheet says
		b.look(int(paper.width*96-2*margin), 1000, "print", "light")
		var cut []string
		b.eval(fmt.Sprintf(`[...document.querySelectorAll("article.entry")].filter(e => getComputedStyle(e).breakInside !== "avoid" || e.offsetHeight > %f).map(e => e.querySelector("h3").textContent + " " + e.offsetHeight)`, paper.height*96-2*margin), &cut)
		for _, c := range cut {
			t.Errorf("%s: cut: %s", paper.name, c)
		}
		pages := pdfPages(t, b.pdf(paper.width, paper.height))
		if pages == nil {
			continue
		}
		var ends [][2]string
		b.eval(`[...document.querySelectorAll("article.entry")].map(e => [e.querySelector("h3").textContent, [...e.querySelectorAll(".why p")].at(-1).textContent])`, &ends)
		for _, e := range ends {
			whole := false
			for _, p := range pages {
				whole = whole || strings.Contains(p, squeezed(e[0])) && strings.Contains(p, squeezed(e[1]))
			}
			if !whole {
				t.Errorf("%s: no page has all of %q", paper.name, e[0])
			}
		}
	}
}

// pdfPages is the text of each page without its spaces, nil where no pdftotext is here.
func pdfPages(t *testing.T, pdf []byte) (pages []string) {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Log("no pdftotext here, the printed pages are not read")
		return nil
	}
	c := exec.Command("pdftotext", "-layout", "-", "-")
	c.Stdin = bytes.NewReader(pdf)
	text, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	raw := exec.Command("pdftotext", "-raw", "-", "-")
	raw.Stdin = bytes.NewReader(pdf)
	more, err := raw.Output()
	if err != nil {
		t.Fatal(err)
	}
	one, two := strings.Split(string(text), "\f"), strings.Split(string(more), "\f")
	for i := range one {
		pages = append(pages, squeezed(one[i])+squeezed(two[min(i, len(two)-1)]))
	}
	return pages
}

func squeezed(s string) string { return strings.Join(strings.Fields(s), "") }

// The mend list: every mark stands on its place, what is sound is left out, and
// in Spanish it says that it is.
func TestMendList(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	var sound, wrong review.Decision
	var at inspection.XY
	for _, p := range j.document.Photos {
		for _, h := range p.Heads {
			d := review.Decision{Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(h.ID), Who: "x", When: "2026-05-04T17:30:00+02:00", What: review.Sound}
			switch {
			case h.Verdict == "suspect" && sound.ID == "":
				sound = d
			case h.Verdict == "suspect" && wrong.ID == "":
				d.What, d.Note, wrong, at = review.Wrong, "con cuidado", d, h.Px
			}
		}
	}
	wrong.What, wrong.Note = review.Wrong, "con cuidado"
	writeFile(t, filepath.Join(dir, review.FileName), append(line(t, sound), line(t, wrong)...))
	runIn(t, dir, "review", ".", "--mend", "lista.html", "--lang", "es").said(t, exitDone, "mend list: lista.html")
	b := startBrowser(t)
	b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, "lista.html")}).String())
	var seen struct {
		Lang, Text string
		Pictures   int
		Boxes      int
		Marks      [][2]float64
	}
	b.eval(`({Lang: document.documentElement.lang, Text: document.body.innerText, Boxes: document.querySelectorAll("input[type=checkbox]").length,
		Pictures: [...document.images].filter(i => i.complete && i.naturalWidth > 400).length,
		Marks: [...document.querySelectorAll("svg g")].map(g => g.getAttribute("transform").match(/-?[\d.]+/g).map(Number))})`, &seen)
	for _, want := range []string{"Lista de reparaciones", "decidido: mal", "con cuidado", "Antes de empezar"} {
		if !strings.Contains(seen.Text, want) {
			t.Errorf("the list does not say %q", want)
		}
	}
	n := strings.TrimPrefix(sound.Target, "head/")
	if seen.Lang != "es" || seen.Pictures == 0 || seen.Boxes != len(seen.Marks) || strings.Contains(strings.Split(seen.Text, "Foto ")[1], "Clavo "+n+":") {
		t.Errorf("lang %q, %d pictures, %d boxes, %d marks, or head %s, which is sound, is in the list", seen.Lang, seen.Pictures, seen.Boxes, len(seen.Marks), n)
	}
	found := false
	for _, m := range seen.Marks {
		found = found || m[0] == at[0] && m[1] == at[1]
	}
	if !found {
		t.Errorf("no mark at %v", at)
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// Whatever a file, a crew or a note is called, it is shown as text.
func TestInjection(t *testing.T) {
	t.Parallel()
	jobs := mustInspect(t)
	const evil = `<img src=x onerror="window.evil=1"><script>window.evil=2</script>'"&amp;` + "\u202e"
	dir := t.TempDir()
	name := evil + ".jpg"
	name = strings.ReplaceAll(name, "/", "\u2215") // the one letter that no file name can hold
	writeFile(t, filepath.Join(dir, "photos", name), mustRead(t, filepath.Join(jobs[0].folder, jobs[0].document.Photos[0].File)))
	writeFile(t, filepath.Join(dir, "lot.yaml"), mustRead(t, filepath.Join(jobs[0].folder, "schedule.yaml")))
	crew, err := json.Marshal(evil)
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "crews.yaml"), []byte("folders: {photos: "+string(crew)+"}\n"))
	r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out")
	if r.status > exitLook {
		t.Fatalf("%d %s", r.status, r.err)
	}
	if !strings.Contains(r.err+string(mustRead(t, filepath.Join(dir, "out/inspection.json"))), "onerror") {
		t.Fatal("the names did not get in; the test looks at nothing")
	}
	b := startBrowser(t)
	s := startReview(t, filepath.Join(dir, "out"))
	b.openReview(s)
	b.press("o", "n")
	b.until("the field", `document.activeElement.tagName === "TEXTAREA"`)
	b.call("Input.insertText", map[string]any{"text": strings.Repeat(evil, 30)}, nil)
	b.call("Input.dispatchKeyEvent", map[string]any{"type": "keyDown", "key": "Enter", "modifiers": 2}, nil)
	b.until("the note", allSaved)
	for _, address := range []string{s.url, s.url + "mend?lang=en", s.url + "mend?lang=es"} {
		b.open(address)
		if address == s.url {
			b.until("the note again", `document.querySelector(".answer q")?.textContent.includes("onerror")`)
		}
		var seen struct {
			Evil, Scripts, Pictures int
			Shown                   bool
		}
		b.eval(`({Evil: window.evil || 0, Scripts: document.scripts.length, Pictures: [...document.images].filter(i => !i.src.startsWith("data:")).length, Shown: document.body.textContent.includes('<img src=x onerror="window.evil=1">')})`, &seen)
		if seen.Evil != 0 || seen.Scripts > 1 || seen.Pictures > 0 || !seen.Shown {
			t.Errorf("%s: %+v", address[len(s.url):], seen)
		}
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// --no-location leaves place and device out of everything; without it the
// report says that they are inside.
func TestNoLocation(t *testing.T) {
	t.Parallel()
	jobs := mustInspect(t)
	for _, j := range jobs {
		for _, p := range j.document.Photos {
			if p.Location == nil || p.Device == "" {
				continue
			}
			if !bytes.Contains(mustRead(t, filepath.Join(j.out, "report.html")), []byte("Location inside: ")) {
				t.Error("the report does not say that the location is inside")
			}
			dir := t.TempDir()
			out := filepath.Join(dir, "out")
			runIn(t, dir, "inspect", absolute(t, filepath.Join(j.folder, p.File)), "--schedule", absolute(t, filepath.Join(j.folder, "schedule.yaml")), "--out", "out", "--no-location")
			d := inspectionIn(t, out)
			if len(d.Photos) != 1 || d.Photos[0].Location != nil || d.Photos[0].Device != "" || d.Photos[0].Taken == "" {
				t.Errorf("%+v", d.Photos)
			}
			for _, name := range filesIn(t, out) {
				data := mustRead(t, filepath.Join(out, name))
				for _, word := range []string{p.Device, fmt.Sprint(p.Location.Lat), fmt.Sprint(p.Location.Lon), "\"device\"", "\"location\""} {
					if bytes.Contains(data, []byte(word)) {
						t.Errorf("%s holds %q", name, word)
					}
				}
			}
			if !bytes.Contains(mustRead(t, filepath.Join(out, "report.html")), []byte("left out on request")) {
				t.Error("the report does not say that the location was left out")
			}
			return
		}
	}
	t.Fatal("no photo of testdata has a place and a device")
}

var article = regexp.MustCompile(`(?s)<article class="(entry|photo)[^>]*? id="([^"]+)".*?</article>\n`)

// Four hundred photos: under 80 MB, open in under 3 s on an idle machine. The
// photos are those of testdata again and again, each with all of its entries.
func TestFourHundredPhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("large")
	}
	const photos, most = 400, 80_000_000
	dir, _ := reviewFolder(t)
	var entries, sections []string
	var page string
	for _, j := range mustInspect(t) {
		page = string(mustRead(t, filepath.Join(j.out, "report.html")))
		for _, m := range article.FindAllStringSubmatch(page, -1) {
			if m[1] == "entry" {
				entries = append(entries, m[0])
			} else if strings.Contains(m[0], `data-size=`) {
				sections = append(sections, m[0])
			}
		}
	}
	spans := article.FindAllStringIndex(page, -1)
	firstPhoto := strings.Index(page, `<article class="photo`)
	lastEntry := 0
	for _, s := range spans {
		if s[0] < firstPhoto {
			lastEntry = s[1]
		}
	}
	path := filepath.Join(dir, "report.html")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	renamed := func(of []string, i int) {
		for _, s := range of {
			s = regexp.MustCompile(`(["#])p([0-9a-f]{16})`).ReplaceAllString(s, fmt.Sprintf("${1}p%06x$2", i))
			s = regexp.MustCompile(`data-photo="......`).ReplaceAllString(s, fmt.Sprintf(`data-photo="%06x`, i))
			fmt.Fprint(f, s)
		}
	}
	rounds := photos / len(sections)
	fmt.Fprint(f, page[:spans[0][0]])
	for i := range rounds {
		renamed(entries, i)
	}
	fmt.Fprint(f, page[lastEntry:firstPhoto])
	for i := range rounds {
		renamed(sections, i)
	}
	fmt.Fprint(f, page[spans[len(spans)-1][1]:])
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	b := startBrowser(t)
	began := time.Now()
	b.open((&url.URL{Scheme: "file", Path: path}).String())
	took := time.Since(began)
	var first, n float64
	b.eval(`performance.getEntriesByName("first-contentful-paint")[0]?.startTime || 0`, &first)
	b.eval(`document.querySelectorAll("article.entry").length`, &n)
	t.Logf("%d photos, %.0f entries, %.1f MB: first words after %.0f ms, all of it after %v", rounds*len(sections), n, float64(info.Size())/1e6, first, took)
	if info.Size() > most {
		t.Errorf("%d bytes", info.Size())
	}
	if rounds*len(sections) < photos*9/10 {
		t.Errorf("%d photos", rounds*len(sections))
	}
	b.eval(`(() => { document.querySelector("#who").value = "Inspector"; document.querySelector("#who").onchange(); return true; })()`, new(bool))
	began = time.Now()
	b.press("o", "w")
	b.until("a decision", `document.querySelector("#progress").textContent.startsWith("1 of ")`)
	t.Logf("first decision after %v", time.Since(began))
	for _, f := range b.faults {
		t.Error(f)
	}
}
