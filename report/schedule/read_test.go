package schedule_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

func file(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func near(got, want length.MM) bool { return math.Abs(float64(got-want)) < 1e-9 }

func TestReadFull(t *testing.T) {
	text := file(t, "full.yaml")
	s, err := schedule.Read("full.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ got, want length.MM }{ // inches times 25.4
		"width":         {s.Shingle.Width, 1000.125},
		"height":        {s.Shingle.Height, 336.55},
		"exposure":      {s.Shingle.Exposure, 142.875},
		"ply":           {s.Shingle.Ply, 2.54},
		"band.low":      {s.Band.Low, 149.86},
		"band.high":     {s.Band.High, 177.8},
		"head_diameter": {s.Fasteners.HeadDiameter, 9.525},
		"ends.min":      {s.Ends.Min, 19.05},
		"ends.max":      {s.Ends.Max, 38.1},
		"clearance":     {s.Joints.Clearance, 50.8},
		"offset":        {s.Joints.Offset, 101.6},
		"narrowest":     {s.Cut.Narrowest, 152.4},
		"short":         {s.Cut.Short, 609.6},
		"short_gap":     {s.Cut.ShortGap, 304.8},
	} {
		if !near(c.got, c.want) {
			t.Errorf("%s = %v mm, want %v", name, float64(c.got), float64(c.want))
		}
	}
	if s.Fasteners.PerPiece != 4 || s.Cut.ShortCount != 3 || s.Decision != (schedule.Decision{Suspect: 0.5, Clear: 0.05}) {
		t.Errorf("counts or decision: %+v", s)
	}
	if s.Title != "Lot 7, north slope" || s.Shingle.Name != "laminated strip, metric" || s.Shingle.Family != vision.Laminated || !s.NextCourse.Stagger.Observed {
		t.Errorf("words: %+v", s)
	}
	if sum := sha256.Sum256([]byte(text)); s.SHA256 != hex.EncodeToString(sum[:]) {
		t.Errorf("SHA256 = %s", s.SHA256)
	}
	if s.Defaults != nil {
		t.Errorf("defaults %v in a file that gives every key", s.Defaults)
	}
}

// TestDefaults: a file with the required keys alone equals one that writes the
// defaults out, apart from the marks.
func TestDefaults(t *testing.T) {
	least, err := schedule.Read("s", []byte(file(t, "least.yaml")))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"product.ply", "fasteners.head_diameter", "ends.min", "ends.max", "joints.clearance", "joints.offset",
		"cut.narrowest", "cut.short", "cut.short_count", "cut.short_gap", "next_course.stagger", "decision.suspect", "decision.clear"}
	if !reflect.DeepEqual(least.Defaults, want) {
		t.Errorf("defaults %v", least.Defaults)
	}
	full, err := schedule.Read("s", []byte(file(t, "full.yaml")))
	if err != nil {
		t.Fatal(err)
	}
	least.Title, least.Source, least.SHA256, least.Defaults = full.Title, full.Source, full.SHA256, nil
	least.Shingle.Name, least.Band = full.Shingle.Name, full.Band
	least.Shingle.Family, least.Shingle.Width, least.Shingle.Height, least.Shingle.Exposure = full.Shingle.Family, full.Shingle.Width, full.Shingle.Height, full.Shingle.Exposure
	if !reflect.DeepEqual(least, full) {
		t.Errorf("defaults give\n%+v, want\n%+v", least, full)
	}
	// An individual shingle with two nails needs no third one when it is cut.
	two, err := schedule.Read("s", []byte(strings.Replace(file(t, "least.yaml"), "per_piece: 4", "per_piece: 2", 1)))
	if err != nil || two.Cut.ShortCount != 2 {
		t.Errorf("short_count = %d, %v; want 2", two.Cut.ShortCount, err)
	}
}

func TestProduct(t *testing.T) {
	for stagger, want := range map[string]vision.Stagger{
		"observed": {Observed: true},
		"unknown":  {},
		"6 in":     {Length: 152.4},
	} {
		s, err := schedule.Read("s", []byte(file(t, "least.yaml")+"next_course: {stagger: "+stagger+"}\n"))
		if err != nil {
			t.Fatal(err)
		}
		p := s.Product()
		if p.Stagger.Observed != want.Observed || !near(p.Stagger.Length, want.Length) || s.NextCourse.Unknown != (stagger == "unknown") {
			t.Errorf("stagger %s: %+v, unknown %v", stagger, p.Stagger, s.NextCourse.Unknown)
		}
		if p.Family != vision.ThreeTab || !near(p.Width, 914.4) || !near(p.Height, 304.8) || !near(p.Exposure, 127) ||
			!near(p.Ply, 2.54) || !near(p.BandLow, 135.89) || !near(p.BandHigh, 156.21) || !near(p.HeadDiameter, 9.525) {
			t.Errorf("product %+v", p)
		}
	}
}

