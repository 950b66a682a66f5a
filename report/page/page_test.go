package page

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/sign"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

var update = flag.Bool("update", false, "renew the goldens")

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The pictures are left out of the golden: their bytes may differ with the
// processor that OpenCV finds. What is in them is tested in picture_test.go.
var pictures = regexp.MustCompile(`base64,[A-Za-z0-9+/=]+"`)

func TestGolden(t *testing.T) {
	w, doc := added(t, sceneSchedule(t), "a-scene.jpg")
	got := finished(t, w, doc)
	if n := len(pictures.FindAllString(got, -1)); n != 3+3 {
		t.Errorf("%d pictures, want the photo, a small one for its entries, the refused one and three close-ups", n)
	}
	got = pictures.ReplaceAllString(got, `base64,"`)
	path := filepath.Join("testdata", "report.html")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := read(t, path); got != want {
		t.Errorf("%s differs; renew it with -update if that is meant", path)
	}
}

// What a head's table lists adds up, in squares, to its last row, which is the
// U95 of the length as it stands above.
func TestBudgetTableAddsUp(t *testing.T) {
	r := sceneResult()
	f := r.Fasteners[0]
	table := newBudgetTable(f, r.Inputs)
	if len(table.Rows) != 4 || len(table.Lengths) != 4 {
		t.Fatalf("%d sources and %d lengths, the scene's head has 4 of each", len(table.Rows), len(table.Lengths))
	}
	number := func(s string) float64 {
		if s == "" {
			return 0
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for c, name := range table.Lengths {
		sum := 0.0
		for _, row := range table.Rows {
			sum += number(row.U95[c]) * number(row.U95[c])
		}
		if total := number(table.Total[c]); math.Abs(math.Sqrt(sum)-total) > .002 { // each printed to a thousandth
			t.Errorf("%s: the rows add up to %.4f in, the last one says %s in", name, math.Sqrt(sum), table.Total[c])
		}
	}
	if want := fmt.Sprintf("%.3f", f.AboveButt.U95()/length.Inch); table.Total[0] != want {
		t.Errorf("height above the butt: all together %s in, U95 is %s in", table.Total[0], want)
	}
	if got := newBudgetTable(vision.Fastener{}, r.Inputs); got != nil {
		t.Errorf("a head without lengths has the table %v", got)
	}
}

// element is a start tag with its attributes.
type element struct {
	name string
	attr map[string]string
}

// elements reads the page as XML, which is stricter than HTML: every tag is
// closed, every attribute quoted, every bare < and & escaped.
func elements(t *testing.T, page string) (out []element, text string) {
	t.Helper()
	before, rest, _ := strings.Cut(page, "<script>") // of ours, and no XML
	own, after, ok := strings.Cut(rest, "</script>")
	if !ok || own != script {
		t.Error("the page does not hold its script as it is")
	}
	page = before + "<script>" + after[:0] + "</script>" + after
	d := xml.NewDecoder(strings.NewReader(page))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out, text
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := element{tok.Name.Local, map[string]string{}}
			for _, a := range tok.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			out = append(out, e)
		case xml.CharData:
			text += string(tok)
		}
	}
}

func TestWellFormed(t *testing.T) {
	w, doc := added(t, sceneSchedule(t), "a-scene.jpg")
	all, _ := elements(t, finished(t, w, doc))
	ids, count := map[string]bool{}, map[string]int{}
	for _, e := range all {
		count[e.name]++
		if id := e.attr["id"]; id != "" {
			if ids[id] {
				t.Errorf("id %s stands twice", id)
			}
			ids[id] = true
		}
		if e.name == "img" && e.attr["alt"] == "" {
			t.Error("a picture without words for those who cannot see it")
		}
		if _, ok := e.attr["style"]; ok {
			t.Errorf("%s has a style of its own, which the policy forbids", e.name)
		}
	}
	for _, e := range all {
		if h, ok := e.attr["href"]; ok && !strings.HasPrefix(h, "data:") && !ids[strings.TrimPrefix(h, "#")] {
			t.Errorf("link to %s leads nowhere", h)
		}
		if l, ok := e.attr["aria-labelledby"]; ok && !ids[l] {
			t.Errorf("label %s is missing", l)
		}
	}
	for name, n := range map[string]int{"main": 1, "header": 1, "footer": 1, "h1": 1, "article": 3 + 3, "script": 1} {
		if count[name] != n {
			t.Errorf("%d of <%s>, want %d", count[name], name, n)
		}
	}
}

