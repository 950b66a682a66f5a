package main

import (
	"bytes"
	bin "encoding/binary"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"unicode"
	"unicode/utf8"

	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/review"
)

// A report folder of somebody else cannot bring files of the user into a record: by
// the name of a photo, by links in the places of the report, of the inspection and of
// the list of crews, or by pipes, which must not block.
func TestRecordOfAForeignFolder(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	secret := filepath.Join(dir, "secret")
	writeFile(t, secret, []byte("a secret of the user\n"))
	refused := func(file string) inspection.Photo {
		return inspection.Photo{File: file, Status: inspection.Refused, Refusal: &inspection.Refusal{Reason: "unreadable", Detail: "noise", Advice: "none"}}
	}
	for _, c := range []struct {
		name   string
		change func(report string, d *inspection.Document) error
		status int
		words  string
	}{
		{"up and out", func(_ string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused("../../secret"))
			return nil
		}, exitFailed, "leads out of the folder of the photos"},
		{"absolute", func(_ string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused(secret))
			return nil
		}, exitFailed, "leads out of the folder of the photos"},
		{"no hash", func(report string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused("secret.jpg"))
			return os.Symlink(secret, filepath.Join(report, "secret.jpg"))
		}, exitDone, "1 photos that could not be read"},
		{"its hash", func(report string, d *inspection.Document) error {
			p := refused("secret.jpg")
			p.SHA256 = hashOf(mustRead(t, secret))
			d.Photos = append(d.Photos, p)
			return os.Symlink(secret, filepath.Join(report, "secret.jpg"))
		}, exitFailed, "cannot be read as a file of"},
		{"report", func(report string, _ *inspection.Document) error {
			return os.Symlink(secret, filepath.Join(report, "report.html"))
		}, exitFailed, "cannot read"},
		{"report, a pipe", func(report string, _ *inspection.Document) error {
			return syscall.Mkfifo(filepath.Join(report, "report.html"), 0o600)
		}, exitFailed, "no regular file"},
		{"crews", func(report string, _ *inspection.Document) error {
			return os.Symlink(secret, filepath.Join(report, "crews.yaml"))
		}, exitDone, "crews.yaml is no regular file and is not taken into the record"},
		{"crews, a copy that is no list", func(report string, _ *inspection.Document) error {
			return os.WriteFile(filepath.Join(report, "crews.yaml"), []byte("a secret of the user\n"), 0o600)
		}, exitUsage, "crews.yaml"},
	} {
		report, schedule := manyPhotos(t, 1, 64)
		if err := os.Rename(schedule, filepath.Join(report, "schedule.yaml")); err != nil {
			t.Fatal(err)
		}
		d, err := inspection.ReadFile(filepath.Join(report, "inspection.json"))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.change(report, &d); err != nil {
			t.Fatal(err)
		}
		if err := inspection.WriteFile(filepath.Join(report, "inspection.json"), inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)); err != nil {
			t.Fatal(err)
		}
		out := filepath.Join(t.TempDir(), "r")
		runIn(t, dir, "record", "make", report, "--out", out).said(t, c.status, c.words)
		err = filepath.WalkDir(filepath.Dir(out), func(path string, e os.DirEntry, err error) error {
			if err == nil && e.Type().IsRegular() && bytes.Contains(mustRead(t, path), []byte("a secret of the user")) {
				t.Errorf("%s: %s holds the secret", c.name, path)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// hostileText forges lines of verify, colours, moves and turns of a terminal.
const hostileText = "x\r\n  complete and unchanged\n  signed with the key\x1b[2K\x1b]0;t\a\u009b1A\u202egnp\u2066\u200b\u2028y"

// unsafeText is what must reach neither a terminal nor a page as it is.
func unsafeText(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool {
		return r != '\n' && (unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp))
	}) || !utf8.ValidString(s)
}

// Texts of a record of somebody else cannot say anything in verify's own words, nor in
// those of summary and make.
func TestRecordOfHostileTexts(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 2, 64)
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "first").said(t, exitDone)
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "second", "--follows", "first").said(t, exitDone)
	in := func(parts ...any) func(doc map[string]any) {
		return func(doc map[string]any) {
			at := any(doc)
			for _, p := range parts[:len(parts)-1] {
				if n, ok := p.(int); ok {
					at = at.([]any)[n]
				} else {
					at = at.(map[string]any)[p.(string)]
				}
			}
			at.(map[string]any)[parts[len(parts)-1].(string)] = hostileText
		}
	}
	contents, document := "data/record.json", "data/inspection/inspection.json"
	for _, c := range []struct {
		name, file string
		change     func(doc map[string]any)
		status     int
	}{
		{"title", contents, in("title"), exitLook},
		{"made", contents, in("made"), exitLook},
		{"version", contents, in("version"), exitLook},
		{"format", contents, in("format"), exitLook},
		{"name of the earlier record", contents, in("follows", "name"), exitLook},
		{"number of the earlier record", contents, in("follows", "digest"), exitLook},
		{"time of the earlier record", contents, in("follows", "made"), exitLook},
		{"photo", contents, in("photos", 0, "file"), exitLook},
		{"path of a photo", contents, in("photos", 0, "path"), exitLook},
		{"hash of a photo", contents, in("photos", 0, "sha256"), exitLook},
		{"schedule", contents, in("settings", "schedule"), exitLook},
		{"signer", contents, in("signed_by"), exitLook},
		{"unknown key", contents, in(hostileText), exitLook},
		{"tool version", document, in("tool", "version"), exitLook},
		{"made, inspection", document, in("made"), exitLook},
		{"format, inspection", document, in("format"), exitLook},
		{"photo, inspection", document, in("photos", 0, "file"), exitLook},
		{"hash, inspection", document, in("photos", 0, "sha256"), exitLook},
		{"status", document, in("photos", 0, "status"), exitLook},
		{"reason", document, in("photos", 0, "refusal", "reason"), exitLook},
	} {
		at := filepath.Join(t.TempDir(), "r")
		if err := os.CopyFS(at, os.DirFS(filepath.Join(dir, "second"))); err != nil {
			t.Fatal(err)
		}
		var doc map[string]any
		if err := json.Unmarshal(mustRead(t, filepath.Join(at, c.file)), &doc); err != nil {
			t.Fatal(err)
		}
		c.change(doc)
		data, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(at, c.file), data)
		forgeBag(t, at)
		page := filepath.Join(t.TempDir(), "s.html")
		for _, args := range [][]string{
			{"verify", at, "--earlier", filepath.Join(dir, "first")}, {"verify", at, "--alone"}, {"verify", at, "--alone", "--no-measuring", "--json"}, {"verify", at, "--bag-only"},
			{"summary", at, "--out", page},
			{"make", report, "--schedule", schedule, "--out", filepath.Join(t.TempDir(), "n"), "--follows", at},
		} {
			r := runIn(t, dir, append([]string{"record"}, args...)...)
			if args[1] == at && args[0] == "verify" && args[len(args)-1] != "--bag-only" && r.status != c.status {
				t.Errorf("%s: %q: exit status %d, want %d\n%s", c.name, args, r.status, c.status, r.out)
			}
			if unsafeText(r.out) || unsafeText(r.err) {
				t.Errorf("%s: %q printed %q %q", c.name, args, r.out, r.err)
			}
			sound := 0 // records of the chain that may be called so
			if args[0] == "verify" && r.status == exitDone {
				sound++
			}
			if args[len(args)-2] == "--earlier" {
				sound++
			}
			if n := strings.Count(r.out+r.err, "\n  complete and unchanged\n"); n > sound || strings.Contains(r.out+r.err, "\n  signed with the key") {
				t.Errorf("%s: %q was made to say that it is sound %d times or signed\n%s", c.name, args, n, r.out)
			}
		}
		if written, err := os.ReadFile(page); err == nil && unsafeText(string(written)) {
			t.Errorf("%s: the summary holds what turns letters or is not seen", c.name)
		}
	}
}

