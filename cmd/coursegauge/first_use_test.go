package main

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"

	"coursegauge/calibrate/lens"
	"coursegauge/report/inspection"
	"coursegauge/report/record"
	"coursegauge/report/review"
	"coursegauge/vision"
	"coursegauge/vision/length"

	"github.com/spf13/cobra"
)

// What a person types in the first hour, a little wrong: the answer names what
// was meant.
func TestMistyped(t *testing.T) {
	for _, c := range []struct {
		line, hint string
	}{
		{"inspect lot --schedul lot.yaml", "did you mean: --schedule"},
		{"inspect lot --shedule lot.yaml", "did you mean: --schedule"},
		{"inspect lot --ou out", "did you mean: --out"},
		{"inspect lot --squars 20", "did you mean: --squares"},
		{"card prove --nubmer 3", "did you mean: --number"},
		{"card make --langauge es", "did you mean: --lang"},
		{"review lot --opne", "coursegauge review --help shows the flags"},
		{"inspect lot --zebra", "coursegauge inspect --help shows the flags"},
		{"inspect lot -s lot.yaml", "coursegauge inspect --help shows the flags"},
		{"--versoin", "did you mean: --version"},
		{"report lot", "coursegauge inspect writes the report, coursegauge review opens it"},
		{"verify lot.zip", "coursegauge record verify checks a record"},
		{"reveiw lot", "did you mean: coursegauge review lot"},
		{"recrd make lot", "did you mean: coursegauge record make lot"},
		{"card mak --number 3", "did you mean: coursegauge card make"},
		{"report lot --out x", "coursegauge inspect writes the report"},
		{"inspct lot --schedule lot.yaml", "did you mean: coursegauge inspect lot"},
		{"camera lern photos", "did you mean: coursegauge camera learn photos"},
		{"card report", "coursegauge card --help lists the commands"},
		{"zebra", "coursegauge --help lists the commands"},
	} {
		r := runIn(t, t.TempDir(), strings.Fields(c.line)...)
		if !strings.Contains(r.err, "hint: "+c.hint) {
			t.Errorf("%s: %q, want the hint %q", c.line, r.err, c.hint)
		}
		r.said(t, exitUsage)
		r.oneError(t)
	}
}

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		typed string
		names []string
		want  string
	}{
		{"merge", []string{"inspect", "merge"}, "merge"},
		{"megre", []string{"merge", "verge"}, "merge"}, // a swap is one slip
		{"out", []string{"output", "but"}, "but"},      // a slip comes before a beginning
		{"ou", []string{"out"}, "out"},
		{"o", []string{"output"}, ""},
		{"languages", []string{"lang"}, "lang"},
		{"xyz", []string{"abc"}, ""},
		{"", []string{"abc"}, ""},
		{"abc", nil, ""},
	} {
		if got := nearest(c.typed, c.names); got != c.want {
			t.Errorf("%q of %q: %q, want %q", c.typed, c.names, got, c.want)
		}
	}
}

// --version says what version says.
func TestVersionFlag(t *testing.T) {
	dir := t.TempDir()
	flag, command := runIn(t, dir, "--version"), runIn(t, dir, "version")
	flag.said(t, exitDone, "coursegauge ", "OpenCV 4.", cardFormat)
	if flag.out != command.out {
		t.Errorf("%q and %q", flag.out, command.out)
	}
}

// Where a file cannot be written, the hint speaks of why, not of another fault.
func TestWhereNothingCanBeWritten(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "file"), []byte("x"))
	if err := os.Mkdir(filepath.Join(dir, "locked"), 0o500); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ line, hint string }{
		{"card make --number 3 --out none/card.pdf", "there is no folder none; make it first: mkdir -p none"},
		{"explain photos/a.jpg --out none/deep/a.html", "there is no folder none/deep; make it first: mkdir -p none/deep"},
		{"card make --number 3 --out file/card.pdf", "file is a file, not a folder; write elsewhere"},
		{"card make --number 3 --out locked/card.pdf", "this user may not write there"},
		{"inspect photos --schedule lot.yaml --out locked/out", "this user may not write there"},
		{"inspect photos --schedule lot.yaml --out locked", "this user may not write there"},
		{"inspect photos --schedule lot.yaml --out file/out", "file is a file, not a folder; write elsewhere"},
	} {
		if strings.Contains(c.line, "locked") && os.Geteuid() == 0 {
			continue // root may write there
		}
		r := runIn(t, dir, strings.Fields(c.line)...)
		r.said(t, exitFailed, "hint: "+c.hint)
		r.oneError(t)
		if strings.Contains(r.err, "make room") {
			t.Errorf("%s: room is not what is missing: %s", c.line, r.err)
		}
	}
	// What root cannot be shown with a folder.
	for _, c := range []struct {
		err  error
		want string
	}{
		{&os.PathError{Op: "open", Path: "x", Err: os.ErrPermission}, "this user may not write there"},
		{&os.PathError{Op: "open", Path: "x", Err: syscall.EROFS}, "that disk can only be read"},
		{syscall.EIO, "write elsewhere; nothing was changed"},
	} {
		if got := writeHint(dir, c.err); !strings.HasPrefix(got, c.want) {
			t.Errorf("%v: %q, want %q", c.err, got, c.want)
		}
	}
}

// An exact print has an example, and every length of an example is taken.
func TestExamplesOfCardProve(t *testing.T) {
	dir := t.TempDir()
	exact := false
	for _, line := range strings.Split(commandNamed(t, "card", "prove").Example, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) < 3 || words[1] != "card" {
			continue
		}
		runIn(t, dir, words[1:]...).said(t, exitDone, "card file: cards.json")
		exact = exact || slices.Contains(words, "10.00in")
	}
	if !exact {
		t.Error("no example shows an exact print")
	}
	runIn(t, dir, "card", "prove", "--number", "3", "--length", "10 in", "--out", "x.json").said(t, exitUsage, "(10.00in when it is exactly that)")
}

