package inspection

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

var update = flag.Bool("update", false, "renew the goldens")

func mm(value, u length.MM) *length.Measured {
	m := length.New(value, u)
	return &m
}

var band = func() (s schedule.Schedule) {
	s.Band.Low, s.Band.High = 150, 178
	return s
}()

// measuredPhoto is an invented scene: one piece, one high head that is
// measured but for its lower joint, one exposed head off every piece.
func measuredPhoto(file string) Photo {
	high := vision.Fastener{
		ID: 1, Px: vision.Point{X: 700.12345, Y: 300.98765}, RadiusPx: 11.238, Score: 0.98765,
		AboveButt: mm(183.1234567, 0.4321), LeftEnd: mm(30, 0.5), RightEnd: mm(970, 0.6), End: mm(30, 0.5),
		LowerJoint: mm(length.MM(math.NaN()), 1), HeadDiameter: mm(9.8, 0.2),
		Drive: vision.Drive{Class: vision.Flush, P: map[vision.DriveClass]float64{vision.Flush: 0.91236, vision.Cocked: 0.08764}},
	}
	low := vision.Fastener{ID: 2, Px: vision.Point{X: 800, Y: 900}, RadiusPx: 10, Score: 1, Piece: -1, Exposed: true}
	r := &vision.Result{
		Card:    &vision.CardSight{Number: 7, Corners: 54, ResidualPx: 0.1234},
		Camera:  vision.Camera{Source: "exif", FocalPx: 2940.04, FocalU: 12, K1: 0.009, K1U: 0.004, Distance: 1500},
		TiltDeg: 21.987, ScalePxPerMM: 2.3456789,
		Course: &vision.Course{
			ButtPx:      [2]vision.Point{{X: 0, Y: 800}, {X: 1999, Y: 810.126}},
			Pieces:      []vision.Piece{{ID: 0, Left: vision.EndJoint, Right: vision.EndFrame, RightPx: vision.Point{X: 1999, Y: 810}}},
			LowerJoints: []vision.LowerJoint{{Px: vision.Point{X: 512, Y: 802}}},
			Trace: func(y length.MM) []vision.Point {
				return []vision.Point{{X: 0, Y: 800 - float64(y)}, {X: 1999, Y: 810 - float64(y)}}
			},
		},
		Fasteners: []vision.Fastener{high, low},
		Checks:    []vision.Check{{Name: "exposure", OK: true, Text: "5.61 in seen, 5.63 in expected"}},
		Budget:    []vision.Share{{Source: length.Lens, AboveButt: 0.1, End: 0.2}},
		Stages:    []vision.Stage{{Name: "card", Milliseconds: 101.26, Kept: 54}},
	}
	j := judge.Photo{
		Heads: []judge.Head{
			{Fastener: high, Verdict: judge.Suspect, Findings: []judge.Finding{
				{Rule: "height", Result: judge.Suspect, P: 0.99999, Observation: "0.20 in above the band"},
				{Rule: "lower_joint", Result: judge.NotJudged, Observation: "no lower joint was seen"},
			}},
			{Fastener: low, Verdict: judge.Suspect, Findings: []judge.Finding{{Rule: "exposed", Result: judge.Suspect, P: 1, Observation: "below the butt"}}},
		},
		Pieces: []judge.PieceFinding{{Finding: judge.Finding{Rule: "count", Result: judge.Unresolved, P: 0.3, Observation: "3 heads were seen"}, Piece: 0, Joint: -1}},
	}
	src := Source{
		File: file, SHA256: strings.Repeat("ab", 32), Width: 2000, Height: 1500, Crew: "A",
		Facts: photo.Facts{Taken: "2026-05-04T16:20:00-05:00", Device: "phone", Orientation: 6},
	}
	return Build(src, band, r, j)
}

func refusedPhoto(file string) Photo {
	r := &vision.Result{Refusal: &vision.Refusal{Reason: vision.Unreadable, Detail: "the file is cut off", Advice: "copy it again"}}
	return Build(Source{File: file, SHA256: strings.Repeat("00", 32)}, band, r, judge.Photo{})
}

func document(photos ...Photo) Document {
	return New(Tool{"0.1", "4.6.0", "charuco-10x7/1"},
		Schedule{"schedule.yaml", strings.Repeat("cd", 32), "Lot 7"}, "2026-05-04T22:00:00Z", photos)
}

func encode(t *testing.T, d Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Encode(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; renew it with -update if that is meant\n%s", path, got)
	}
}