func TestPolicyAllowsTheStyle(t *testing.T) {
	w, doc := added(t, sceneSchedule(t), "a-scene.jpg")
	page := finished(t, w, doc)
	_, rest, _ := strings.Cut(page, "<style>")
	css, _, ok := strings.Cut(rest, "</style>")
	if !ok || strings.Contains(script, "</") {
		t.Fatal("no style, or a script that would end early")
	}
	want := "style-src " + hash(css) + "; script-src " + hash(script) + "; connect-src 'self'; base-uri 'none'; form-action 'none'"
	all, _ := elements(t, page)
	for _, e := range all {
		if e.attr["http-equiv"] == "Content-Security-Policy" {
			if !strings.HasSuffix(e.attr["content"], want) || !strings.HasPrefix(e.attr["content"], "default-src 'none';") {
				t.Errorf("policy %q does not allow %s alone", e.attr["content"], want)
			}
			return
		}
	}
	t.Error("no policy")
}

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func TestNothingIsInjected(t *testing.T) {
	const evil = `x"><script>alert(1)</script><img src=x onerror=alert(2)>'{{.}}&amp;.jpg`
	s := sceneSchedule(t)
	s.Title, s.Source, s.Shingle.Name = evil, evil, evil
	w, doc := added(t, s, evil)
	r := &vision.Result{Refusal: &vision.Refusal{Reason: vision.Reason(evil), Detail: evil, Advice: evil}}
	p := inspection.Build(inspection.Source{File: "evil" + evil, SHA256: evil, Crew: evil}, s, r, judge.Photo{})
	p.Device, p.Taken = evil, evil
	put(t, w, p, r, judge.Photo{}, nil)
	doc = inspection.New(doc.Tool, inspection.Schedule{File: evil, SHA256: evil, Title: evil}, evil, append(doc.Photos, p))
	all, text := elements(t, finished(t, w, doc))
	scripts := 0
	for _, e := range all {
		if e.name == "script" {
			scripts++
		}
		if scripts > 1 || e.attr["src"] == "x" {
			t.Errorf("injected <%s>", e.name)
		}
		for name := range e.attr {
			if strings.HasPrefix(name, "on") {
				t.Errorf("injected %s on <%s>", name, e.name)
			}
		}
	}
	if n := strings.Count(text, evil); n < 12 {
		t.Errorf("the text stands %d times as it was written, want at least 12", n)
	}
}

// A text of a photo or of a schedule turns no direction and hides nothing.
func TestNothingTurnsDirection(t *testing.T) {
	const evil = "a\u202egpj.\u2066\u200b\x1b[2J"
	const seen = `a\u202Egpj.\u2066\u200B\x1B[2J`
	s := sceneSchedule(t)
	s.Title, s.Source, s.Shingle.Name = evil, evil, evil
	w, doc := added(t, s, evil)
	r := &vision.Result{Refusal: &vision.Refusal{Reason: vision.Reason(evil), Detail: evil, Advice: evil}}
	p := inspection.Build(inspection.Source{File: "refused " + evil, SHA256: evil, Crew: evil}, s, r, judge.Photo{})
	p.Device, p.Taken = evil, evil
	put(t, w, p, r, judge.Photo{}, nil)
	doc = inspection.New(doc.Tool, inspection.Schedule{File: evil, SHA256: evil, Title: evil}, evil, append(doc.Photos, p))
	page := finished(t, w, doc)
	if i := strings.IndexFunc(page, func(r rune) bool { return unicode.In(r, unicode.C, unicode.Bidi_Control) && r != '\n' && r != '\t' }); i >= 0 {
		t.Errorf("the page holds %q", page[max(0, i-40):i+10])
	}
	if n := strings.Count(page, seen); n < 12 {
		t.Errorf("the text is seen %d times, want at least 12", n)
	}
}

// SVG counts from the corner of the first pixel, the measurement from its
// centre: half a pixel between them.
func TestMarksStandOnTheHeads(t *testing.T) {
	w, doc := added(t, sceneSchedule(t), "a-scene.jpg")
	all, _ := elements(t, finished(t, w, doc))
	heads, found := sceneResult().Fasteners, 0
	for _, e := range all {
		id, err := strconv.Atoi(e.attr["data-head"])
		if err != nil {
			continue
		}
		found++
		var x, y float64
		if _, err := fmt.Sscanf(e.attr["transform"], "translate(%f %f)", &x, &y); err != nil {
			t.Fatal(err)
		}
		if p := heads[id-1].Px; math.Hypot(x-0.5-p.X, y-0.5-p.Y) > 0.01 {
			t.Errorf("mark %d is at %v, %v; the head at %v", id, x, y, p)
		}
	}
	if found != len(heads) {
		t.Errorf("%d marks, want %d", found, len(heads))
	}
}

