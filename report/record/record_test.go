package record

import (
	"context"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/review"
	"coursegauge/vision/length"
)

// The same job gives a sound record as a folder and as an archive, the same bytes
// each time; its number is that of the folder and of the archive alike.
func TestMakeAndVerify(t *testing.T) {
	in, dir := job(t), t.TempDir()
	in.Key = signer(t)
	folder := mustMake(t, in, filepath.Join(dir, "a"))
	one, two := mustMake(t, in, filepath.Join(dir, "b.zip")), mustMake(t, in, filepath.Join(dir, "x", "..", "c.zip"))
	if folder.Digest != one.Digest || one.Digest != two.Digest {
		t.Errorf("numbers %s, %s, %s", folder.Digest, one.Digest, two.Digest)
	}
	for _, name := range []string{"a", "b.zip", "c.zip"} {
		v := verdictOf(t, filepath.Join(dir, name), Options{Trust: []Trusted{{"office.pub", in.Key.Public()}}, Version: "test"})
		if len(v.Problems) > 0 || v.Digest != folder.Digest || !strings.Contains(v.Signed, "office.pub") || v.Files != 10 {
			t.Errorf("%s: %d files, signed %q\n%s%q", name, v.Files, v.Signed, said(v), filesIn(t, filepath.Join(dir, "a")))
		}
		if len(v.Notes) != 0 || len(v.Unchecked) != 1 || v.Unchecked[0] != "3 photos not measured again" {
			t.Errorf("%s: notes %q, not checked %q", name, v.Notes, v.Unchecked)
		}
	}
	for _, p := range in.Document.Photos {
		kept := mustRead(t, filepath.Join(dir, "a/data/photos", p.File))
		if hashOf(kept) != p.SHA256 {
			t.Errorf("%s is not kept byte for byte", p.File)
		}
	}
	if _, err := Make(context.Background(), in, filepath.Join(dir, "a")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over an existing record: %v", err)
	}
	src, err := bag.Open(filepath.Join(dir, "b.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	if got, err := Digest(src); err != nil || got != folder.Digest {
		t.Errorf("the number of the archive is %s, %v", got, err)
	}
	if left := bag.Leftovers(filepath.Join(dir, "a")); len(left) > 0 {
		t.Errorf("left over: %q", left)
	}
}

// sha256sum, the program that everybody has, reads both lists.
func TestSha256sumReadsTheLists(t *testing.T) {
	sha256sum, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("no sha256sum here")
	}
	dir := filepath.Join(t.TempDir(), "r")
	mustMake(t, job(t), dir)
	for _, list := range []string{bag.ManifestFile, bag.TagManifestFile} {
		c := exec.Command(sha256sum, "-c", "--strict", list)
		c.Dir = dir
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", list, err, out)
		}
	}
}

func copyOf(t testing.TB, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "r")
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