// faults are files with one fault each: a replacement in full.yaml, and what
// the message must say. schemaToo tells whether the JSON Schema finds it as
// well; it cannot compare two values.
var faults = []struct {
	name, old, new, says string
	schemaToo            bool
}{
	{"typo in a key", "exposure:", "exposre:", `full.yaml:8:3: unknown key "exposre" in product; legal keys are name, family, width, height, exposure, ply; hint: did you mean exposure?`, true},
	{"typo at the top", "band:", "bands:", `:10:1: unknown key "bands"; legal keys are title, product, band`, true},
	{"key in the wrong place", "title: Lot 7, north slope", "width: 36 in", "belongs under product", true},
	{"no unit", "39-3/8 in", "39.375", `:6:10: product.width: "39.375": no unit; write in, ", mm, cm or ft`, true},
	{"whole number without unit", "39-3/8 in", "1000", `no unit`, true},
	{"wrong unit", "39-3/8 in", "39-3/8 inch", `unknown unit "inch"; legal units are in, ", mm, cm, ft`, true},
	{"negative", "39-3/8 in", "-39 in", "no sign", true},
	{"zero", "39-3/8 in", "0 in", "write one over zero", true},
	{"zero in eighths", "39-3/8 in", "0/8 in", "write one over zero", true},
	{"not a number", "39-3/8 in", ".nan", `product.width needs one value; here stands ".nan"`, true},
	{"division by zero", "39-3/8 in", "39-3/0 in", "divides by zero", true},
	{"list", "39-3/8 in", "[39 in]", "product.width needs one value; here stands a list", true},
	{"nothing", "39-3/8 in", "", "here stands nothing", true},
	{"group", "  per_piece: 4", "  per_piece: {a: 4}", "here stands a group of keys", true},
	{"section without keys", "band: {low: 5.9 in, high: 7.0 in}", "band: 5.9 in", `:10:7: band holds keys, as in "band: {low: ...}"; here stands "5.9 in"`, true},
	{"missing", "  width: 39-3/8 in\n", "", ":3:1: product.width is missing; required are product.family, product.width", true},
	{"missing section", "band: {low: 5.9 in, high: 7.0 in}\n", "", ":1:1: band.low is missing", true},
	{"family", "family: laminated", "family: laminate", `:5:11: product.family: "laminate" is no family; legal values are laminated, three-tab; hint: did you mean laminated?`, true},
	{"count", "per_piece: 4", "per_piece: 0", `"0" is not a whole number from 2 to 24`, true},
	{"count with a point", "per_piece: 4", "per_piece: 4.5", `"4.5" is not a whole number`, true},
	{"count in quotes", "per_piece: 4", `per_piece: "4"`, `"4" is not a whole number`, true},
	{"stagger", "stagger: observed", "stagger: observd", "legal values are observed, unknown, or a length as in \"5-5/8 in\"; hint: did you mean observed?", true},
	{"probability", "suspect: 0.5", "suspect: 50", `"50" is not a probability from 0 to 1`, true},
	{"anchor", "39-3/8 in", "&w 39-3/8 in", "anchor", false},
	{"low over high", "low: 5.9 in", "low: 7.1 in", ":10:8: band.low 7.10 in is not under band.high 7.00 in", false},
	{"exposure over height", "exposure: 5-5/8 in", "exposure: 15 in", ":8:3: product.exposure 15.00 in is not under product.height 13.25 in", false},
	{"band over the piece", "high: 7.0 in", "high: 14 in", "band.high 14.00 in is not under product.height", false},
	{"band in the weather", "low: 5.9 in", "low: 5 in", "band.low 5.00 in is under product.exposure 5.63 in", false},
	{"ends", "min: 3/4 in", "min: 2 in", "ends.min 2.00 in is not under ends.max 1.50 in", false},
	{"offset over half a piece", "offset: 4 in", "offset: 20 in", "twice joints.offset 40.00 in is not under product.width", false},
	{"narrowest over short", "narrowest: 6 in", "narrowest: 25 in", "cut.narrowest 25.00 in is not under cut.short", false},
	{"probabilities out of order", "clear: 0.05", "clear: 0.5", "decision.clear 0.5 is not under decision.suspect 0.5", false},
	{"twice", "title: Lot 7, north slope", "title: a\ntitle: b", `:3:1: title stands twice, first in line 2; keep one`, false},
	{"two documents", "source:", "---\nsource:", "a second document begins here", false},
	{"no YAML", "band: {", "band: {{", "this is no YAML", false},
	{"broken quotes", "title: Lot", "title: \"Lot", "this is no YAML", false},
}

