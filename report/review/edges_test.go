package review

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
)

// Each limit of a line, on its two sides.
func TestDecisionLimits(t *testing.T) {
	digits := func(n int) string { return strings.Repeat("0123456789abcdef", 9)[:n] }
	ids := func(n int) []string { return slices.Repeat([]string{digits(32)}, n) }
	for _, c := range []struct {
		name  string
		apply func(*Decision)
		ok    bool
	}{
		{"as it is", func(*Decision) {}, true},
		{"id of 31 digits", func(d *Decision) { d.ID = digits(31) }, false},
		{"id of 33 digits", func(d *Decision) { d.ID = digits(33) }, false},
		{"id of capitals", func(d *Decision) { d.ID = strings.ToUpper(digits(32)) }, false},
		{"id with a g", func(d *Decision) { d.ID = digits(31) + "g" }, false},
		{"photo of 63 digits", func(d *Decision) { d.Photo = digits(63) }, false},
		{"photo of 64 digits", func(d *Decision) { d.Photo = digits(64) }, true},
		{"photo of 65 digits", func(d *Decision) { d.Photo = digits(65) }, false},
		{"seen of 31 digits", func(d *Decision) { d.Seen = []string{digits(31)} }, false},
		{"seen of 33 digits", func(d *Decision) { d.Seen = []string{digits(33)} }, false},
		{"100 seen", func(d *Decision) { d.Seen = ids(100) }, true},
		{"101 seen", func(d *Decision) { d.Seen = ids(101) }, false},
		{"file of 10,000 bytes", func(d *Decision) { d.File = strings.Repeat("x", 10_000) }, true},
		{"file of 10,001 bytes", func(d *Decision) { d.File = strings.Repeat("x", 10_001) }, false},
		{"who of 10,001 bytes", func(d *Decision) { d.Who = strings.Repeat("x", 10_001) }, false},
		{"tool of 10,001 bytes", func(d *Decision) { d.Tool = strings.Repeat("x", 10_001) }, false},
		{"note that is not UTF-8", func(d *Decision) { d.Note = "\xff" }, false},
		{"head of 31 bits", func(d *Decision) { d.Target = "head/2147483647" }, true},
		{"head of 32 bits", func(d *Decision) { d.Target = "head/2147483648" }, false},
		{"head in another base", func(d *Decision) { d.Target = "head/a" }, false},
		{"photo's rule", func(d *Decision) { d.Target = "photo/count/0" }, true},
		{"photo's rule without a number", func(d *Decision) { d.Target = "photo/count" }, false},
		{"photo's rule with two numbers", func(d *Decision) { d.Target = "photo/count/0/0" }, false},
		{"when without an offset", func(d *Decision) { d.When = "2026-05-04T17:30:00" }, false},
	} {
		d := decided(1, Wrong)
		c.apply(&d)
		if err := d.check(); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if a, b := NewID(), NewID(); !isHex(a, 32) || a == b {
		t.Errorf("ids %q and %q", a, b)
	}
}

func TestPlace(t *testing.T) {
	for target, ok := range map[string]bool{
		"place/0/0": true, "place/999999.9/-999999.9": true, "place/1000000/0": false, "place/0/1000000": false, "place/-1000000/0": false,
		"place/1200000/0": false, "place/0/1200000": false, "place/x/0": false, "place/0/x": false, "place/0": false, "place/0/0/0": false, "head/0/0": false,
	} {
		if at, got := (Decision{Target: target}).Place(); got != ok || ok && target != "place/0/0" && at != (inspection.XY{999999.9, -999999.9}) {
			t.Errorf("%s: %v, %v", target, at, got)
		}
	}
}

func TestFindingTargets(t *testing.T) {
	one, two := 1, 2
	got := FindingTargets([]inspection.Finding{
		{Rule: "gap", Piece: &one}, {Rule: "gap", Piece: &two}, {Rule: "gap", Piece: &one}, {Rule: "offset", Joint: &one, Piece: &two}, {Rule: "count"}, {Rule: "count"},
	})
	if want := []string{"piece/1/gap/0", "piece/2/gap/0", "piece/1/gap/1", "joint/1/offset/0", "photo/count/0", "photo/count/1"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// What lies at the border of a photo, and how far a head may have moved.
func TestKnownLimits(t *testing.T) {
	doc := inspection.Document{Photos: []inspection.Photo{
		{File: "0.jpg"}, // one that could not be read comes before others
		{File: "a.jpg", SHA256: strings.Repeat("ab", 32), Image: &inspection.Image{Width: 400, Height: 300}, Heads: []inspection.Fastener{
			{ID: 1, Px: inspection.XY{100, 100}, RadiusPx: 3}, {ID: 2, Px: inspection.XY{200, 100}, RadiusPx: 20}}},
		{File: "b.jpg", SHA256: strings.Repeat("cd", 32)}, // a photo that could not be opened
	}}
	known := NewKnown(doc)
	at := func(x, y float64) *inspection.XY { return &inspection.XY{x, y} }
	for _, c := range []struct {
		target, photo string
		px            *inspection.XY
		ok            bool
	}{
		{"place/-0.5/-0.5", "ab", nil, true}, {"place/-0.6/0.0", "ab", nil, false}, {"place/0.0/-0.6", "ab", nil, false},
		{"place/400.0/300.0", "ab", nil, true}, {"place/400.1/0.0", "ab", nil, false}, {"place/0.0/300.1", "ab", nil, false},
		{"place/0.0/0.0", "cd", nil, false}, {"photo", "cd", nil, true}, {"head/1", "cd", nil, false}, {"photo", "", nil, false},
		{"head/1", "ab", at(108, 100), true}, {"head/1", "ab", at(108.1, 100), false}, {"head/1", "ab", at(106, 106), false}, {"head/1", "ab", at(100, 91.9), false},
		{"head/2", "ab", at(220, 100), true}, {"head/2", "ab", at(220.1, 100), false}, {"head/2", "ab", at(179.9, 100), false},
	} {
		d := decided(1, Wrong)
		d.Target, d.Px, d.Photo = c.target, c.px, strings.Repeat(c.photo, 32)
		if err := known.Check(d); (err == nil) != c.ok {
			t.Errorf("%s of %s at %v: %v", c.target, c.photo, c.px, err)
		}
	}
}

// Order does not turn on the order of the lines.
func TestAnswersAreOrdered(t *testing.T) {
	var in []Decision
	for i := range 8 {
		in = append(in, decided(i, Wrong).at("10:00"), decided(i, Sound).at("10:01"))
		place := decided(0, Missed)
		place.Target = PlaceTarget(inspection.XY{float64(100 * (9 - i)), 5})
		in = append(in, place)
	}
	elsewhere := decided(0, Missed)
	elsewhere.Photo, elsewhere.Target = strings.Repeat("cd", 32), "place/1.0/1.0"
	a := Fold(append(in, elsewhere))
	if keys := a.Conflicts(); len(keys) != 8 || !slices.IsSorted(keys) {
		t.Errorf("conflicts %q", keys)
	}
	missed := a.Missed(in[0].Photo)
	if len(missed) != 8 || !slices.IsSortedFunc(missed, func(x, y Decision) int { return strings.Compare(x.Target, y.Target) }) {
		t.Errorf("missed %+v", missed)
	}
	// Of two at one time the one with the smaller id comes first, whatever the order.
	x, y := decided(1, Wrong), decided(1, Wrong)
	x.ID, y.ID = strings.Repeat("1", 32), strings.Repeat("2", 32)
	for _, in := range [][]Decision{{x, y}, {y, x}} {
		if _, by := Fold(in).Answer(x.Photo, x.Target); by == nil || by.ID != y.ID {
			t.Errorf("%+v answers", by)
		}
	}
	own := decided(1, Wrong)
	own.Seen = []string{own.ID} // follows itself: it stands
	if what, _ := Fold([]Decision{own}).Answer(own.Photo, own.Target); what != Wrong {
		t.Errorf("%q", what)
	}
}

// What a table of fasteners is told.
func TestDecider(t *testing.T) {
	head, place := decided(3, Sound), decided(0, Missed)
	head.Note, place.Note, place.Target = "a note", "over there", "place/12.5/30.0"
	p := inspection.Photo{SHA256: head.Photo}
	d := Fold([]Decision{head, place}).Decider()
	if got, want := d.Head(p, 3), (inspection.Decided{Answer: Sound, Who: head.Who, When: head.When, Note: "a note"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := d.Head(p, 4); got != (inspection.Decided{}) {
		t.Errorf("undecided, and yet %+v", got)
	}
	if got, want := d.Missed(p), (inspection.Decided{Answer: Missed, Who: head.Who, When: head.When, Note: "over there", Px: inspection.XY{12.5, 30}}); len(got) != 1 || got[0] != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// The side of each limit, by a person's word; the schedule of TestMarked has its
// band from 150 to 178 mm, ends from 3/4 in and joints from 2 in by default.
func TestMarkedLimits(t *testing.T) {
	s, err := schedule.Read("s.yaml", []byte(marksYAML))
	if err != nil {
		t.Fatal(err)
	}
	band := [2]float64{150, 178}
	mm := func(v float64) *inspection.Length { return &inspection.Length{MM: v, U: 1} }
	rule := func(name, result string) []inspection.Rule {
		return []inspection.Rule{{Rule: name, Result: result, Compared: inspection.Compared{Length: mm(1)}}}
	}
	ends, joints := float64(s.Ends.Min), float64(s.Joints.Clearance)
	for _, c := range []struct {
		name string
		f    inspection.Fastener
		what string
		ok   func(truthHead) bool
	}{
		{"nothing measured", inspection.Fastener{}, Wrong, func(h truthHead) bool {
			return h.AboveButt == 164 && h.Diameter == float64(s.Fasteners.HeadDiameter) && !h.Exposed && h.Visible && h.Decision == Wrong
		}},
		{"its diameter", inspection.Fastener{HeadDiameter: mm(9)}, "", func(h truthHead) bool { return h.Diameter == 9 }},
		{"undecided and low", inspection.Fastener{AboveButt: mm(140)}, "", func(h truthHead) bool { return h.AboveButt == 150 }},
		{"undecided and exposed", inspection.Fastener{Exposed: true}, "", func(h truthHead) bool { return h.Exposed }},
		{"exposed, and yet sound", inspection.Fastener{Exposed: true}, Sound, func(h truthHead) bool { return !h.Exposed }},
		{"an unresolved height", inspection.Fastener{AboveButt: mm(152), Rules: rule("height", "unresolved")}, Wrong, func(h truthHead) bool { return h.AboveButt == 149.99 }},
		{"a clear height", inspection.Fastener{AboveButt: mm(152), Rules: rule("height", "clear")}, Wrong, func(h truthHead) bool { return h.AboveButt == 152 }},
		{"a height without a length", inspection.Fastener{AboveButt: mm(152), Rules: []inspection.Rule{{Rule: "height", Result: "suspect"}}}, Wrong, func(h truthHead) bool { return h.AboveButt == 152 }},
		{"end just under its limit", inspection.Fastener{End: mm(ends - .1), Rules: rule("end", "suspect")}, Wrong, func(h truthHead) bool { return h.EndSeen && h.End == ends-.1 }},
		{"end at its limit", inspection.Fastener{End: mm(ends), Rules: rule("end", "suspect")}, Wrong, func(h truthHead) bool { return !h.EndSeen }},
		{"no end", inspection.Fastener{Rules: rule("end", "suspect")}, Wrong, func(h truthHead) bool { return !h.EndSeen }},
		{"an end that is no matter", inspection.Fastener{End: mm(1), Rules: rule("height", "suspect")}, Wrong, func(h truthHead) bool { return !h.EndSeen }},
		{"joint just under its limit", inspection.Fastener{LowerJoint: mm(joints - .1), Rules: rule("lower_joint", "suspect")}, Wrong, func(h truthHead) bool { return h.JointSeen && h.LowerJoint == joints-.1 }},
		{"joint at its limit", inspection.Fastener{LowerJoint: mm(joints), Rules: rule("lower_joint", "suspect")}, Wrong, func(h truthHead) bool { return !h.JointSeen }},
		{"no joint", inspection.Fastener{Rules: rule("lower_joint", "suspect")}, Wrong, func(h truthHead) bool { return !h.JointSeen }},
		{"drive unclear", inspection.Fastener{Drive: inspection.Drive{Class: "unclear"}}, Wrong, func(h truthHead) bool { return h.Drive == "flush" }},
		{"drive", inspection.Fastener{Drive: inspection.Drive{Class: "overdriven"}}, Wrong, func(h truthHead) bool { return h.Drive == "overdriven" }},
	} {
		if h := markedHead(c.f, c.what, band, s); !c.ok(h) {
			t.Errorf("%s: %+v", c.name, h)
		}
	}
	for v, want := range map[float64]float64{149: 149, 150: 149.99, 163: 149.99, 164: 178.01, 165: 178.01, 178: 178.01, 179: 179} {
		if got := outside(v, band); got != want {
			t.Errorf("%v mm outside of the band is %v, want %v", v, got, want)
		}
	}
}

// A missed head has the size of the others, 10 px without others.
func TestMarkedRadius(t *testing.T) {
	s, err := schedule.Read("s.yaml", []byte(marksYAML))
	if err != nil {
		t.Fatal(err)
	}
	place, whole := decided(0, Missed), decided(0, Complete)
	place.Target, whole.Target = "place/5.0/5.0", photoTarget
	for want, radii := range map[float64][]float64{10: nil, 7: {7}, 8: {9, 8, 3}, 6: {6, 5}} {
		p := inspection.Photo{SHA256: place.Photo, Status: inspection.Measured}
		for i, r := range radii {
			p.Heads = append(p.Heads, inspection.Fastener{ID: i + 1, RadiusPx: r})
		}
		truth, ok := Marked(p, Fold([]Decision{place, whole}), s)
		if !ok || truth.Heads[len(truth.Heads)-1].RadiusPx != want {
			t.Errorf("of %v: %+v, want %v", radii, truth.Heads, want)
		}
		p.Status = inspection.Refused
		if _, ok := Marked(p, Fold([]Decision{place, whole}), s); ok {
			t.Error("a refused photo was taken")
		}
	}
}

func TestHeightAtOddLines(t *testing.T) {
	band := [2]float64{150, 178}
	flat := func(y float64) []inspection.XY { return []inspection.XY{{0, y}, {1000, y}} }
	for _, c := range []struct {
		name  string
		lines [][]inspection.XY
		at    inspection.XY
		want  float64
	}{
		{"on the lower border", [][]inspection.XY{flat(1000), flat(900)}, inspection.XY{500, 1000}, 150},
		{"a fifth above it", [][]inspection.XY{flat(1000), flat(900)}, inspection.XY{500, 980}, 155.6},
		{"one border", [][]inspection.XY{flat(1000)}, inspection.XY{500, 1000}, 164},
		{"three borders", [][]inspection.XY{flat(1000), flat(900), flat(800)}, inspection.XY{500, 1000}, 164},
		{"one and the same border twice", [][]inspection.XY{flat(1000), flat(1000)}, inspection.XY{500, 900}, 164},
		{"a border of one point", [][]inspection.XY{{{0, 1000}}, flat(900)}, inspection.XY{500, 1000}, 164},
		{"a border with a point twice", [][]inspection.XY{{{0, 1000}, {0, 1000}, {1000, 1000}}, flat(900)}, inspection.XY{500, 950}, 164},
		{"of a bent border the nearest stretch", [][]inspection.XY{{{0, 1000}, {500, 1000}, {1000, 1100}}, {{0, 900}, {500, 900}, {1000, 1000}}}, inspection.XY{100, 975}, 157},
	} {
		if got := heightAt(&inspection.Course{BandPx: c.lines}, c.at, band); math.Abs(got-c.want) > .01 {
			t.Errorf("%s: %.2f mm, want %.2f", c.name, got, c.want)
		}
	}
	line := []inspection.XY{{0, 0}, {10, 0}}
	for at, want := range map[inspection.XY]float64{{5, 3}: 3, {5, -3}: -3, {13, -4}: -5, {-3, 4}: 5, {4, 2}: 2} { // 3, 4, 5: beyond an end; below a line that runs to the right is positive
		if got := signed(line, at); got != want {
			t.Errorf("%v is %v from the line, want %v", at, got, want)
		}
	}
	steep := []inspection.XY{{0, 0}, {0, 10}, {20, 10}}
	if got := signed(steep, inspection.XY{3, 5}); math.Abs(got) != 3 {
		t.Errorf("%v from the nearer stretch, want 3", got)
	}
}

// The parts of the server's answers that nothing else holds.
func TestServerAnswers(t *testing.T) {
	s := newTestServer(t)
	sha := strings.Repeat("ab", 32)
	for _, name := range []string{"p.png", "p.PNG"} {
		s.o.Photo = func(string) (string, []byte, error) { return name, []byte("x"), nil }
		if got := s.ask("GET", "photo/"+sha, "").Header().Get("Content-Type"); got != "image/png" {
			t.Errorf("%s is %s", name, got)
		}
	}
	s.o.Photo = func(string) (string, []byte, error) { return "p.jpg", []byte("x"), nil }
	if got := s.ask("GET", "photo/"+sha, "").Header().Get("Content-Type"); got != "image/jpeg" {
		t.Errorf("p.jpg is %s", got)
	}
	s.o.Photo = func(string) (string, []byte, error) { return "", nil, errors.New("it is gone") }
	for _, c := range []struct {
		name, path string
		change     func()
		status     int
	}{
		{"a photo that is gone", "photo/" + sha, func() {}, 404},
		{"no photos", "photo/" + sha, func() { s.o.Photo = nil }, 404},
		{"no table", "fasteners.csv", func() { s.o.CSV = nil }, 404},
		{"a table that cannot be made", "fasteners.csv", func() { s.o.CSV = func(w io.Writer) error { io.WriteString(w, "half"); return errors.New("fault") } }, 500},
	} {
		c.change()
		if w := s.ask("GET", c.path, ""); w.Code != c.status || strings.Contains(w.Body.String(), "half") {
			t.Errorf("%s: %d %q", c.name, w.Code, w.Body)
		}
	}
	s.o.CSV = func(w io.Writer) error { _, err := io.WriteString(w, testReport); return err }
	if got := s.ask("GET", "fasteners.csv", "").Header().Get("Content-Security-Policy"); got != "default-src 'none'; img-src data:" {
		t.Errorf("a document's own policy became %q", got)
	}
	s.o.CSV = func(w io.Writer) error { _, err := io.WriteString(w, strings.Repeat(" ", 4096)+testReport); return err }
	if got := s.ask("GET", "fasteners.csv", "").Header().Get("Content-Security-Policy"); got != "default-src 'none'" {
		t.Errorf("a policy far down became %q", got)
	}
	h := s.ask("GET", "", "").Header()
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store", "Content-Security-Policy": "default-src 'none'; img-src data:; frame-ancestors 'none'"} {
		if h.Get(name) != want {
			t.Errorf("%s is %q", name, h.Get(name))
		}
	}
}

func TestServerLists(t *testing.T) {
	s := newTestServer(t)
	mustAppend(t, s.log, decided(1, Wrong), decided(2, Wrong), decided(1, Sound))
	for query, want := range map[string]int{"": 3, "?after=0": 3, "?after=2": 1, "?after=3": 0, "?after=9": 0, "?after=-1": 3, "?after=x": 3} {
		var l listing
		if err := json.Unmarshal(s.ask("GET", "decisions"+query, "").Body.Bytes(), &l); err != nil || len(l.Decisions) != want || l.Count != 3 {
			t.Errorf("%q: %d of %d, %v", query, len(l.Decisions), l.Count, err)
		}
	}
}

// A body of 256 KiB is taken, one byte more is not.
func TestServerBodyLimit(t *testing.T) {
	s := newTestServer(t)
	body := func(n int) string {
		b := posted(decided(1, Wrong))
		return b + strings.Repeat(" ", n-len(b))
	}
	if w := s.ask("POST", "decisions", body(262144)); w.Code != http.StatusOK {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := s.ask("POST", "decisions", body(262145)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if !isHex(s.token, 32) || s.URL() != "http://127.0.0.1:4567/"+s.token+"/" || s.Path() != "/"+s.token+"/" {
		t.Errorf("the address is %s, its path %s", s.URL(), s.Path())
	}
}

// Which end of a file is a line of ours that a crash cut, to the byte.
func TestTornLimits(t *testing.T) {
	l := &Log{}
	long := func(n int) []byte { return []byte(lead + `"note":"` + strings.Repeat("x", n-len(lead)-8)) }
	for _, c := range []struct {
		name string
		tail []byte
		ok   bool
	}{
		{"the lead alone", []byte(lead), true},
		{"the lead without its last byte, and nothing of ours before", []byte(lead[:len(lead)-1]), false},
		{"1,048,576 bytes", long(1048576), true},
		{"1,048,577 bytes", long(1048577), false},
	} {
		if got := l.torn(c.tail); got != c.ok {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	l.decisions = []Decision{decided(1, Wrong)}
	if !l.torn([]byte(lead[:1])) || !l.torn([]byte(lead[:len(lead)-1])) || l.torn([]byte("x")) {
		t.Error("after a decision a byte of the lead is ours, another one is not")
	}
	l.unended = true
	if l.torn([]byte(lead)) {
		t.Error("the rest of a line is no beginning of one")
	}
}

// Files that are made can be read by others and written by their owner.
func TestLogModes(t *testing.T) {
	dir := t.TempDir()
	line, _ := decided(1, Wrong).line()
	mustAppend(t, opened(t, dir), decided(1, Wrong))
	f, err := os.OpenFile(filepath.Join(dir, FileName), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(line[:50]); err != nil {
		t.Fatal(err)
	}
	f.Close()
	opened(t, dir)
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	if len(files) != 2 {
		t.Fatalf("files %q", files)
	}
	for _, name := range files {
		info, err := os.Stat(name)
		if err != nil || info.Mode().Perm()&^0o644 != 0 || info.Mode().Perm()&0o600 != 0o600 {
			t.Errorf("%s: %v, %v", name, info.Mode(), err)
		}
	}
}

// A file that became shorter, and then others' lines: nothing is read twice or missed.
func TestLogBecameShorter(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	mustAppend(t, l, decided(1, Wrong), decided(2, Wrong))
	path := filepath.Join(dir, FileName)
	data, _ := os.ReadFile(path)
	if err := os.Truncate(path, int64(len(data)/2)); err != nil {
		t.Fatal(err)
	}
	if ds := all(t, l); len(ds) != 1 || len(l.Said()) != 1 {
		t.Errorf("%d decisions, said %q", len(ds), l.Said())
	}
	bad := []byte("bad\n")
	if err := os.WriteFile(path, append(slices.Clone(data), bad...), 0o644); err != nil {
		t.Fatal(err)
	}
	if ds := all(t, l); len(ds) != 2 || !strings.Contains(fmt.Sprint(l.Said()), FileName+":3: ") {
		t.Errorf("%d decisions, said %q", len(ds), l.Said())
	}
	for range 2 {
		mustAppend(t, l, decided(3, Wrong))
	}
	other := opened(t, dir)
	mustAppend(t, other, decided(4, Wrong))
	if a, b := len(all(t, l)), len(all(t, other)); a != 5 || b != 5 {
		t.Errorf("%d and %d decisions, want 5", a, b)
	}
}

func TestLogCloses(t *testing.T) {
	dir := t.TempDir()
	l, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Errorf("a log without a file: %v", err)
	}
	mustAppend(t, l, decided(1, Wrong))
	f := l.file
	if err := l.Close(); err != nil {
		t.Errorf("%v", err)
	}
	if _, err := f.Stat(); !errors.Is(err, os.ErrClosed) {
		t.Errorf("the file is still open: %v", err)
	}
}