// forgeBag makes the lists and the counts of a record fit its files again.
func forgeBag(t *testing.T, dir string) {
	t.Helper()
	files, octets := 0, 0
	err := filepath.WalkDir(filepath.Join(dir, "data"), func(path string, e os.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			files++
			octets += len(mustRead(t, path))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	info := filepath.Join(dir, bag.InfoFile)
	writeFile(t, info, regexp.MustCompile(`Payload-Oxum: .*`).ReplaceAll(mustRead(t, info), fmt.Appendf(nil, "Payload-Oxum: %d.%d", octets, files)))
	forgeLists(t, dir)
}

// What others wrote into an inspection cannot turn or break the lines of the plain
// page and of what make says.
func TestRecordMadeOfHostileTexts(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 2, 64)
	path := filepath.Join(report, "inspection.json")
	d, err := inspection.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d.Schedule.Title, d.Tool.OpenCV = hostileText, hostileText
	for i := range d.Photos {
		d.Photos[i].Refusal.Detail, d.Photos[i].Device, d.Photos[i].Crew, d.Photos[i].Taken = hostileText, hostileText, hostileText, "2026-05-04T10:00"+hostileText
	}
	hostileName := "a\x1b[2J\u202egnp\n  complete and unchanged.jpg"
	if err := os.Rename(filepath.Join(report, d.Photos[0].File), filepath.Join(report, hostileName)); err != nil {
		t.Fatal(err)
	}
	d.Photos[0].File = hostileName
	if err := inspection.WriteFile(path, inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	r := runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "r")
	r.said(t, exitDone)
	for name, text := range map[string]string{"said": r.out + r.err, "READ-ME.txt": string(mustRead(t, filepath.Join(dir, "r/data/READ-ME.txt"))), "bag-info.txt": string(mustRead(t, filepath.Join(dir, "r/bag-info.txt")))} {
		if unsafeText(text) || strings.Contains(text, "\n  complete and unchanged") {
			t.Errorf("%s: %q", name, text)
		}
	}
	// the photos' own files tell neither these times nor these devices
	for more, status := range map[string]int{"--no-measuring": exitDone, "--alone": exitLook} {
		if v := runIn(t, dir, "record", "verify", "r", more); v.status != status || unsafeText(v.out) || unsafeText(v.err) {
			t.Errorf("verify %s: %d, %q %q", more, v.status, v.out, v.err)
		}
	}
	runIn(t, dir, "record", "summary", "r", "--out", "s.html").said(t, exitDone)
	if page := string(mustRead(t, filepath.Join(dir, "s.html"))); unsafeText(page) {
		t.Error("the summary holds what turns letters or is not seen")
	}
}

// Changes of the archive around a sound record are problems of a record and of a bag.
func TestRecordEnvelopes(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 1, 64)
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "r.zip").said(t, exitDone)
	whole := mustRead(t, filepath.Join(dir, "r.zip"))
	end := len(whole) - 22
	index := int(bin.LittleEndian.Uint32(whole[end+16:]))
	// moved is the archive with bytes before its index, which is told where it lies then.
	moved := func(more []byte) []byte {
		out := slices.Concat(whole[:index], more, whole[index:])
		bin.LittleEndian.PutUint32(out[end+len(more)+16:], uint32(index+len(more)))
		return out
	}
	for _, c := range []struct {
		name  string
		data  []byte
		words string
	}{
		{"prefix", slices.Concat([]byte("#!/bin/sh\n"), whole), "PROBLEM"},
		{"trailing bytes", append(slices.Clone(whole), "more"...), "does not end with its index"},
		{"comment", append(append(slices.Clone(whole[:len(whole)-2]), 5, 0), "hello"...), "does not end with its index"},
		{"gap", moved(make([]byte, 30)), "30 bytes between its last file and its index"},
		{"hidden file", moved(whole[:bytes.Index(whole[1:], []byte("PK\x03\x04"))+1]), "between its last file and its index"},
		{"another local name", bytes.Replace(whole, []byte("r/data/READ-ME.txt"), []byte("r/data/READ-ME.exe"), 1), "is called r/data/READ-ME.exe where it lies"},
		{"link of a DOS system", func() []byte {
			out := slices.Clone(whole)
			at := bytes.LastIndex(out, []byte("r/data/READ-ME.txt")) - 46
			out[at+5] = 0 // made by
			bin.LittleEndian.PutUint32(out[at+38:], 0o120777<<16)
			return out
		}(), "is a link"},
	} {
		path := filepath.Join(t.TempDir(), "r.zip")
		writeFile(t, path, c.data)
		for _, more := range []string{"--no-measuring", "--bag-only"} {
			r := runIn(t, dir, "record", "verify", path, more)
			if r.said(t, exitLook, "PROBLEM", c.words); t.Failed() {
				t.Fatalf("%s, %s", c.name, more)
			}
		}
	}
}