func TestReadFaults(t *testing.T) {
	form := regexp.MustCompile(`^full\.yaml:[1-9]\d*:[1-9]\d*: [^\n\r]+$`)
	for _, c := range faults {
		text := strings.Replace(file(t, "full.yaml"), c.old, c.new, 1)
		if text == file(t, "full.yaml") {
			t.Fatalf("%s: %q is not in full.yaml", c.name, c.old)
		}
		_, err := schedule.Read("full.yaml", []byte(text))
		var fault *schedule.Error
		switch {
		case !errors.As(err, &fault):
			t.Errorf("%s: got %v, want an *Error", c.name, err)
		case !strings.Contains(err.Error(), c.says):
			t.Errorf("%s:\n got %v\nwant %s", c.name, err, c.says)
		case !form.MatchString(err.Error()):
			t.Errorf("%s: not one line with a place: %q", c.name, err)
		}
	}
}

func TestReadDefaultInConflict(t *testing.T) {
	_, err := schedule.Read("s", []byte(file(t, "least.yaml")+"ends: {min: 2 in}\n"))
	if err == nil || !strings.Contains(err.Error(), "s:4:8: ends.min 2.00 in is not under ends.max 1.50 in; ends.max is a default here: set it") {
		t.Error(err)
	}
	_, err = schedule.Read("s", []byte(file(t, "least.yaml")+"ends: {max: 0.5 in}\n"))
	if err == nil || !strings.Contains(err.Error(), "s:4:8: ends.min 0.75 in is not under ends.max 0.50 in; ends.min is a default here: set it") {
		t.Error(err)
	}
}

func TestReadHostile(t *testing.T) {
	for name, c := range map[string]struct{ text, says string }{
		"empty":       {"", "product.family is missing"},
		"comment":     {"# nothing\n", "product.family is missing"},
		"large":       {strings.Repeat("# rem\n", 20000), "the file has 120000 bytes; a schedule has at most 65536"},
		"brackets":    {"title: " + strings.Repeat("[", 20000), "nested deeper than 50"},
		"braces":      {strings.Repeat("{a: ", 60), "nested deeper than 50"},
		"dashes":      {strings.Repeat("- ", 20000), "nested deeper than 50"},
		"staircase":   {stairs(60), "s:51:1: nested deeper than 50"},
		"binary":      {"title: \xff\xfe", "not UTF-8 text"},
		"zero bytes":  {"title: a\x00b", "not UTF-8 text"},
		"photo":       {"\xff\xd8\xff\xe0\x00\x10JFIF", "not UTF-8 text"},
		"list":        {"- a\n- b\n", "a schedule holds keys"},
		"word":        {"hello", `here stands "hello"`},
		"merge":       {"<<: {a: 1}\n", `"<<" is no key`},
		"number key":  {"1: 2\n", `"1" is no key`},
		"tab":         {"\ttitle: x\n", "this is no YAML"},
		"alias bomb":  {"a: &a [x,x]\nb: [*a,*a]\n", `unknown key "a"`},
		"bell":        {"title: \"a\\u0007b\"\n", "control character"},
		"other marks": {"%YAML 1.2\n---\ntitle: x\n", ""},
	} {
		_, err := schedule.Read("s", []byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.ContainsAny(err.Error(), "\n\r") {
			t.Errorf("%s: %v, want one line with %q", name, err, c.says)
		}
	}
}

// stairs is a block nested n deep by indentation.
func stairs(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}

func TestReadTakesOtherEditors(t *testing.T) {
	text := file(t, "full.yaml")
	want, err := schedule.Read("s", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for name, variant := range map[string]string{
		"line ends of another system": strings.ReplaceAll(text, "\n", "\r\n"),
		"byte order mark":             "\ufeff" + text,
		"document start":              "---\n" + text,
		"brackets in a title":         strings.Replace(text, "north slope", "north slope [rear] {2}", 1),
	} {
		got, err := schedule.Read("s", []byte(variant))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got.SHA256, got.Title = want.SHA256, want.Title
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// FuzzRead looks for a crash, a message of more than one line, and a file that
// is taken though its values cannot be true together.
func FuzzRead(f *testing.F) {
	full, least := file(f, "full.yaml"), file(f, "least.yaml")
	f.Add([]byte(full))
	f.Add([]byte(least))
	for _, c := range faults {
		f.Add([]byte(strings.Replace(full, c.old, c.new, 1)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := schedule.Read("s", data)
		if err != nil {
			var fault *schedule.Error
			if !errors.As(err, &fault) || strings.ContainsAny(err.Error(), "\n\r") || fault.Line < 1 || fault.Column < 1 {
				t.Fatalf("message %q", err)
			}
			return
		}
		sane := s.Shingle.Exposure > 0 && s.Shingle.Exposure < s.Shingle.Height && s.Band.Low < s.Band.High && s.Band.High < s.Shingle.Height &&
			s.Shingle.Exposure <= s.Band.Low && s.Ends.Min < s.Ends.Max && 2*s.Ends.Max < s.Shingle.Width && s.Decision.Clear < s.Decision.Suspect &&
			s.Fasteners.PerPiece >= 2 && s.Cut.ShortCount >= 2 && len(s.SHA256) == 64
		if !sane {
			t.Fatalf("taken: %+v", s)
		}
	})
}
