package main

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"coursegauge/report/review"
)

// reviewFolder is a copy of what inspect wrote about the job with the longest
// work list, so that a test may change it.
func reviewFolder(t *testing.T) (dir string, j inspectedJob) {
	t.Helper()
	jobs := mustInspect(t)
	j = slices.MaxFunc(jobs, func(a, b inspectedJob) int {
		return a.document.Totals.Verdicts["suspect"] - b.document.Totals.Verdicts["suspect"]
	})
	dir = t.TempDir()
	for _, name := range []string{"inspection.json", "fasteners.csv", "report.html"} {
		data, err := os.ReadFile(filepath.Join(j.out, name))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(dir, name), data)
	}
	return dir, j
}

// reviewing is a running review.
type reviewing struct {
	c    *exec.Cmd
	url  string
	said *bytes.Buffer
}

func startReview(t *testing.T, dir string, more ...string) *reviewing {
	t.Helper()
	r := &reviewing{c: exec.Command(binary, append([]string{"review", dir, "--no-open", "--who", "first reader"}, more...)...), said: &bytes.Buffer{}}
	r.c.Stderr = r.said
	out, err := r.c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.kill() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if r.url, _ = strings.CutPrefix(strings.TrimSpace(line), "review: "); err != nil || !strings.HasPrefix(r.url, "http://127.0.0.1:") {
		t.Fatalf("said %q, %v", line, err)
	}
	return r
}

// kill is kill -9.
func (r *reviewing) kill() {
	_ = r.c.Process.Kill()
	_ = r.c.Wait()
}

func (b *browser) openReview(r *reviewing) {
	b.t.Helper()
	b.home = r.url
	b.open(r.url)
	b.until("the page to be ready", `document.querySelector("#state")?.textContent.startsWith("Ready.")`)
}