// A record that nobody signed, with verdicts or lengths written anew and all lists made
// to fit: verify judges and measures again, whatever version the record names.
func TestRecordOfForgedMeasurements(t *testing.T) {
	t.Parallel()
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "r").said(t, exitDone)
	runIn(t, dir, "record", "verify", "r", "--no-measuring").said(t, exitDone, "complete and unchanged; not checked: 1 report with pictures that nobody signed, 3 photos not measured again")
	for _, c := range []struct {
		name   string
		change func(p *inspection.Photo)
		again  bool
		words  string
	}{
		{"a verdict", func(p *inspection.Photo) {
			p.Heads[0].Verdict = map[string]string{"clear": "suspect"}[p.Heads[0].Verdict]
		}, false, "and its rules make it"},
		{"no hash", func(p *inspection.Photo) { p.SHA256 = "" }, false, "has no hash"},
		{"a profile", func(p *inspection.Photo) { p.Camera.Source = "profile" }, false, "the record holds none"},
		{"when it was taken", func(p *inspection.Photo) { p.Taken = "2026-05-09T10:00:00Z" }, true, "by its own file"},
		{"wide uncertainties", func(p *inspection.Photo) {
			for i := range p.Heads {
				if l := p.Heads[i].AboveButt; l != nil {
					p.Heads[i].AboveButt = &inspection.Length{MM: l.MM, U: 20}
				}
			}
		}, true, "height above the butt is"},
	} {
		at := filepath.Join(t.TempDir(), "r")
		if err := os.CopyFS(at, os.DirFS(filepath.Join(dir, "r"))); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(at, "data/inspection/inspection.json")
		d, err := inspection.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		d.Tool.Version = "0.9"
		c.change(&d.Photos[slices.IndexFunc(d.Photos, func(p inspection.Photo) bool { return len(p.Heads) > 0 })])
		if err := inspection.WriteFile(path, inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)); err != nil {
			t.Fatal(err)
		}
		forgeBag(t, at)
		args := []string{"record", "verify", at}
		if !c.again {
			args = append(args, "--no-measuring")
		}
		runIn(t, dir, args...).said(t, exitLook, c.words)
	}
}