func TestGolden(t *testing.T) {
	d := document(refusedPhoto("b.jpg"), measuredPhoto("a.jpg"))
	golden(t, "inspection.json", encode(t, d))
	var b bytes.Buffer
	if err := EncodeCSV(&b, d); err != nil {
		t.Fatal(err)
	}
	golden(t, "fasteners.csv", b.Bytes())
}

// What to do stands beside the whole sentence where there is something to do, and
// a document with it keeps to the schema.
func TestRemedyIsKeptApart(t *testing.T) {
	do := judge.Finding{Rule: "gap", Result: judge.Suspect, P: 1, Observation: "too far; apart", Remedy: "set one; look"}
	none := judge.Finding{Rule: "gap", Result: judge.Clear, Observation: "near enough"}
	r := &vision.Result{Course: &vision.Course{}}
	j := judge.Photo{
		Heads:  []judge.Head{{Fastener: vision.Fastener{ID: 1, Piece: -1}, Verdict: judge.Suspect, Findings: []judge.Finding{do, none}}},
		Pieces: []judge.PieceFinding{{Finding: do, Piece: 0, Joint: -1}, {Finding: none, Piece: 0, Joint: -1}},
	}
	built, p := Build(Source{}, band, r, j), measuredPhoto("a.jpg")
	p.Heads[0].Rules, p.Findings = built.Heads[0].Rules, built.Findings
	d := document(p)
	head, pieces := d.Photos[0].Heads[0].Rules, d.Photos[0].Findings
	for i, want := range []Remedied{{"too far; apart", "set one; look"}, {}} {
		if head[i].Remedied != want || pieces[i].Remedied != want {
			t.Errorf("%+v and %+v, want %+v", head[i], pieces[i], want)
		}
	}
	if head[0].Text != "too far; apart; set one; look" || head[1].Text != "near enough" {
		t.Errorf("texts %q and %q", head[0].Text, head[1].Text)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(encode(t, d)))
	if err != nil {
		t.Fatal(err)
	}
	if err := validator(t).Validate(v); err != nil {
		t.Error(err)
	}
}

// Each length's contributions add up, in squares, to the square of its u.
func TestBudgetAddsUp(t *testing.T) {
	inputs := []length.Source{length.Corners, length.Corners, length.Lens, length.Product}
	above := length.New(170, .3).Widen(length.Height, .2).WithShared([]float64{.1, -.2, .15, .4})
	left := length.New(25, .2).WithShared([]float64{.05, .1, -.3, .1})
	h := vision.Fastener{AboveButt: &above, LeftEnd: &left, HeadDiameter: mm(10, .15), Piece: -1}
	f := fastener(judge.Head{Fastener: h}, inputs)
	for key, l := range map[string]*Length{"above_butt": f.AboveButt, "left_end": f.LeftEnd, "head_diameter": f.HeadDiameter} {
		sum := 0.0
		for _, u := range f.Budget[key] {
			sum += u * u
		}
		if math.Abs(math.Sqrt(sum)-l.U) > 1e-3 { // u is written to a thousandth
			t.Errorf("%s: contributions %v add up to %.4f mm, u is %.3f mm", key, f.Budget[key], math.Sqrt(sum), l.U)
		}
	}
	if len(f.Budget) != 3 {
		t.Errorf("budgets of %d lengths, the head has 3", len(f.Budget))
	}
	if got := f.Budget["above_butt"]["corners"]; math.Abs(got-math.Hypot(.1, .2)) > 1e-4 {
		t.Errorf("corners add %.4f mm, want %.4f", got, math.Hypot(.1, .2))
	}
}