func filesIn(t testing.TB, dir string) (paths []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			paths = append(paths, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return paths
}

// mutation changes a record that lies as a folder, and says what it did.
type mutation func(t *testing.T, r *rand.Rand, dir string, files []string) string

func edit(change func(r *rand.Rand, data []byte) []byte) mutation {
	return func(t *testing.T, r *rand.Rand, _ string, files []string) string {
		path := files[r.IntN(len(files))]
		before := mustRead(t, path)
		after := change(r, slices.Clone(before))
		mustWrite(t, path, after)
		return path
	}
}

func editLines(change func(r *rand.Rand, lines []string) []string) mutation {
	return func(t *testing.T, r *rand.Rand, dir string, _ []string) string {
		path := filepath.Join(dir, []string{bag.ManifestFile, bag.TagManifestFile}[r.IntN(2)])
		lines := strings.SplitAfter(strings.TrimSuffix(string(mustRead(t, path)), "\n"), "\n")
		lines[len(lines)-1] += "\n"
		mustWrite(t, path, []byte(strings.Join(change(r, lines), "")))
		return path
	}
}

var mutations = map[string]mutation{
	"flip a bit": edit(func(r *rand.Rand, d []byte) []byte { d[r.IntN(len(d))] ^= 1 << r.IntN(8); return d }),
	"truncate":   edit(func(r *rand.Rand, d []byte) []byte { return d[:r.IntN(len(d))] }),
	"append":     edit(func(r *rand.Rand, d []byte) []byte { return append(d, byte(r.IntN(256))) }),
	"insert": edit(func(r *rand.Rand, d []byte) []byte {
		return slices.Insert(d, r.IntN(len(d)), "\n \x00*"[r.IntN(4)])
	}),
	"line ends": edit(func(_ *rand.Rand, d []byte) []byte {
		return append([]byte(strings.ReplaceAll(string(d), "\n", "\r\n")), '\n')
	}),
	"delete": func(t *testing.T, r *rand.Rand, _ string, files []string) string {
		path := files[r.IntN(len(files))]
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		return path
	},
	"swap": func(t *testing.T, r *rand.Rand, _ string, files []string) string {
		i := r.IntN(len(files))
		k := (i + 1 + r.IntN(len(files)-1)) % len(files)
		a, b := mustRead(t, files[i]), mustRead(t, files[k])
		mustWrite(t, files[i], b)
		mustWrite(t, files[k], a)
		return files[i] + " and " + files[k]
	},
	"add": func(t *testing.T, r *rand.Rand, dir string, _ []string) string {
		names := []string{"data/new.jpg", "data/photos/north/IMG 3.jpg", "extra.txt", "data/photos/north/img 1.jpg", "data/photos/Strasse.jpg", "tags/more.txt", "fetch.txt", "manifest-md5.txt", "tagmanifest-sha512.txt", "tagmanifest-sha256.txt.tsr", "data/.hidden", "data/photos/north/IMG\u00a01.jpg", "dаta/x"}
		path := filepath.Join(dir, names[r.IntN(len(names))])
		mustWrite(t, path, picture(t, uint8(r.IntN(200))))
		return path
	},
	"add a folder": func(t *testing.T, r *rand.Rand, dir string, _ []string) string {
		path := filepath.Join(dir, []string{"data/photos/empty", "empty"}[r.IntN(2)])
		if err := os.Mkdir(path, 0o755); err != nil {
			t.Fatal(err)
		}
		return path
	},
	"rename": func(t *testing.T, r *rand.Rand, _ string, files []string) string {
		path := files[r.IntN(len(files))]
		to := filepath.Join(filepath.Dir(path), []string{"x" + filepath.Base(path), strings.ToUpper(filepath.Base(path)) + "_", filepath.Base(path) + " ", "о" + filepath.Base(path)[1:]}[r.IntN(4)])
		if err := os.Rename(path, to); err != nil {
			t.Fatal(err)
		}
		return path + " to " + to
	},
	"link": func(t *testing.T, r *rand.Rand, _ string, files []string) string {
		path := files[r.IntN(len(files))]
		away := filepath.Join(t.TempDir(), "away")
		if err := errors.Join(os.Rename(path, away), os.Symlink(away, path)); err != nil {
			t.Fatal(err)
		}
		return path
	},
	"remove a line":  editLines(func(r *rand.Rand, l []string) []string { i := r.IntN(len(l)); return slices.Delete(l, i, i+1) }),
	"repeat a line":  editLines(func(r *rand.Rand, l []string) []string { return append(l, l[r.IntN(len(l))]) }),
	"swap two lines": editLines(func(_ *rand.Rand, l []string) []string { l[0], l[1] = l[1], l[0]; return l }),
	"swap two sums": editLines(func(_ *rand.Rand, l []string) []string {
		l[0], l[1] = l[1][:64]+l[0][64:], l[0][:64]+l[1][64:]
		return l
	}),
	"another sum": editLines(func(r *rand.Rand, l []string) []string {
		i := r.IntN(len(l))
		l[i] = hashOf([]byte(fmt.Sprint(r.Uint64()))) + l[i][64:]
		return l
	}),
	"upper case": editLines(func(r *rand.Rand, l []string) []string {
		i := r.IntN(len(l))
		l[i] = strings.ToUpper(l[i][:64]) + l[i][64:]
		if l[i][:64] == strings.ToLower(l[i][:64]) { // digits alone
			l[i] = " " + l[i]
		}
		return l
	}),
	"escape": editLines(func(r *rand.Rand, l []string) []string {
		i := r.IntN(len(l))
		l[i] = l[i][:66] + []string{"../", "/", "./", `C:\`, "~/", "data/../"}[r.IntN(6)] + l[i][66:]
		return l
	}),
	"add a line": editLines(func(_ *rand.Rand, l []string) []string { return append(l, hashOf(nil)+"  data/none.jpg\n") }),
}

// 500 random changes of a record, signed or not, are found, every one.
func TestEveryMutationIsFound(t *testing.T) {
	in := job(t)
	dir := t.TempDir()
	mustMake(t, in, filepath.Join(dir, "bare"))
	in.Key = signer(t)
	mustMake(t, in, filepath.Join(dir, "signed"))
	var kinds []string
	for k := range mutations {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	const seed, rounds = 8493, 500
	r := rand.New(rand.NewPCG(seed, 1))
	found := 0
	for i := range rounds {
		from, kind := []string{"bare", "signed"}[i%2], kinds[i%len(kinds)]
		work := copyOf(t, filepath.Join(dir, from))
		what := mutations[kind](t, r, work, filesIn(t, work))
		if v := verdictOf(t, work, Options{Version: "test"}); len(v.Problems) > 0 {
			found++
		} else {
			t.Errorf("%d, %s: %s, %s: not found", i, from, kind, what)
		}
	}
	t.Logf("%d of %d changes found, %d kinds", found, rounds, len(kinds))
}

// The same for archives, byte by byte. Where only the envelope changed, a date
// of the archive's index for example, it is told and is no problem.
func TestEveryMutationOfAnArchiveIsFound(t *testing.T) {
	in := job(t)
	dir := t.TempDir()
	in.Key = signer(t)
	path := filepath.Join(dir, "r.zip")
	mustMake(t, in, path)
	whole := mustRead(t, path)
	r := rand.New(rand.NewPCG(7, 7))
	problems, told := 0, 0
	const rounds = 500
	for i := range rounds {
		data := slices.Clone(whole)
		at := r.IntN(len(data))
		kind := []string{"flip a bit", "truncate", "append", "insert", "delete a byte"}[i%5]
		switch kind {
		case "flip a bit":
			data[at] ^= 1 << r.IntN(8)
		case "truncate":
			data = data[:at]
		case "append":
			data = append(data, byte(at))
		case "insert":
			data = slices.Insert(data, at, byte(i))
		case "delete a byte":
			data = slices.Delete(data, at, at+1)
		}
		changed := filepath.Join(dir, "changed.zip")
		mustWrite(t, changed, data)
		v := verdictOf(t, changed, Options{Version: "test"})
		switch {
		case len(v.Problems) > 0:
			problems++
		case slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "the archive itself") }):
			told++
		default:
			t.Errorf("%d: %s at %d of %d: not found", i, kind, at, len(whole))
		}
	}
	t.Logf("of %d changes %d are problems, %d are told as the envelope's", rounds, problems, told)
	if problems < rounds*3/4 {
		t.Errorf("only %d of %d are problems", problems, rounds)
	}
}

// What was removed, and what it must say; the record says what there was.
func TestMissingSeals(t *testing.T) {
	in := job(t)
	in.Key = signer(t)
	whole := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, whole)
	for file, words := range map[string]string{
		signatureFile:             "the record says that it is signed",
		bag.TagManifestFile:       "a record has it",
		bag.ManifestFile:          "is missing",
		"data/record.json":        "is missing",
		"data/settings/barn.yaml": "is missing",
	} {
		dir := copyOf(t, whole)
		if err := os.Remove(filepath.Join(dir, file)); err != nil {
			t.Fatal(err)
		}
		if v := verdictOf(t, dir, Options{}); !strings.Contains(said(v), file+": ") || !strings.Contains(said(v), words) {
			t.Errorf("without %s:\n%s", file, said(v))
		}
	}
	both := copyOf(t, whole)
	for _, file := range []string{bag.ManifestFile, bag.TagManifestFile} {
		if err := os.Remove(filepath.Join(both, file)); err != nil {
			t.Fatal(err)
		}
	}
	if v := verdictOf(t, both, Options{}); strings.Count(said(v), "is missing or cannot be read; a record has it") != 2 {
		t.Errorf("without both lists:\n%s", said(v))
	}
	if v := verdictOf(t, whole, Options{Trust: []Trusted{{"other.pub", signer(t).Public()}}}); !strings.Contains(said(v), "none of those to trust") {
		t.Errorf("another key to trust:\n%s", said(v))
	}
	in.Key = nil
	bare := filepath.Join(t.TempDir(), "bare")
	mustMake(t, in, bare)
	if v := verdictOf(t, bare, Options{Trust: []Trusted{{"other.pub", signer(t).Public()}}}); !strings.Contains(said(v), "not signed") {
		t.Errorf("not signed, and to be trusted:\n%s", said(v))
	}
}

// A manifest more, sound and listed, is none of a record's: nothing would hold it to one form.
func TestManifestMore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, job(t), path)
	var lines []string
	for _, file := range filesIn(t, filepath.Join(path, bag.Payload)) {
		rel, err := filepath.Rel(path, file)
		if err != nil {
			t.Fatal(err)
		}
		sum := sha512.Sum512(mustRead(t, file))
		lines = append(lines, hex.EncodeToString(sum[:])+"  "+rel+"\n")
	}
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[130:], b[130:]) })
	const more = "manifest-sha512.txt"
	mustWrite(t, filepath.Join(path, more), []byte(strings.Join(lines, "")))
	list := filepath.Join(path, bag.TagManifestFile)
	tags := append(mustRead(t, list), hashOf(mustRead(t, filepath.Join(path, more)))+"  "+more+"\n"...)
	mustWrite(t, list, bag.Canonical(tags, "1.0"))
	v := verdictOf(t, path, Options{})
	if len(v.Problems) != 1 || said(v) != more+": is a manifest that record make does not write\n" {
		t.Errorf("%s", said(v))
	}
}

// record.json is text that a person can read, in one form.
func TestContentsAreReadable(t *testing.T) {
	data, err := Contents{Format: format, Title: "A & <b>", Photos: []Photo{{File: "a", Path: "photos/a", SHA256: "0"}}}.encode()
	want := `{
 "format": "coursegauge-record/1",
 "made": "",
 "version": "",
 "title": "A & <b>",
 "settings": {
  "schedule": ""
 },
 "photos": [
  {
   "file": "a",
   "path": "photos/a",
   "sha256": "0"
  }
 ],
 "decisions": 0
}
`
	if err != nil || string(data) != want {
		t.Errorf("%v\n%s", err, data)
	}
}

// A record whose lists fit and whose parts do not: somebody wrote new lists.
func TestPartsThatDoNotFit(t *testing.T) {
	for name, c := range map[string]struct {
		change func(in *Input)
		words  string
	}{
		"a decision about no head": {func(in *Input) { in.Decisions[0].Target = "head/77" }, ""},
		"totals": {func(in *Input) {
			in.Inspection = []byte(strings.Replace(string(in.Inspection), `"fasteners": 4`, `"fasteners": 5`, 1))
		}, "totals are not those"},
		"another schedule": {func(in *Input) {
			in.Inspection = []byte(strings.Replace(string(in.Inspection), in.Document.Schedule.SHA256, hashOf(nil), 1))
		}, "not the schedule that was judged by"},
		"another photo in the file": {func(in *Input) {
			in.Inspection = []byte(strings.Replace(string(in.Inspection), in.Document.Photos[0].SHA256, hashOf(nil), 1))
		}, "is not the photo that was inspected"},
		"no photo of that name": {func(in *Input) {
			in.Inspection = []byte(strings.Replace(string(in.Inspection), `"file": "Straße.jpg"`, `"file": "other.jpg"`, 1))
		}, "was inspected and is not in the record"},
		"an inspection that is none": {func(in *Input) { in.Inspection = []byte("{}") }, "cannot be read"},
	} {
		in := job(t)
		c.change(&in)
		path := filepath.Join(t.TempDir(), "r")
		m := mustMake(t, in, path)
		v := verdictOf(t, path, Options{})
		if c.words == "" {
			if m.Contents.Decisions != 1 || m.Contents.Elsewhere != 1 || len(v.Problems) > 0 {
				t.Errorf("%s: %d decisions, %d elsewhere\n%s", name, m.Contents.Decisions, m.Contents.Elsewhere, said(v))
			}
			continue
		}
		if !strings.Contains(said(v), c.words) {
			t.Errorf("%s: never said %q\n%s", name, c.words, said(v))
		}
	}
}

// Decisions about heads that are not there are found in a forged record.
func TestForgedDecision(t *testing.T) {
	in := job(t)
	in.Document.Photos = slices.Clone(in.Document.Photos)
	in.Document.Photos[1].Heads = append(slices.Clone(in.Document.Photos[1].Heads), head(77, "clear"))
	in.Decisions[0].Target = review.HeadTarget(77) // which the file of the inspection does not know
	path := filepath.Join(t.TempDir(), "r")
	mustMake(t, in, path)
	if v := verdictOf(t, path, Options{}); !strings.Contains(said(v), "line 1: a decision about nothing that was measured") {
		t.Errorf("%s", said(v))
	}
}

func TestPhotosThatAreNotTheirs(t *testing.T) {
	for words, change := range map[string]func(path string) error{
		"is not in": os.Remove,
		"is not the one that was inspected": func(path string) error {
			return os.WriteFile(path, []byte("another"), 0o644)
		},
	} {
		in := job(t)
		if err := change(filepath.Join(in.Photos, "Straße.jpg")); err != nil {
			t.Fatal(err)
		}
		target := filepath.Join(t.TempDir(), "r.zip")
		var wrong WrongPhoto
		if _, err := Make(context.Background(), in, target); !errors.As(err, &wrong) || !strings.Contains(wrong.Why, words) {
			t.Errorf("%v, want %q", err, words)
		}
		left, _ := os.ReadDir(filepath.Dir(target))
		if len(left) > 0 {
			t.Errorf("left over: %v", left)
		}
	}
}

// Measuring again: what agrees, what does not, by the same and by another version.
func TestDisagreements(t *testing.T) {
	then := inspection.Photo{Status: inspection.Measured, Heads: []inspection.Fastener{head(1, "suspect"), head(2, "clear")}}
	now := func(change func(p *inspection.Photo)) inspection.Photo {
		p := inspection.Photo{Status: inspection.Measured, Heads: []inspection.Fastener{head(1, "suspect"), head(2, "clear")}}
		change(&p)
		return p
	}
	for _, c := range []struct {
		name          string
		now           inspection.Photo
		same, another bool // disagrees
	}{
		{"equal", now(func(*inspection.Photo) {}), false, false},
		{"the last bits", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.MM += 0.04 }), false, false},
		// K95 (0.4² + 0.4²)½ = 1.11 mm
		{"half a millimetre", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.MM += 0.5 }), true, false},
		{"two millimetres", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.MM += 2 }), true, true},
		{"another verdict", now(func(p *inspection.Photo) { p.Heads[0].Verdict = "clear" }), true, false},
		{"a head less", now(func(p *inspection.Photo) { p.Heads = p.Heads[:1] }), true, false},
		{"a head elsewhere", now(func(p *inspection.Photo) { p.Heads[1].Px[0] += 50 }), true, false},
		{"another drive", now(func(p *inspection.Photo) { p.Heads[0].Drive.Class = "cocked" }), true, false},
		{"exposed", now(func(p *inspection.Photo) { p.Heads[0].Exposed = true }), true, false},
		{"a rule answered otherwise", now(func(p *inspection.Photo) { p.Heads[0].Rules[0].Result = "not_judged" }), true, false},
		{"no length", now(func(p *inspection.Photo) { p.Heads[0].LowerJoint = nil }), true, false},
		// half of .40 mm less .05 mm, twice of it and .05 mm
		{"an uncertainty of half", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.U = 0.76 }), true, false},
		{"an uncertainty under half", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.U = 0.92 }), true, true},
		{"an uncertainty over twice", now(func(p *inspection.Photo) { p.Heads[0].AboveButt.U = 0.17 }), true, true},
		{"a finding more", now(func(p *inspection.Photo) { p.Findings = []inspection.Finding{{Rule: "gap", Result: "suspect"}} }), true, false},
		{"two heads at one place", now(func(p *inspection.Photo) { p.Heads[1].Px, p.Heads[0].Px[0] = p.Heads[0].Px, -90 }), true, true},
		{"refused", now(func(p *inspection.Photo) { p.Status = inspection.Refused }), true, true},
	} {
		if got := disagreements(then, c.now, true); len(got.wrong) > 0 != c.same || len(got.version) > 0 {
			t.Errorf("%s, same version: %q, want some: %v", c.name, got, c.same)
		}
		got := disagreements(then, c.now, false)
		if len(got.wrong) > 0 != c.another {
			t.Errorf("%s, another version: %q, want some: %v", c.name, got, c.another)
		}
		if c.same && len(got.wrong)+len(got.version) == 0 && !slices.Contains([]string{"half a millimetre", "an uncertainty of half"}, c.name) { // which another version may tell
			t.Errorf("%s, another version: nothing is said", c.name)
		}
	}
}

// The measurer is given the settings of the record, and each photo's own bytes.
func TestMeasuredAgain(t *testing.T) {
	in := job(t)
	path := filepath.Join(t.TempDir(), "r.zip")
	mustMake(t, in, path)
	by := map[string]inspection.Photo{}
	for _, p := range in.Document.Photos {
		by[p.File] = p
	}
	wrong := ""
	o := Options{Version: "test", Measure: func(s MeasuringSettings) (Measurer, error) {
		if s.Schedule.Name != "barn.yaml" || hashOf(s.Schedule.Data) != in.Document.Schedule.SHA256 {
			t.Errorf("schedule %s", s.Schedule.Name)
		}
		return func(_ context.Context, file string, data []byte) (inspection.Photo, error) {
			p := by[file]
			if hashOf(data) != p.SHA256 {
				t.Errorf("%s: other bytes", file)
			}
			if file == wrong {
				p.Status, p.Refusal, p.Heads = inspection.Refused, &inspection.Refusal{Reason: "blurred"}, nil
			}
			return p, nil
		}, nil
	}}
	if v := verdictOf(t, path, o); len(v.Problems) > 0 || v.Again != 3 {
		t.Errorf("%d again\n%s", v.Again, said(v))
	}
	var told []string
	o.Progress = func(file string) { told = append(told, file) }
	if v := verdictOf(t, path, o); v.Again != 3 || !slices.Equal(told, []string{"Straße.jpg", "north/IMG 1.jpg", "north/IMG 2.jpg"}) {
		t.Errorf("%d again, told of %q", v.Again, told)
	}
	broken := Options{Version: "test", Measure: func(MeasuringSettings) (Measurer, error) {
		return func(context.Context, string, []byte) (inspection.Photo, error) {
			return inspection.Photo{}, errors.New("an internal fault")
		}, nil
	}}
	if v := verdictOf(t, path, broken); len(v.Problems) != 3 || v.Again != 0 || !strings.Contains(said(v), "data/photos/north/IMG 2.jpg: cannot be measured again: an internal fault") {
		t.Errorf("%d again\n%s", v.Again, said(v))
	}
	broken.Measure = func(MeasuringSettings) (Measurer, error) { return nil, errors.New("no such card") }
	if v := verdictOf(t, path, broken); len(v.Problems) != 1 || !strings.Contains(said(v), "photos cannot be measured again: no such card") {
		t.Errorf("%s", said(v))
	}
	wrong = "north/IMG 2.jpg"
	if v := verdictOf(t, path, o); !strings.Contains(said(v), "is measured in the record and refused when measured again") {
		t.Errorf("%s", said(v))
	}
}

// Names that some system cannot keep become ones that all can, each once.
func TestNames(t *testing.T) {
	n := names{}
	for _, c := range []struct{ in, want string }{
		{"photos/a.jpg", "photos/a.jpg"},
		{"photos/A.jpg", "photos/A-2.jpg"},
		{"photos/а.jpg", "photos/а-3.jpg"}, // Cyrillic
		{"photos/100%.jpg", "photos/100_.jpg"},
		{"photos/CON.jpg", "photos/_CON.jpg"},
		{"photos/b\u202e.jpg", "photos/b_.jpg"},
		{"photos/../x", "photos/_/x"},
		{`photos/c\d:e.jpg`, "photos/c_d_e.jpg"},
	} {
		if got := n.name(c.in); got != c.want || !bag.Ordinary(got) {
			t.Errorf("%q: %q, want %q", c.in, got, c.want)
		}
	}
}

func FuzzContents(f *testing.F) {
	data, err := Contents{Format: format, Photos: []Photo{{File: "a", Path: "photos/a", SHA256: hashOf(nil)}}}.encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := parseContents(data)
		if err != nil {
			return
		}
		again, err := c.encode()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parseContents(again); err != nil {
			t.Errorf("what was read cannot be read again: %v", err)
		}
	})
}

// The first and the last time that photos tell, in whatever order they come.
func TestTakenBetween(t *testing.T) {
	at := func(times ...string) (out []inspection.Photo) {
		for _, s := range times {
			out = append(out, inspection.Photo{Taken: s})
		}
		return out
	}
	for _, c := range []struct {
		photos   []inspection.Photo
		from, to string
	}{
		{nil, "", ""}, {at(""), "", ""}, {at("2026-05-04"), "2026-05-04", "2026-05-04"}, {at("b", "", "a", "c"), "a", "c"}, {at("", "c", "a"), "a", "c"},
	} {
		if from, to := takenBetween(c.photos); from != c.from || to != c.to {
			t.Errorf("%v: %q to %q", c.photos, from, to)
		}
	}
}

// Half of the heads, and 19 of 20, are known to the uncertainty that is told.
func TestUncertainty(t *testing.T) {
	of := func(n int) []inspection.Photo {
		var p inspection.Photo
		for k := range n {
			p.Heads = append(p.Heads, inspection.Fastener{AboveButt: &inspection.Length{MM: 160, U: float64(n - k)}}, inspection.Fastener{})
		}
		return []inspection.Photo{p}
	}
	for _, c := range []struct {
		n          int
		half, most float64 // in standard uncertainties, 1 to n
	}{{0, 0, 0}, {1, 1, 1}, {2, 1, 2}, {3, 2, 3}, {19, 10, 19}, {20, 10, 19}, {21, 11, 20}, {40, 20, 38}, {41, 21, 39}} {
		half, most := uncertainty(of(c.n))
		if math.Abs(half-length.K95*c.half) > 1e-9 || math.Abs(most-length.K95*c.most) > 1e-9 {
			t.Errorf("%d heads: %g and %g, want %g and %g", c.n, half/length.K95, most/length.K95, c.half, c.most)
		}
	}
}

// What has a form is held to it.
func TestForms(t *testing.T) {
	hash := strings.Repeat("0a", 32)
	for _, c := range []struct {
		name string
		got  bool
		want bool
	}{
		{"hash", isHash(hash), true}, {"hash, short", isHash(hash[1:]), false}, {"hash, capital", isHash("A" + hash[1:]), false}, {"hash, long", isHash(hash + "0"), false},
		{"time", isTime("2026-05-04T17:30:00Z"), true}, {"time, offset", isTime("2026-05-04T17:30:00-07:00"), true}, {"time, day", isTime("2026-05-04"), false}, {"time, more", isTime("2026-05-04T17:30:00Z\n"), false}, {"time, fraction", isTime("2026-05-04T17:30:00.0Z"), false},
		{"version", isVersion("1.2.3~rc1+2-g0a"), true}, {"version, empty", isVersion(""), false}, {"version, space", isVersion("1 2"), false}, {"version, long", isVersion(strings.Repeat("1", 65)), false}, {"version, longest", isVersion(strings.Repeat("1", 64)), true}, {"version, line", isVersion("1\n"), false},
		{"name", isName("lot 7.zip"), true}, {"name, folder", isName("a/b"), false}, {"name, up", isName(".."), false}, {"name, here", isName("."), false}, {"name, empty", isName(""), false}, {"name, zero", isName("a\x00b"), false},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v", c.name, c.got)
		}
	}
}