func TestVerdictsDifferInShape(t *testing.T) {
	seen := map[string]string{}
	for verdict := range resultWords {
		s := sign.Path(verdict, 10)
		if other, ok := seen[s]; ok {
			t.Errorf("%s and %s look alike", verdict, other)
		}
		seen[s] = verdict
	}
}

// Photos come in any order and from several workers; the page has them by name.
func TestWorkers(t *testing.T) {
	s := sceneSchedule(t)
	w, err := NewWriter(t.TempDir(), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	r := &vision.Result{Refusal: &vision.Refusal{Reason: vision.NoCard, Detail: "no card", Advice: "lay one"}}
	var photos []inspection.Photo
	for i := range 20 {
		photos = append(photos, inspection.Build(inspection.Source{File: fmt.Sprintf("%02d.jpg", 19-i), SHA256: strings.Repeat("0", 64)}, s, r, judge.Photo{}))
	}
	var group sync.WaitGroup
	for _, p := range photos {
		group.Go(func() {
			parts, err := w.Make(p, r, judge.Photo{}, nil, View.Shrink)
			if err := errors.Join(err, w.Put(parts)); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	page := finished(t, w, inspection.New(inspection.Tool{}, inspection.Schedule{}, "", photos))
	last := -1
	for i := range 20 {
		at := strings.Index(page, fmt.Sprintf(">%02d.jpg</h3>", i))
		if at <= last {
			t.Errorf("photo %d is missing or out of order", i)
		}
		last = at
	}
}

func TestFinishLeavesNothingHalfWritten(t *testing.T) {
	w, doc := added(t, sceneSchedule(t), "a-scene.jpg")
	dir := t.TempDir()
	out := filepath.Join(dir, "report.html")
	if err := os.WriteFile(out, []byte("before"), 0o644); err != nil {
		t.Fatal(err)
	}
	lost := doc
	lost.Photos = append(lost.Photos[:len(lost.Photos):len(lost.Photos)], inspection.Photo{File: "lost.jpg", Status: inspection.Measured})
	if err := w.Finish(out, lost); err == nil || !strings.Contains(err.Error(), `"lost.jpg" was never added`) {
		t.Errorf("got %v", err)
	}
	if read(t, out) != "before" {
		t.Error("the report that was there is gone")
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if err := w.Finish(filepath.Join(dir, "none", "report.html"), doc); err == nil {
		t.Error("a missing folder was accepted")
	}
}

// Text is read against the ground of light and of dark; WCAG 2.2, 1.4.3 asks
// for a contrast of 4.5. What is drawn on photos does not change with the two.
func TestContrast(t *testing.T) {
	grounds := regexp.MustCompile(`--ground: (#[0-9a-f]{6})`).FindAllStringSubmatch(style, -1)
	if len(grounds) != 2 {
		t.Fatalf("%d grounds, want light and dark", len(grounds))
	}
	for i, mode := range []string{"light", "dark"} {
		for _, name := range []string{"ink", "soft", "link", "suspect", "unresolved", "clear"} {
			m := regexp.MustCompile(`--`+name+`: (#[0-9a-f]{6})`).FindAllStringSubmatch(style, -1)
			if len(m) != 2 {
				t.Fatalf("%s is set %d times", name, len(m))
			}
			for _, on := range []string{"ground", "tint"} {
				back := regexp.MustCompile(`--`+on+`: (#[0-9a-f]{6})`).FindAllStringSubmatch(style, -1)[i][1]
				if c := contrast(t, m[i][1], back); c < 4.5 {
					t.Errorf("%s: %s on %s has a contrast of %.2f", mode, name, on, c)
				}
			}
		}
	}
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	var l [2]float64
	for i, s := range []string{a, b} {
		v, err := strconv.ParseUint(s[1:], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		l[i] = luminance(uint32(v)) + 0.05
	}
	return max(l[0]/l[1], l[1]/l[0])
}

// luminance is the relative luminance of WCAG 2.2.
func luminance(rgb uint32) float64 {
	part := func(shift int) float64 {
		c := float64(rgb>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}