func validator(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("inspection.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("inspection.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSchemaTakesWhatIsBuilt(t *testing.T) {
	s := validator(t)
	for name, d := range map[string]Document{
		"empty": document(),
		"both":  document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg")),
	} {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(encode(t, d)))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSchemaRefuses(t *testing.T) {
	s := validator(t)
	text := string(encode(t, document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"))))
	for _, c := range []struct{ name, from, to string }{
		{"format", "inspection/1", "inspection/2"},
		{"unknown reason", `"reason": "unreadable"`, `"reason": "ugly"`},
		{"probability over one", `"p": 0.3`, `"p": 1.3`},
		{"negative uncertainty", `"u": 0.432`, `"u": -0.432`},
		{"number for a length", `"result": "not_judged"`, `"result": 3`},
		{"card number", `"number": 7`, `"number": 28`},
		{"refused with fasteners", `"status": "measured"`, `"status": "refused"`},
		{"unknown key", `"card": {`, `"nail": 1, "card": {`},
	} {
		broken := strings.Replace(text, c.from, c.to, 1)
		if broken == text {
			t.Fatalf("%s: %q is not in the document", c.name, c.from)
		}
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(broken))
		if err != nil {
			t.Fatal(err)
		}
		if s.Validate(v) == nil {
			t.Errorf("%s: accepted", c.name)
		}
	}
}

func TestAbsentIsNotZero(t *testing.T) {
	h := measuredPhoto("a.jpg").Heads
	if h[0].LowerJoint != nil {
		t.Error("a length that is not a number was written")
	}
	if h[1].AboveButt != nil || h[1].Piece != nil {
		t.Errorf("the exposed head has a height %v or a piece %v", h[1].AboveButt, h[1].Piece)
	}
	if h[0].Rules[1].P != nil {
		t.Error("a rule that was not judged has a probability")
	}
}

// A focal length, or its uncertainty, that is no number is absent with its
// partner: an uncertainty of 0 would say "exactly known".
func TestCameraWithoutNumbers(t *testing.T) {
	sound := vision.Camera{Source: "exif", FocalPx: 2940.04, FocalU: 12, K1: .009, K1U: .004, ExifPx: 2912}
	for name, spoil := range map[string]func(c *vision.Camera){
		"none":                      func(*vision.Camera) {},
		"focal length":              func(c *vision.Camera) { c.FocalPx = math.Inf(1) },
		"its uncertainty":           func(c *vision.Camera) { c.FocalU = math.NaN() },
		"distortion":                func(c *vision.Camera) { c.K1 = math.NaN() },
		"uncertainty of distortion": func(c *vision.Camera) { c.K1U = math.NaN() },
	} {
		c := sound
		spoil(&c)
		got := camera(c)
		if got.Source != "exif" || got.ExifPx != 2912 {
			t.Errorf("%s: what is known of the camera is lost: %+v", name, got)
		}
		told := got.FocalPx != 0 || got.FocalU != 0 || got.K1 != 0 || got.K1U != 0
		if told != (name == "none") {
			t.Errorf("%s is no number: %+v", name, got)
		}
	}
}

func TestRound(t *testing.T) {
	for _, c := range []struct {
		in   float64
		n    int
		want string
	}{{1.23456, 3, "1.235"}, {-0.0001, 3, "0"}, {math.NaN(), 3, "0"}, {math.Inf(1), 2, "0"}, {2940.04, 1, "2940"}} {
		got, err := json.Marshal(round(c.in, c.n))
		if err != nil || string(got) != c.want {
			t.Errorf("round(%v, %d) = %s, %v; want %s", c.in, c.n, got, err, c.want)
		}
	}
}

func TestOrderOfPhotosDoesNotCount(t *testing.T) {
	a, b := measuredPhoto("a.jpg"), refusedPhoto("b.jpg")
	if !bytes.Equal(encode(t, document(a, b)), encode(t, document(b, a))) {
		t.Error("the order in which photos were added shows in the bytes")
	}
}

func TestTotals(t *testing.T) {
	got := document(measuredPhoto("a.jpg"), measuredPhoto("c.jpg"), refusedPhoto("b.jpg")).Totals
	if got.Photos != 3 || got.Measured != 2 || got.Refused != 1 || got.Fasteners != 4 ||
		got.RefusedByReason["unreadable"] != 1 || got.Verdicts["suspect"] != 4 ||
		got.SuspectsByRule["height"] != 2 || got.SuspectsByRule["exposed"] != 2 || got.Unresolved["count"] != 2 {
		t.Errorf("%+v", got)
	}
}

func TestMerge(t *testing.T) {
	third := measuredPhoto("c.jpg")
	third.SHA256 = strings.Repeat("cd", 32)
	a, b, c := document(measuredPhoto("a.jpg")), document(refusedPhoto("b.jpg")), document(third)
	whole := document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"), third)
	slower := measuredPhoto("a.jpg")
	slower.Stages[0].Milliseconds = 999
	for name, parts := range map[string][]Document{"in order": {a, b, c}, "shuffled": {c, a, b}, "overlap": {a, b, c, document(slower)}} {
		got, err := Merge(parts...)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if !bytes.Equal(encode(t, got), encode(t, whole)) {
			t.Errorf("%s: not the whole", name)
		}
	}
	other, newer := a, a
	other.Schedule.SHA256 = strings.Repeat("ef", 32)
	newer.Tool.Version = "0.2"
	changed := measuredPhoto("a.jpg")
	changed.Heads[0].Verdict = "clear"
	for want, parts := range map[string][]Document{
		"no inspection given":   {},
		"another schedule":      {b, other},
		"made by version":       {b, newer},
		`photo "a.jpg" differs`: {a, document(changed)},
	} {
		if _, err := Merge(parts...); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	good := string(encode(t, document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"))))
	for _, c := range []struct{ from, to, want string }{
		{"inspection/1", "inspection/9", "this version reads"},
		{`"crew"`, `"crow"`, `unknown field "crow"`},
		{`"status": "measured"`, `"status": "done"`, `status is "done"`},
		{`"b.jpg"`, `"a.jpg"`, "listed twice"},
		{`"status": "measured"`, `"status": "refused"`, "refused without a refusal"},
		{`"status": "refused"`, `"status": "measured"`, "with a refusal"},
		{`"a.jpg"`, `""`, "no file name"},
		{"{\n", "{}{\n", "more text"},
		{"{\n", "[\n", "byte"},
	} {
		bad := strings.Replace(good, c.from, c.to, 1)
		if _, err := Read(strings.NewReader(bad)); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: got %v, want one line with %q", c.to, err, c.want)
		}
	}
}

func TestFilesRoundTrip(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "inspection.json")
	want := document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"))
	if err := WriteFile(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(encode(t, got), encode(t, want)) {
		t.Error("read is not what was written")
	}
	if err := WriteFile(filepath.Join(dir, "none", "x.json"), want); err == nil {
		t.Error("a missing folder was accepted")
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("the folder holds %v, %v; want the one file", left, err)
	}
}

// saidBy are decisions with a text of somebody's in every place.
type saidBy string

func (s saidBy) Head(Photo, int) Decided {
	return Decided{"wrong", string(s), string(s), string(s), XY{}}
}
func (s saidBy) Missed(Photo) []Decided {
	return []Decided{{"missed", string(s), string(s), string(s), XY{1, 2}}}
}

// Texts of a photo or a person begin no formula, wherever a spreadsheet splits the
// lines, and hold nothing that a terminal obeys. A number stays a number.
func TestCSVGuardsText(t *testing.T) {
	p := measuredPhoto(`=cmd|'/c calc'!A1.jpg`)
	p.Device, p.Crew, p.Taken = "phone;@SUM(A1)", "+1\x1b[2J", "=1"
	p.Heads[0].AboveButt.MM = -25.4
	p.Heads[0].Rules[0] = Rule{Rule: "=1", Result: "suspect", Text: "=1"}
	p.Heads[0].Verdict, p.Heads[0].Drive.Class = "=1", "=1"
	const said = "x\t=1\n-2\u202e"
	var b bytes.Buffer
	if err := EncodeCSVDecided(&b, document(p), saidBy(said)); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(b.String(), "\ufeff"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 4 {
		t.Fatalf("%d rows, want a header, two heads and a missed one", len(rows))
	}
	cell := func(row int, name string) string { return rows[row][slices.Index(rows[0], name)] }
	for name, want := range map[string]string{
		"file": `'=cmd|'/c calc'!A1.jpg`, "device": "phone;'@SUM(A1)", "crew": `'+1\x1B[2J`, "taken": "'=1",
		"verdict": "'=1", "drive": "'=1", "suspect_rules": "'=1",
		"decided_by": `x\t=1\n-2\u202E`, "note": `x\t=1` + "\n'" + `-2\u202E`,
		"above_butt_in": "-1.000", "above_butt_mm": "-25.40",
		"above_butt_u95_in": "0.033", // 1.96 * 0.432 mm / 25.4
		"lower_joint_in":    "",
	} {
		if got := cell(1, name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	for _, name := range []string{"file", "device", "crew", "taken", "decided_by", "note"} {
		if cell(3, name) != cell(1, name) {
			t.Errorf("of a missed head %s is %q, of a found one %q", name, cell(3, name), cell(1, name))
		}
	}
}

func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	if err := Encode(&b, document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"))); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"format":"coursegauge-inspection/1","photos":[{"file":"x","status":"refused","refusal":{}}]}`))
	f.Fuzz(func(t *testing.T, in []byte) {
		d, err := Read(bytes.NewReader(in))
		if err != nil {
			return
		}
		first := encode(t, d)
		again, err := Read(bytes.NewReader(first))
		if err != nil {
			t.Fatalf("cannot read what was written: %v", err)
		}
		if !bytes.Equal(encode(t, again), first) {
			t.Fatal("reading and writing changes the document")
		}
		if err := EncodeCSV(&bytes.Buffer{}, d); err != nil {
			t.Fatal(err)
		}
	})
}

// A name is written so that its bytes come back, whatever they are.
func TestName(t *testing.T) {
	for _, c := range []struct{ path, file, bytes string }{
		{"north/IMG_1.jpg", "north/IMG_1.jpg", ""},
		{"Dächer\n.jpg", "Dächer\n.jpg", ""},
		{"\ufffd.jpg", "\ufffd.jpg", ""},
		{`D\xE4cher.jpg`, `D\xE4cher.jpg`, ""},
		{"a%20b.jpg", "a%20b.jpg", ""},
		{"D\xe4cher.jpg", `D\xE4cher.jpg`, "D%E4cher.jpg"},
		{"ä/\xff%/b \n.jpg", `ä/\xFF%/b \n.jpg`, "%C3%A4/%FF%25/b%20%0A.jpg"},
	} {
		file, bytes := Name(c.path)
		if file != c.file || bytes != c.bytes {
			t.Errorf("%q is written %q and %q, want %q and %q", c.path, file, bytes, c.file, c.bytes)
		}
		p := Photo{File: file, FileBytes: bytes, Status: Refused, Refusal: &Refusal{}}
		if p.Path() != c.path {
			t.Errorf("%q comes back as %q", c.path, p.Path())
		}
		if err := p.check(); err != nil {
			t.Errorf("%q: %v", c.path, err)
		}
	}
	if a, b := (Photo{File: `D\xE4.jpg`}).Shown(), (Photo{File: `D\xE4.jpg`, FileBytes: "D%E4.jpg"}).Shown(); a == b {
		t.Errorf("two names are shown as %s", a)
	}
	for _, bytes := range []string{"a.jpg", "%C3%A4.jpg", "%zz%FF", "%FF%", "%FF%00.jpg"} {
		p := Photo{File: "a", FileBytes: bytes, Status: Refused, Refusal: &Refusal{}}
		if p.check() == nil {
			t.Errorf("file_bytes %q passed", bytes)
		}
	}
}

// Files with the same bytes are one photo, whatever their order; files that could
// not be read are not.
func TestOnce(t *testing.T) {
	a, b := strings.Repeat("a", 64), strings.Repeat("b", 64)
	got := Once([]Photo{
		{File: "4", SHA256: a}, {File: "5", SHA256: ""}, {File: "3", SHA256: b}, {File: "2", SHA256: a, AlsoAs: []string{"9", "4"}}, {File: "1", SHA256: a}, {File: "6", SHA256: ""},
	})
	want := []Photo{{File: "1", SHA256: a, AlsoAs: []string{"2", "4", "9"}}, {File: "3", SHA256: b}, {File: "5"}, {File: "6"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if left := Left([]string{"9", "8", "3", "7", "8"}, got); !slices.Equal(left, []string{"7", "8"}) {
		t.Errorf("left %q", left)
	}
	if left := Left([]string{"9", "3"}, got); left != nil {
		t.Errorf("left %q", left)
	}
}

// What one part was stopped before and another has done is done.
func TestMergeOfStoppedParts(t *testing.T) {
	part := func(sum string, file string, left ...string) Document {
		d := New(Tool{}, Schedule{}, "2026-01-01T00:00:00Z", []Photo{{File: file, SHA256: strings.Repeat(sum, 64), Status: Refused, Refusal: &Refusal{}}})
		d.NotDone = left
		return d
	}
	for _, c := range []struct {
		parts  []Document
		left   []string
		photos int
	}{
		{[]Document{part("a", "1", "2", "3")}, []string{"2", "3"}, 1},
		{[]Document{part("a", "1", "2", "3"), part("b", "3")}, []string{"2"}, 2},
		{[]Document{part("a", "1", "2"), part("b", "2", "1")}, nil, 2},
		{[]Document{part("a", "1"), part("a", "2"), part("a", "1")}, nil, 1},
	} {
		d, err := Merge(c.parts...)
		if err != nil || !slices.Equal(d.NotDone, c.left) || len(d.Photos) != c.photos || d.Totals.Photos != c.photos {
			t.Errorf("left %q of %d (%v), want %q of %d", d.NotDone, len(d.Photos), err, c.left, c.photos)
		}
	}
}