// decisionsIn reads the log by the rules of its form.
func decisionsIn(t *testing.T, dir string) []review.Decision {
	t.Helper()
	path := filepath.Join(dir, review.FileName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all, err := review.ReadAll(path, data)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

const allSaved = `document.querySelector("#state").textContent.startsWith("Saved.")`

// Decide by keyboard, reload, kill -9 the server in the middle, start again:
// what was shown as saved is there, and the counts and the table follow.
func TestReviewByKeyboard(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	b := startBrowser(t)
	r := startReview(t, dir)
	b.openReview(r)
	var entries int
	b.eval(`document.querySelectorAll("article.entry").length`, &entries)
	if entries < 11 {
		t.Fatalf("%d entries; the test decides ten", entries)
	}
	b.press("o") // to the first
	keys := []string{"w", "s", "c", "w", "w", "s", "w", "c", "w", "s"}
	b.press(keys[:5]...)
	b.until("five to be saved", allSaved)
	b.open(r.url)
	b.until("five after a reload", `document.querySelector("#progress").textContent.startsWith("5 of ")`)
	b.press("o")
	b.press(keys[5:]...)
	// What is shown as saved at the moment of the kill.
	b.until("the first of the second five to be saved", `[...document.querySelectorAll(".answer")].filter(a => a.textContent.endsWith("Saved.")).length > 5`)
	r.kill()
	var shown []string
	b.eval(`[...document.querySelectorAll("figure[data-target]")].filter(f => f.querySelector(".answer")?.textContent.endsWith("Saved.")).map(f => f.closest("article").dataset.photo + "/" + f.dataset.target)`, &shown)
	there := map[string]bool{}
	for _, d := range decisionsIn(t, dir) {
		there[d.Key()] = true
	}
	for _, key := range shown {
		if !there[key] {
			t.Errorf("%s was shown as saved and is not in the log", key)
		}
	}
	b.until("the page to tell that the server is gone", `document.querySelector("#state").className === "bad"`)
	b.faults = nil // the browser's own words about the lost connection

	r = startReview(t, dir)
	b.openReview(r)
	b.until("all that was shown", fmt.Sprintf(`[...document.querySelectorAll(".answer")].filter(a => a.textContent.endsWith("Saved.")).length >= %d`, len(shown)))
	b.press("o") // whatever the kill cut off is decided again
	for range 12 {
		var done int
		b.eval(`parseInt(document.querySelector("#progress").textContent)`, &done)
		if done >= 10 {
			break
		}
		b.press("w")
		b.until("one more", fmt.Sprintf(`parseInt(document.querySelector("#progress").textContent) > %d`, done))
	}
	b.until("ten to be saved", `![...document.querySelectorAll(".answer")].some(a => a.textContent.includes("Not saved"))`)
	answers := review.Fold(decisionsIn(t, dir))
	var wrong int
	for _, p := range j.document.Photos {
		for _, h := range p.Heads {
			if what, by := answers.Answer(p.SHA256, review.HeadTarget(h.ID)); what == review.Wrong {
				wrong++
				if by.Who != "first reader" || !strings.ContainsAny(by.When[10:], "+-Z") {
					t.Errorf("%+v lacks who or when", by)
				}
			}
		}
	}
	b.until("the summary to follow", fmt.Sprintf(`document.querySelector("#after").textContent.includes("%d wrong of %d (")`, wrong, j.document.Totals.Fasteners))
	if err := r.c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := r.c.Wait(); err != nil {
		t.Errorf("stopped with %v", err)
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(mustRead(t, filepath.Join(dir, "fasteners.csv")), []byte("\ufeff")))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column, n := slices.Index(rows[0], "decision"), 0
	for _, row := range rows[1:] {
		if row[column] == "wrong" {
			n++
		}
	}
	if n != wrong || wrong == 0 {
		t.Errorf("%d rows of the table say wrong, %d heads are", n, wrong)
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

func mustRead(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Keys do what the list of keys says; undo takes back; a note is kept; keys can
// be changed and switched off.
func TestReviewKeys(t *testing.T) {
	t.Parallel()
	dir, _ := reviewFolder(t)
	b := startBrowser(t)
	r := startReview(t, dir)
	b.openReview(r)
	const current = `[...document.querySelectorAll("article.entry")].findIndex(e => e.classList.contains("current"))`
	at := func(want int, why string) {
		t.Helper()
		b.until(why, fmt.Sprintf(`%s === %d`, current, want))
	}
	b.press("j")
	at(0, "the first entry")
	b.press("j", "j", "k")
	at(1, "next, next, previous")
	b.press("s")
	at(2, "deciding to move on by itself")
	b.until("sound to be saved", allSaved+` && document.querySelectorAll("article.entry")[1].dataset.answer === "sound"`)
	b.press("u")
	at(1, "undo to go back")
	b.until("undo to be saved", allSaved+` && document.querySelectorAll("article.entry")[1].dataset.answer === ""`)
	b.press("n")
	b.until("the field for the note", `document.activeElement.tagName === "TEXTAREA"`)
	b.call("Input.insertText", map[string]any{"text": `<b>bent</b> "w" ` + "\u202e" + `evil`}, nil)
	b.call("Input.dispatchKeyEvent", map[string]any{"type": "keyDown", "key": "Enter", "modifiers": 2}, nil)
	b.until("the note", allSaved+` && document.querySelectorAll("article.entry")[1].querySelector(".answer q")?.textContent.startsWith("<b>bent</b>")`)
	b.press("z")
	b.until("zoom", `document.querySelectorAll("article.entry")[1].classList.contains("zoomed")`)
	b.press("h")
	b.until("the drawing to be hidden", `getComputedStyle(document.querySelector("article.entry .over path")).display === "none"`)
	b.press("h", "?")
	b.until("the list of keys", `document.querySelector("dialog").open`)
	b.eval(`(() => { const f = [...document.querySelectorAll("dialog tr")].find(r => r.textContent.startsWith("wrong")).querySelector("input"); f.value = "1"; f.dispatchEvent(new Event("input")); return true; })()`, new(bool))
	b.press("Escape")
	b.until("the list to close", `!document.querySelector("dialog").open`)
	b.press("w", "1")
	at(2, "the new key, not the old one, to decide")
	b.until("the new key to be saved", allSaved+` && document.querySelectorAll("article.entry")[1].dataset.answer === "wrong"`)
	b.eval(`(() => { document.querySelector("#keys-on").click(); return true; })()`, new(bool))
	b.press("s", "j")
	b.until("keys to be off", fmt.Sprintf(`%s === 2 && !document.querySelectorAll("article.entry")[2].dataset.answer`, current))
	for _, f := range b.faults {
		t.Error(f)
	}
}

// From the key to the next close-up on the screen.
func TestNextCloseupIsThere(t *testing.T) {
	dir, _ := reviewFolder(t)
	b := startBrowser(t)
	r := startReview(t, dir)
	b.openReview(r)
	b.press("j")
	var took, late []float64
	b.eval(`(async () => {
		const took = [], late = [];
		for (let i = 0; i < 9; i++) {
			await new Promise(requestAnimationFrame);
			const began = performance.now();
			document.dispatchEvent(new KeyboardEvent("keydown", {key: "j", bubbles: true}));
			const e = document.querySelector("article.current"), img = e.querySelector("img"), box = img.getBoundingClientRect();
			if (!img.complete || !img.naturalWidth || box.top < 0 || box.top > innerHeight) late.push(i);
			await img.decode();
			await new Promise(requestAnimationFrame);
			took.push(performance.now() - began);
		}
		window.late = late;
		return took;
	})()`, &took)
	b.eval(`late`, &late)
	slices.Sort(took)
	t.Logf("ms: %.0f", took) // for who looks; how long it takes depends on what else the machine does
	if len(took) != 9 || len(late) > 0 {
		t.Errorf("of %d close-ups these were not on the screen with the key: %v", len(took), late)
	}
}

// Two windows, two servers, one folder: each shows what the other decided, and
// where they disagree both answers stand.
func TestReviewTwoWindows(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	one, two := startBrowser(t), startBrowser(t)
	first, second := startReview(t, dir), startReview(t, dir)
	one.openReview(first)
	two.openReview(second)
	one.press("o", "w")
	one.until("the first to be saved", allSaved)
	two.until("the other window to show it", `document.querySelectorAll("article.entry")[0].dataset.answer === "wrong"`)
	two.press("j", "j", "s")
	two.until("the second to be saved", allSaved)
	one.until("and the other way round", `document.querySelectorAll("article.entry")[1].dataset.answer === "sound"`)

	// Somebody who saw neither.
	var target, photo string
	one.eval(`document.querySelectorAll("article.entry")[1].querySelector("figure").dataset.target`, &target)
	one.eval(`document.querySelectorAll("article.entry")[1].dataset.photo`, &photo)
	stranger := review.Decision{Format: review.Format, ID: review.NewID(), Photo: photo, File: j.document.Photos[0].File, Target: target, What: review.Wrong, Who: "second reader", When: "2026-05-04T17:30:00+02:00"}
	writeFile(t, filepath.Join(dir, "theirs.jsonl"), line(t, stranger))
	runIn(t, dir, "review", ".", "--merge", "theirs.jsonl").said(t, exitLook, "1 decision taken in", "stand now", "people disagree on "+target, "second reader", "first reader")
	for _, b := range []*browser{one, two} {
		b.until("the conflict to be shown", `document.querySelectorAll("article.entry")[1].querySelector(".answer.conflict")?.textContent.includes("second reader")`)
	}
	var heads int
	one.eval(`[...document.querySelectorAll("article.entry")].slice(0, 2).flatMap(e => [...e.querySelectorAll("figure[data-target]")]).length`, &heads)
	if n := len(decisionsIn(t, dir)); n != heads+1 {
		t.Errorf("%d decisions, want those on %d heads and the other one", n, heads)
	}
	one.press("k", "k", "j", "s")
	for _, b := range []*browser{one, two} {
		b.until("the conflict to be settled", `document.querySelectorAll("article.entry")[1].dataset.answer === "sound"`)
	}
	runIn(t, dir, "review", ".", "--merge", "theirs.jsonl").said(t, exitDone, "0 decisions taken in, 1 there already")
}

func line(t *testing.T, d review.Decision) []byte {
	t.Helper()
	b, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	return append(b, '\n')
}

// The report as a file: decisions stay in the browser, can be downloaded, and
// merged into the folder.
func TestReviewAsAFile(t *testing.T) {
	t.Parallel()
	dir, _ := reviewFolder(t)
	b := startBrowser(t)
	down := t.TempDir()
	b.call("Page.setDownloadBehavior", map[string]any{"behavior": "allow", "downloadPath": down}, nil)
	address := (&url.URL{Scheme: "file", Path: filepath.Join(dir, "report.html")}).String()
	b.open(address)
	// Without a name nothing is decided; the page asks for it, and goes on.
	b.press("o", "w", "n")
	b.until("the name to be asked for", `document.activeElement.id === "who" && document.querySelector("#state").textContent.includes("who you are")`)
	var kept int
	b.eval(`document.querySelectorAll("article.entry[data-answer=wrong], article.entry .note").length`, &kept)
	if kept != 0 {
		t.Errorf("%d entries were decided or noted by nobody", kept)
	}
	b.eval(`document.querySelector("#who").value = ""`, new(string)) // the key of the note came after the field had the focus
	b.press("m", "e", "Enter")
	b.until("the name to be taken", `document.querySelector("#state").textContent.startsWith("Thank you, me.")`)
	b.press("o", "w", "s", "c")
	b.until("three", `document.querySelector("#progress").textContent.startsWith("3 of ")`)
	b.open(address)
	b.until("three after a reload", `document.querySelector("#progress").textContent.startsWith("3 of ")`)
	b.eval(`(() => { document.querySelector("#who").value = "<i>third</i>"; document.querySelector("#who").onchange(); return true; })()`, new(bool))
	b.press("o", "w")
	b.eval(`(() => { [...document.querySelectorAll("#desk button")].find(b => b.textContent.startsWith("download")).click(); return true; })()`, new(bool))
	var files []string
	for end := time.Now().Add(20 * time.Second); len(files) == 0 && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		files, _ = filepath.Glob(filepath.Join(down, "decisions-*.jsonl"))
	}
	if len(files) != 1 {
		t.Fatalf("downloaded %q", files)
	}
	runIn(t, dir, "review", ".", "--merge", files[0]).said(t, exitDone, "taken in, 0 there already, 0 about nothing here")
	all := decisionsIn(t, dir)
	for _, d := range all {
		if d.Who == "" {
			t.Errorf("decided by nobody: %+v", d)
		}
	}
	if last := all[len(all)-1]; last.Who != "<i>third</i>" || last.What != review.Wrong || last.Tool == "" {
		t.Errorf("%+v", last)
	}
	r := startReview(t, dir)
	b.openReview(r)
	b.until("four in the served report", `document.querySelector("#progress").textContent.startsWith("4 of ")`)
	for _, f := range b.faults {
		t.Error(f)
	}
}

// Heads that were missed, marks that are no nail: by keyboard and by mouse, in
// place, and out again as a truth that agrees with the true one.
func TestReviewMarks(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	b := startBrowser(t)
	b.look(1280, 900, "screen", "light")
	r := startReview(t, dir, "--photos", j.folder)
	b.openReview(r)
	const stage = `document.querySelector("article.photo[data-size] .stage")`
	b.eval(`(() => { document.querySelector("article.photo[data-size] .tools button").click(); `+stage+`.scrollIntoView(); return true; })()`, new(bool))
	b.press("ArrowRight", "ArrowRight", "ArrowDown", "Enter")
	b.until("a missed head by keyboard", `document.querySelectorAll("g.mark.missed").length === 1 && `+allSaved)
	b.press("Enter")
	b.until("and its end", `document.querySelectorAll("g.mark.missed").length === 0 && `+allSaved)
	var at struct{ X, Y, Px, Py float64 }
	b.eval(`(() => { const s = `+stage+`, box = s.querySelector("img").getBoundingClientRect(), size = s.closest("article").dataset.size.split(" ").map(Number);
		const x = Math.round(box.left + box.width * .31), y = Math.round(Math.max(20, box.top) + 60);
		return {X: x, Y: y, Px: (x - box.left) / box.width * size[0] - .5, Py: (y - box.top) / box.height * size[1] - .5}; })()`, &at)
	b.click(at.X, at.Y)
	b.until("a missed head by mouse", `document.querySelectorAll("g.mark.missed").length === 1 && `+allSaved)
	b.eval(`(() => { const g = `+stage+`.querySelector("g.mark[data-head]"); g.scrollIntoView({block: "center"}); const m = g.getScreenCTM(); return {X: m.e, Y: m.f}; })()`, &at)
	b.click(at.X, at.Y)
	b.until("a mark that is no nail", `document.querySelectorAll("g.mark.struck").length === 1 && `+allSaved)
	b.eval(`(() => { [...document.querySelectorAll("article.photo[data-size] .tools button")].at(-1).click(); [...document.querySelectorAll("article.photo[data-size]")][0].querySelectorAll(".tools button")[1].click(); return true; })()`, new(bool))
	b.until("photos marked in full", `[...document.querySelectorAll(".tools button[aria-pressed=true]")].length >= 2 && `+allSaved)
	var place review.Decision
	for _, d := range decisionsIn(t, dir) {
		if d.What == review.Missed {
			place = d
		}
	}
	if p, ok := place.Place(); !ok || math.Hypot(p[0]-at.Px, p[1]-at.Py) > 4 { // a pixel of the screen is some three of the photo
		t.Errorf("clicked at %.1f, %.1f, marked %v", at.Px, at.Py, p)
	}
	checkPhotoIsServed(t, r, j)
	r.kill()
	marks := filepath.Join(t.TempDir(), j.name)
	runIn(t, dir, "review", ".", "--export-marks", marks, "--schedule", absolute(t, filepath.Join(j.folder, "schedule.yaml"))).said(t, exitDone, "marks of 2 photos")
	compareMarksWithTruth(t, j, marks, place)
	for _, f := range b.faults {
		t.Error(f)
	}
}

// click presses the mouse at a place of the page's window.
func (b *browser) click(x, y float64) {
	b.t.Helper()
	for _, kind := range []string{"mousePressed", "mouseReleased"} {
		b.call("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1}, nil)
	}
}

func absolute(t *testing.T, path string) string {
	t.Helper()
	abs, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	return abs
}

func checkPhotoIsServed(t *testing.T, r *reviewing, j inspectedJob) {
	t.Helper()
	p := j.document.Photos[0]
	resp, err := http.Get(r.url + "photo/" + p.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	got, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK || !bytes.Equal(got, mustRead(t, filepath.Join(j.folder, p.File))) {
		t.Errorf("full-size photo: %d, %d bytes, %v", resp.StatusCode, len(got), err)
	}
}

// compareMarksWithTruth: the exported heads lie where the true ones do, but for
// the one that was called no nail; the one that was added is there.
func compareMarksWithTruth(t *testing.T, j inspectedJob, folder string, place review.Decision) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(folder, "*.truth.json"))
	exported, matched, added := 0, 0, false
	for _, file := range files {
		var marks truthOf
		if err := json.Unmarshal(mustRead(t, file), &marks); err != nil {
			t.Fatal(err)
		}
		truth := readTruth(t, j, strings.TrimSuffix(filepath.Base(file), ".truth.json")+".jpg")
		for _, m := range marks.Fasteners {
			added = added || m.ID == place.ID
			exported++
			for _, f := range truth.Fasteners {
				if f.Visible && math.Hypot(m.Px[0]-f.Px[0], m.Px[1]-f.Px[1]) < 8 {
					matched++
				}
			}
		}
	}
	if !added || exported == 0 || matched < exported-2 {
		t.Errorf("%d marks, %d of them on true heads, the added one among them: %v", exported, matched, added)
	}
}

// A log with a torn end and a decision about another photo: both are told, what
// is whole is kept.
func TestReviewTellsOfALogOutOfOrder(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	var good review.Decision
	for _, p := range j.document.Photos {
		if len(p.Heads) > 0 {
			good = review.Decision{Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(p.Heads[0].ID), What: review.Wrong, Who: "x", When: "2026-05-04T17:30:00+02:00"}
		}
	}
	stranger := good
	stranger.ID, stranger.Photo = review.NewID(), strings.Repeat("ab", 32)
	whole := append(line(t, good), line(t, stranger)...)
	writeFile(t, filepath.Join(dir, review.FileName), append(whole, whole[:40]...))
	r := runIn(t, dir, "review", ".", "--mend", "m.html")
	r.said(t, exitDone, "mend list: m.html", "warning: decisions.jsonl ended in the middle of a line", "the 40 bytes are kept in decisions.jsonl.torn-", "1 decision is about nothing in this inspection")
	if now := mustRead(t, filepath.Join(dir, review.FileName)); !bytes.Equal(now, whole) {
		t.Errorf("the log is now %q", now)
	}
}

// A folder from somebody else: what a link leads to is not touched, whichever
// command reads the decisions; and everybody's file is told of.
func TestReviewOfAPlantedLog(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	path, target := filepath.Join(dir, review.FileName), filepath.Join(t.TempDir(), "diary.txt")
	const text = "Monday: rain\nTuesday: no newline here"
	writeFile(t, target, []byte(text))
	if err := os.Symlink(target, path); err != nil {
		t.Skip(err)
	}
	writeFile(t, filepath.Join(dir, "theirs.jsonl"), nil)
	for _, args := range [][]string{
		{"review", ".", "--mend", "m.html"}, {"review", ".", "--merge", "theirs.jsonl"}, {"review", ".", "--no-open"},
		{"ledger", "add", ".", "--ledger", "l"}, {"record", "make", ".", "--out", "r", "--schedule", absolute(t, filepath.Join(j.folder, "schedule.yaml")), "--photos", absolute(t, j.folder)},
	} {
		r := runIn(t, dir, args...)
		if r.status != exitFailed && r.status != exitUsage || !strings.Contains(r.err, "is no regular file but a link") {
			t.Errorf("%q: exit status %d, said %s", args, r.status, r.err)
		}
		if now := mustRead(t, target); string(now) != text {
			t.Fatalf("%q: the target is now %q", args, now)
		}
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, nil)
	for mode, told := range map[os.FileMode]bool{0o644: false, 0o664: false, 0o666: true} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		if r := runIn(t, dir, "review", ".", "--mend", "m.html"); strings.Contains(r.err, "everybody on this machine may write") != told || r.status != exitDone {
			t.Errorf("mode %o: %d, %s", mode, r.status, r.err)
		}
	}
}

func TestReviewWrongUse(t *testing.T) {
	t.Parallel()
	dir, j := reviewFolder(t)
	writeFile(t, filepath.Join(dir, "broken.jsonl"), []byte("{\"format\":\"coursegauge-decision/1\"}\n"))
	stranger := review.Decision{Format: review.Format, ID: review.NewID(), Photo: strings.Repeat("ab", 32), Target: "head/1", What: review.Wrong, When: "2026-05-04T17:30:00+02:00"}
	writeFile(t, filepath.Join(dir, "strange.jsonl"), line(t, stranger))
	writeFile(t, filepath.Join(dir, "other.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "old/inspection.json"), mustRead(t, filepath.Join(dir, "inspection.json")))
	writeFile(t, filepath.Join(dir, "old/report.html"), []byte("<html><script>old</script></html>"))
	for _, c := range []struct {
		name, line string
		words      []string
	}{
		{"no folder", "review", []string{"one folder is needed"}},
		{"a folder without an inspection", "review ..", []string{"no inspection at"}},
		{"a language that is none", "review . --mend m.html --lang de", []string{"--lang de", "en, es"}},
		{"a port that is none", "review . --port 70000", []string{"0 to 65535"}},
		{"a merge of nothing", "review . --merge none.jsonl", []string{"none.jsonl", "no such file"}},
		{"a merge of a broken file", "review . --merge broken.jsonl", []string{"broken.jsonl:1", "id must have"}},
		{"a merge of another roof's", "review . --merge strange.jsonl", []string{"not one of the 1 decision"}},
		{"marks without a schedule", "review . --export-marks m", []string{"--export-marks needs --schedule"}},
		{"marks by another schedule", "review . --export-marks m --schedule other.yaml", []string{"is not the schedule"}},
		{"marks before anything is marked", "review . --export-marks m --schedule " + absolute(t, filepath.Join(j.folder, "schedule.yaml")), []string{"no photo is marked in full"}},
		{"a report of another version", "review old --no-open", []string{"no content security policy", "inspect again"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := runIn(t, dir, strings.Fields(c.line)...)
			r.said(t, exitUsage, c.words...)
			if r.out != "" {
				t.Errorf("said %q", r.out)
			}
			if _, err := os.Stat(filepath.Join(dir, review.FileName)); err == nil {
				t.Error("a log was made")
			}
		})
	}
}
