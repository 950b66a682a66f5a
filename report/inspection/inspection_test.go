package inspection

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
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
				{Rule: "height", Result: judge.Suspect, P: 0.99999, Text: "0.20 in above the band"},
				{Rule: "lower_joint", Result: judge.NotJudged, Text: "no lower joint was seen"},
			}},
			{Fastener: low, Verdict: judge.Suspect, Findings: []judge.Finding{{Rule: "exposed", Result: judge.Suspect, P: 1, Text: "below the butt"}}},
		},
		Pieces: []judge.PieceFinding{{Finding: judge.Finding{Rule: "count", Result: judge.Unresolved, P: 0.3, Text: "3 heads were seen"}, Piece: 0, Joint: -1}},
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
	a, b, c := document(measuredPhoto("a.jpg")), document(refusedPhoto("b.jpg")), document(measuredPhoto("c.jpg"))
	whole := document(measuredPhoto("a.jpg"), refusedPhoto("b.jpg"), measuredPhoto("c.jpg"))
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