// Photos that cannot be written anew are left out of a record to hand over, with a line
// each; a name of a crew that cannot be replaced ends in exit status 1.
func TestRecordToHandOverIsMadeAllTheSame(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 2, 64)
	path := filepath.Join(report, "inspection.json")
	d, err := inspection.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "r.zip", "--no-location").said(t, exitDone,
		"0 photos", "left out: the photo IMG_0.jpg: it cannot be written anew", "left out: the photo IMG_1.jpg")
	runIn(t, dir, "record", "verify", "r.zip").said(t, exitDone, "complete and unchanged; not checked: 2 photos that were left out on purpose")
	d.Photos[0].Crew = "Quiet Hands"
	d.Photos[1].Device = "phone of quiet hands"
	if err := inspection.WriteFile(path, d); err != nil {
		t.Fatal(err)
	}
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "crew", "--redact", "crew").said(t, exitDone, "left out: the names of the crews (1)")
	for _, file := range []string{"data/inspection/inspection.json", "data/inspection/fasteners.csv", "data/READ-ME.txt", "data/record.json", "bag-info.txt"} {
		if text := strings.ToLower(string(mustRead(t, filepath.Join(dir, "crew", file)))); strings.Contains(text, "quiet hands") {
			t.Errorf("%s holds the name", file)
		}
	}
	d.Photos[1].Device = "hands phone"
	if err := inspection.WriteFile(path, d); err != nil {
		t.Fatal(err)
	}
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "left", "--redact", "crew").said(t, exitLook, `still holds "hands" of a crew's name`)
}