// A profile that the example of learn writes is found by the next line of it.
func TestExampleOfCameraLearn(t *testing.T) {
	example := commandNamed(t, "camera", "learn").Example
	out := regexp.MustCompile(`--out (\S+)`).FindStringSubmatch(example)
	if out == nil || !strings.Contains(example, "--camera auto") {
		t.Fatalf("the example is %q", example)
	}
	home := t.TempDir()
	t.Setenv("HOME", home)
	t.Setenv("XDG_CONFIG_HOME", "")
	folder := strings.Replace(out[1], "~", home, 1)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		filepath.Join(folder, "phone"+lens.Ext): "",
		"phone" + lens.Ext:                      "",
		"phone.json":                            "looks for *" + lens.Ext + " only; name this one: --camera phone.json",
		"profiles/phone" + lens.Ext:             "does not look into this folder unless the photos lie there; name it: --camera profiles/phone",
	} {
		if got := outOfSight(path); (got == "") != (want == "") || !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", path, got, want)
		}
	}
}

// The two angles of a photo have two names: that of the card and, once it is
// known, that of the course.
func TestAnglesOfExplain(t *testing.T) {
	for _, c := range []struct {
		distance float64
		want     string
	}{{0, vision.CardAngle}, {900, "angle off square to the roof, at the middle of the course"}} {
		r := &vision.Result{ScalePxPerMM: 3, TiltDeg: 14.04}
		r.Camera.Distance = length.MM(c.distance)
		found := false
		for _, f := range (&explained{result: r}).factRows() {
			if f.Name == "angle" {
				t.Error("an angle without a name")
			}
			if strings.HasPrefix(f.Name, c.want) {
				found = f.Value == "14.0 degrees"
			}
		}
		if !found {
			t.Errorf("at %.0f mm: no %q of 14.0 degrees", c.distance, c.want)
		}
	}
}

// commandNamed is a command by its path.
func commandNamed(t *testing.T, path ...string) *cobra.Command {
	t.Helper()
	c, rest, err := newRoot(newTerminal()).Find(path)
	if err != nil || len(rest) > 0 {
		t.Fatal(path, err)
	}
	return c
}

// What was undone is not told as a decision.
func TestUndoneIsNoDecision(t *testing.T) {
	sha := strings.Repeat("ab", 32)
	in := record.Input{Document: inspection.Document{Photos: []inspection.Photo{{File: "a.jpg", SHA256: sha, Image: &inspection.Image{Width: 40, Height: 30}, Heads: []inspection.Fastener{{ID: 1}, {ID: 2}}}}}}
	decide := func(photo string, head int, what string, seen ...string) string {
		d := review.Decision{Format: review.Format, ID: review.NewID(), Photo: photo, File: "a.jpg", Target: review.HeadTarget(head), What: what, Who: "me", When: "2026-05-04T17:30:00Z", Seen: seen}
		in.Decisions = append(in.Decisions, d)
		return d.ID
	}
	decide(sha, 1, review.Undecided, decide(sha, 1, review.Wrong))
	decide(sha, 2, review.Sound, decide(sha, 2, review.Wrong))
	decide(strings.Repeat("cd", 32), 1, review.Wrong) // of another photo
	if got := standing(in); got != 1 {
		t.Errorf("%d stand, want 1", got)
	}
	for _, c := range []struct {
		all  int
		want string
	}{{4, "1 decision (and 3 that were changed or undone), "}, {1, "1 decision, "}} {
		var out strings.Builder
		if err := (recordMakeOptions{out: "lot"}).print(&terminal{out: &out, err: io.Discard}, record.Made{Contents: record.Contents{Decisions: c.all}}, standing(in)); err != nil || !strings.Contains(out.String(), c.want) {
			t.Errorf("%v: %q, want %q", err, out.String(), c.want)
		}
	}
}

func TestDaysWords(t *testing.T) {
	for _, c := range []struct {
		first, last string
		undated     int
		want        string
	}{
		{"2026-05-01", "2026-05-01", 0, "2026-05-01"}, {"2026-05-01", "2026-05-03", 0, "2026-05-01 to 2026-05-03"},
		{"2026-05-01", "2026-05-03", 2, "2026-05-01 to 2026-05-03 and 2 without a date"}, {"", "", 4, "no dates"},
	} {
		if got := daysWords(c.first, c.last, c.undated); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// A path that is nearly right is answered with the right one.
func TestNearPath(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot-7/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot-7.yaml"), []byte(goodSchedule))
	for _, c := range []struct{ line, hint string }{
		{"inspect lot7/ --schedule lot-7.yaml --out out", "did you mean: lot-7"},
		{"inspect lot-7/ --schedule lot7.yaml --out out", "did you mean: lot-7.yaml"},
		{"inspect zebra --schedule lot-7.yaml --out out", "give photos, folders of photos"},
		{"explain lot-7/b.jpg", "did you mean: lot-7/a.jpg"},
		{"explain lot-7/IMG_31.jpg", "coursegauge explain PHOTO"},
		{"review lot7", "did you mean: lot-7"},
		{"review lot-7", "give a folder that inspect wrote"}, // it is there, and holds none
		{"record key office.key", "coursegauge record key --help"},
		{"record make lot-7 --out none/lot.zip", "make it first: mkdir -p none"},
	} {
		r := runIn(t, dir, strings.Fields(c.line)...)
		r.said(t, exitUsage, "hint: "+c.hint)
		r.oneError(t)
	}
}