// Pipes, devices and links to them in the place of a record or of a report's folder are
// told at once.
func TestRecordOfPipes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, err := range []error{
		syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o600), os.Symlink("pipe", filepath.Join(dir, "link.zip")), os.Symlink("/dev/zero", filepath.Join(dir, "zero.zip")),
		os.Mkdir(filepath.Join(dir, "report"), 0o700), syscall.Mkfifo(filepath.Join(dir, "report/inspection.json"), 0o600),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		args   []string
		status int
		words  string
	}{
		{[]string{"verify", "pipe"}, exitFailed, "no regular file"},
		{[]string{"verify", "link.zip"}, exitFailed, "no regular file"},
		{[]string{"verify", "zero.zip", "--bag-only"}, exitFailed, "no regular file"},
		{[]string{"summary", "pipe", "--out", "s.html"}, exitFailed, "no regular file"},
		{[]string{"make", "pipe", "--out", "r"}, exitUsage, "this is no folder"},
		{[]string{"make", "report", "--out", "r"}, exitFailed, "no regular file"},
		{[]string{"verify", "report", "--no-measuring"}, exitLook, "is neither a file nor a folder"},
	} {
		runIn(t, dir, append([]string{"record"}, c.args...)...).said(t, c.status, c.words)
	}
}

// A run that was stopped gives a record that says so wherever it is read.
func TestRecordOfAStoppedRun(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 2, 64)
	path := filepath.Join(report, "inspection.json")
	d, err := inspection.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d.NotDone = []string{"IMG_7.jpg", "IMG_8.jpg"}
	if err := inspection.WriteFile(path, d); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "r").said(t, exitLook, "the run was stopped before 2 photos: this record is not complete; finish it by the same inspect command", "number: ")
	for file, words := range map[string]string{"data/READ-ME.txt": "NOT COMPLETE: the run was stopped before 2 of the photos", "bag-info.txt": "this record is not complete"} {
		if text := strings.Join(strings.Fields(string(mustRead(t, filepath.Join(dir, "r", file)))), " "); !strings.Contains(text, words) {
			t.Errorf("%s never says %q", file, words)
		}
	}
	runIn(t, dir, "record", "verify", "r").said(t, exitDone, "not checked: 2 photos before which the run was stopped")
	runIn(t, dir, "record", "summary", "r", "--out", "s.html").said(t, exitDone)
	if !strings.Contains(string(mustRead(t, filepath.Join(dir, "s.html"))), "Not complete: the run was stopped before 2 photos") {
		t.Error("the summary does not say that the record is not complete")
	}
}

// Weak passphrases, and keys and passphrases that others can read, are warned about.
func TestRecordKeyWarnings(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 1, 64)
	dir := t.TempDir()
	secret := func(name, text string, mode os.FileMode) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text+"\n"), mode); err != nil {
			t.Fatal(err)
		}
	}
	secret("weak", "password1", 0o600)
	secret("good", "correct horse battery", 0o600)
	secret("open", "correct horse battery", 0o644)
	runIn(t, dir, "record", "key", "--out", "w.key", "--passphrase-file", "weak").said(t, exitDone, "this passphrase is weak")
	if r := runIn(t, dir, "record", "key", "--out", "g.key", "--passphrase-file", "good"); strings.Contains(r.err, "warning") || r.status != exitDone {
		t.Errorf("%s", r.err)
	}
	if err := os.Chmod(filepath.Join(dir, "g.key"), 0o640); err != nil {
		t.Fatal(err)
	}
	runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", "r", "--sign", "g.key", "--passphrase-file", "open").said(t, exitDone,
		"the secret key in g.key can be read by other users", "mode 0640", "the passphrase in open can be read by other users", "chmod 600 g.key")
}

// Decisions that anybody may write to are warned about before they go into a record.
func TestRecordOfOpenDecisions(t *testing.T) {
	t.Parallel()
	report, schedule := manyPhotos(t, 1, 64)
	path, dir := filepath.Join(report, review.FileName), t.TempDir()
	writeFile(t, path, nil)
	for mode, told := range map[os.FileMode]bool{0o664: false, 0o666: true} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		r := runIn(t, dir, "record", "make", report, "--schedule", schedule, "--out", fmt.Sprintf("r%o", mode))
		if strings.Contains(r.err, "everybody on this machine may write") != told || r.status != exitDone {
			t.Errorf("mode %o: exit status %d, %s", mode, r.status, r.err)
		}
	}
}
