package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"math/rand/v2"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal/sealtest"
	"coursegauge/report/review"
	scheduleLib "coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// inspectedFolder is a copy of a job that was inspected, with a decision about
// each of its heads that is not clear.
func inspectedFolder(t *testing.T) (report, photos, schedule string) {
	t.Helper()
	j := mustInspect(t)[0]
	report = filepath.Join(t.TempDir(), "report")
	for _, name := range []string{"inspection.json", "report.html"} {
		writeFile(t, filepath.Join(report, name), mustRead(t, filepath.Join(j.out, name)))
	}
	var decisions bytes.Buffer
	for _, p := range j.document.Photos {
		for _, h := range p.Heads {
			if h.Verdict == "clear" {
				continue
			}
			line, err := json.Marshal(review.Decision{
				Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(h.ID),
				What: review.Wrong, Who: "first reader", When: "2026-05-04T17:30:00-07:00", Tool: "test",
			})
			if err != nil {
				t.Fatal(err)
			}
			decisions.Write(append(line, '\n'))
		}
	}
	writeFile(t, filepath.Join(report, review.FileName), decisions.Bytes())
	photos, err := filepath.Abs(j.folder)
	if err != nil {
		t.Fatal(err)
	}
	return report, photos, filepath.Join(photos, "schedule.yaml")
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// A record as a first-time user makes it: key, make, verify with measuring again,
// minisign and sha256sum; then one pixel is changed, then the lists are forged too.
func TestRecordStory(t *testing.T) {
	t.Parallel()
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "passphrase"), []byte("correct horse battery\n"))
	runIn(t, dir, "record", "key", "--out", "office.key", "--passphrase-file", "passphrase").said(t, exitDone, "secret: office.key", "public: office.pub")
	if info, err := os.Stat(filepath.Join(dir, "office.key")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the secret key is open to others: %v, %v", info.Mode(), err)
	}
	make := []string{"record", "make", report, "--photos", photos, "--schedule", schedule}
	runIn(t, dir, append(make, "--out", "r", "--sign", "office.key", "--passphrase-file", "passphrase")...).said(t, exitDone, "3 photos", "number: ")
	runIn(t, dir, "record", "verify", "r", "--trust", "office.pub").said(t, exitDone, "signed with the key", "office.pub", "measured again: 3 photos", "complete and unchanged")
	runIn(t, dir, append(make, "--out", "r")...).said(t, exitUsage, "is there already")
	if minisign, err := exec.LookPath("minisign"); err != nil {
		t.Log("no minisign here, its word is not asked; apt-get install minisign")
	} else if out, err := exec.Command(minisign, "-V", "-p", filepath.Join(dir, "office.pub"), "-m", filepath.Join(dir, "r", bag.TagManifestFile)).CombinedOutput(); err != nil {
		t.Errorf("minisign: %v\n%s", err, out)
	}

	photo := filepath.Join(dir, "r/data/photos/roof-002.jpg")
	before := mustRead(t, photo)
	writeFile(t, photo, onePixel(t, before))
	runIn(t, dir, "record", "verify", "r", "--no-measuring").said(t, exitLook, "PROBLEM data/photos/roof-002.jpg: was changed: its sha256 is not the one in manifest-sha256.txt")
	forgeLists(t, filepath.Join(dir, "r"))
	if r := check(t, dir, "sha256sum", "-c", bag.ManifestFile); r != "" {
		t.Errorf("the forged lists do not fit: %s", r)
	}
	runIn(t, dir, "record", "verify", "r", "--no-measuring", "--trust", "office.pub").said(t, exitLook,
		"is not the photo that record.json names", "tagmanifest-sha256.txt.minisig: does not fit")
}

// check runs a program in the record r of a folder, and gives what it says when it fails.
func check(t *testing.T, dir, program string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		t.Logf("no %s here", program)
		return ""
	}
	c := exec.Command(path, args...)
	c.Dir = filepath.Join(dir, "r")
	if out, err := c.CombinedOutput(); err != nil {
		return string(out)
	}
	return ""
}

// onePixel is the same photo with one pixel another.
func onePixel(t *testing.T, data []byte) []byte {
	t.Helper()
	m, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	out := image.NewRGBA(m.Bounds())
	draw.Draw(out, out.Bounds(), m, image.Point{}, draw.Src)
	out.Pix[out.PixOffset(100, 100)] ^= 0x40
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// forgeLists writes the manifests of a record anew, as somebody would who means harm.
func forgeLists(t *testing.T, dir string) {
	t.Helper()
	for _, m := range []string{bag.ManifestFile, bag.TagManifestFile} {
		var out strings.Builder
		for line := range strings.Lines(string(mustRead(t, filepath.Join(dir, m)))) {
			path := strings.TrimSpace(line[64:])
			fmt.Fprintf(&out, "%s  %s\n", hashOf(mustRead(t, filepath.Join(dir, path))), path)
		}
		writeFile(t, filepath.Join(dir, m), []byte(out.String()))
	}
}

// A time stamp is asked for, kept, and checked offline here and by openssl.
func TestRecordTimeStamp(t *testing.T) {
	t.Parallel()
	a := sealtest.New(t)
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	root, address := filepath.Join(a.Dir, "root.pem"), a.Serve(t)
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "r", "--timestamp", address, "--authority", root).said(t, exitDone)
	runIn(t, dir, "record", "verify", "r", "--no-measuring", "--authority", root).said(t, exitDone, "time stamp of ", "CN=Example time stamps")
	runIn(t, dir, "record", "verify", "r", "--no-measuring").said(t, exitDone, "whether CN=Example time stamps is an authority to trust")
	out := a.Run(t, "ts", "-verify", "-in", filepath.Join(dir, "r/tagmanifest-sha256.txt.tsr"), "-data", filepath.Join(dir, "r/tagmanifest-sha256.txt"), "-CAfile", filepath.Join(dir, "r/timestamp-authority.pem"))
	if !strings.Contains(out, "Verification: OK") {
		t.Errorf("openssl: %s", out)
	}
	other := filepath.Join(sealtest.New(t).Dir, "root.pem")
	runIn(t, dir, "record", "verify", "r", "--no-measuring", "--authority", other).said(t, exitLook, "leads to no certificate that is trusted here")
	if err := os.Remove(filepath.Join(dir, "r/tagmanifest-sha256.txt.tsr")); err != nil {
		t.Fatal(err)
	}
	runIn(t, dir, "record", "verify", "r", "--no-measuring").said(t, exitLook, "the record says that it has a time stamp")
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "q", "--timestamp", "http://127.0.0.1:1/").said(t, exitFailed, "no time stamp", "nothing was made")
	if _, err := os.Stat(filepath.Join(dir, "q")); err == nil {
		t.Error("a record without its time stamp was made")
	}
}

// A second visit adds to the first; verify follows, and says when the first is
// missing, another or changed.
func TestRecordChain(t *testing.T) {
	t.Parallel()
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	make := func(out string, more ...string) {
		t.Helper()
		runIn(t, dir, append([]string{"record", "make", report, "--photos", photos, "--schedule", schedule, "--out", out}, more...)...).said(t, exitDone)
	}
	make("first.zip")
	make("second.zip", "--follows", "first.zip")
	make("third", "--follows", "second.zip")
	verify := func(status int, words []string, more ...string) {
		t.Helper()
		runIn(t, dir, append([]string{"record", "verify", "third", "--no-measuring"}, more...)...).said(t, status, words...)
	}
	verify(exitDone, []string{"third: record", "second.zip: record", "first.zip: record"})
	if err := os.Rename(filepath.Join(dir, "first.zip"), filepath.Join(dir, "moved.zip")); err != nil {
		t.Fatal(err)
	}
	verify(exitLook, []string{"it adds to the record first.zip", "is not beside it"})
	verify(exitDone, nil, "--earlier", "moved.zip")
	verify(exitDone, []string{"it adds to second.zip"}, "--alone")
	make("first.zip", "--no-location")
	verify(exitLook, []string{"first.zip is not the record that it adds to: its number is"})
	data := mustRead(t, filepath.Join(dir, "moved.zip"))
	data[len(data)/2] ^= 1
	writeFile(t, filepath.Join(dir, "moved.zip"), data)
	verify(exitLook, []string{"PROBLEM data/"}, "--earlier", "moved.zip")
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "x", "--follows", "moved.zip").said(t, exitUsage, "something is wrong with it")
}

// A version to hand over is sound, measures the same again, and holds neither
// place nor device.
func TestRecordHandOver(t *testing.T) {
	t.Parallel()
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "r", "--no-location", "--redact", "crew").said(t, exitDone, "left out: where the photos were taken", "photos were written anew")
	runIn(t, dir, "record", "verify", "r").said(t, exitDone, "measured again: 3 photos", "complete and unchanged")
}

// manyPhotos is an inspection of so many files of so many bytes, refused as unreadable.
func manyPhotos(t *testing.T, count, size int) (report, schedule string) {
	t.Helper()
	dir := t.TempDir()
	report, schedule = filepath.Join(dir, "report"), filepath.Join(dir, "schedule.yaml")
	writeFile(t, schedule, []byte(goodSchedule))
	random := rand.NewChaCha8([32]byte{1})
	var photos []inspection.Photo
	for i := range count {
		data := make([]byte, size)
		_, _ = random.Read(data)
		name := fmt.Sprintf("IMG_%d.jpg", i)
		writeFile(t, filepath.Join(report, name), data)
		photos = append(photos, inspection.Photo{File: name, SHA256: hashOf(data), Status: inspection.Refused, Refusal: &inspection.Refusal{Reason: "unreadable", Detail: "noise", Advice: "none"}})
	}
	d := inspection.New(inspection.Tool{Version: "test"}, inspection.Schedule{File: "schedule.yaml", SHA256: hashOf([]byte(goodSchedule)), Title: "Noise"}, "2026-05-04T22:00:00Z", photos)
	if err := inspection.WriteFile(filepath.Join(report, "inspection.json"), d); err != nil {
		t.Fatal(err)
	}
	return report, schedule
}

// Killed at any moment, make leaves no half record under the final name.
func TestRecordKilled(t *testing.T) {
	t.Parallel()
	report, _ := manyPhotos(t, 12, 1<<20)
	dir := t.TempDir()
	cut, whole := 0, 0
	for i := range 12 {
		out := filepath.Join(dir, []string{"r", "r.zip"}[i%2])
		c := exec.Command(binary, "record", "make", report, "--out", out)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		for time.Since(began) < time.Duration(i*6)*time.Millisecond || i > 0 && len(bag.Leftovers(out)) == 0 && time.Since(began) < 10*time.Second {
			if _, err := os.Stat(out); err == nil {
				break
			}
			time.Sleep(time.Millisecond)
		}
		_ = c.Process.Kill()
		_ = c.Wait()
		if left := bag.Leftovers(out); len(left) > 0 {
			cut++
		}
		if _, err := os.Stat(out); err == nil {
			whole++
			runIn(t, dir, "record", "verify", out, "--no-measuring").said(t, exitDone)
		}
		for _, path := range append(bag.Leftovers(out), out) {
			if err := os.RemoveAll(path); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("of 12 runs %d were cut off in the middle, %d had finished", cut, whole)
	if cut == 0 {
		t.Error("no run was cut off in the middle; nothing was shown")
	}
}

// What is wrong use is one line, and nothing is made.
func TestRecordWrongUse(t *testing.T) {
	t.Parallel()
	report, _ := manyPhotos(t, 1, 100)
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "short"), []byte("seven77\n"))
	if err := os.Chmod(filepath.Join(dir, "short"), 0o600); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "none.key"), []byte("no key\n"))
	writeFile(t, filepath.Join(dir, "there.zip"), []byte("x"))
	for _, c := range []struct {
		args   []string
		status int
		words  string
	}{
		{[]string{"make"}, exitUsage, "one folder is needed"},
		{[]string{"make", report}, exitUsage, "--out is missing"},
		{[]string{"make", "nowhere", "--out", "r"}, exitUsage, "no inspection at"},
		{[]string{"make", report, "--out", "there.zip"}, exitUsage, "is there already"},
		{[]string{"make", report, "--out", "no/such/r"}, exitUsage, "its folder is not there"},
		{[]string{"make", report, "--out", "r", "--redact", "names"}, exitUsage, "what can be left out is: crew"},
		{[]string{"make", report, "--out", "r", "--timestamp", "somewhere"}, exitUsage, "begins with http:// or https://"},
		{[]string{"make", report, "--out", "r", "--sign", "none.key"}, exitUsage, "this is no secret key"},
		{[]string{"make", report, "--out", "r", "--schedule", "none.key"}, exitUsage, "is not the schedule that was judged by"},
		{[]string{"make", report, "--out", "r", "--photos", dir}, exitFailed, "photo IMG_0.jpg is not in"},
		{[]string{"make", report, "--out", "r", "--follows", "there.zip"}, exitFailed, "neither a folder nor a sound zip archive"},
		{[]string{"key", "--out", "a.key", "--passphrase-file", "short"}, exitUsage, "at least 8 are needed"},
		{[]string{"key", "--out", "a.key"}, exitUsage, "no terminal to ask on"},
		{[]string{"key", "--out", "a"}, exitUsage, "--out NAME.key is needed"},
		{[]string{"verify"}, exitUsage, "one record is needed"},
		{[]string{"verify", "nowhere"}, exitUsage, "no such file or folder"},
		{[]string{"verify", dir, "--trust", "none.key"}, exitUsage, "this is no public key"},
		{[]string{"summary", dir, "--out", "s.html"}, exitUsage, "lies in the record, which must not change"},
		{[]string{"summary", report, "--out", "s.html"}, exitFailed, "something is wrong with the record"},
		{[]string{"sumary", dir}, exitUsage, "no such command: sumary"},
	} {
		r := runIn(t, dir, append([]string{"record"}, c.args...)...)
		r.said(t, c.status, c.words)
		r.oneError(t)
	}
	entries, _ := os.ReadDir(dir)
	if len(entries) != 3 {
		t.Errorf("made: %v", entries)
	}
}

// Any bag can be checked: one of the conformance suite that is sound, one that is not.
func TestRecordBagOnly(t *testing.T) {
	t.Parallel()
	suite, err := filepath.Abs(filepath.Join(testdata, "reference/bagit-conformance"))
	if err != nil {
		t.Fatal(err)
	}
	runIn(t, t.TempDir(), "record", "verify", filepath.Join(suite, "v1.0/valid/basicBag"), "--bag-only").said(t, exitDone, "BagIt 1.0, 1 payload file, 0 problems")
	runIn(t, t.TempDir(), "record", "verify", filepath.Join(suite, "v0.97/invalid/corrupt-data-file"), "--bag-only").said(t, exitLook, "PROBLEM data/", "was changed")
	cut := filepath.Join(t.TempDir(), "cut.zip")
	writeFile(t, cut, []byte("PK\x03\x04 and no more"))
	for _, more := range []string{"--bag-only", "--alone"} {
		runIn(t, t.TempDir(), "record", "verify", cut, more).said(t, exitLook, "PROBLEM cut.zip: this is neither a folder nor a sound zip archive")
	}
	runIn(t, t.TempDir(), "record", "verify", filepath.Join(suite, "v1.0/valid/basicBag")).said(t, exitLook, "no record of coursegauge", "--bag-only")
}

// wholeWords looks for names of columns and rows of which a word is broken.
func wholeWords(b *browser, what string) {
	b.t.Helper()
	var broken []string
	b.eval(`[...document.querySelectorAll("th")].flatMap(th => [...th.firstChild.data.matchAll(/\S+/g)].filter(m => {
		const r = document.createRange();
		r.setStart(th.firstChild, m.index);
		r.setEnd(th.firstChild, m.index + m[0].length);
		return r.getClientRects().length > 1;
	}).map(m => m[0]))`, &broken)
	if len(broken) > 0 {
		b.t.Errorf("%s: broken words: %q", what, broken)
	}
}

// The summary is two pages on Letter and on A4 however much there is to tell, asks
// for nothing from outside and breaks no rule of accessibility.
func TestRecordSummaryPages(t *testing.T) {
	t.Parallel()
	code := axe(t)
	b := startBrowser(t)
	report, photos, schedule := inspectedFolder(t)
	dir := t.TempDir()
	runIn(t, dir, "record", "make", report, "--photos", photos, "--schedule", schedule, "--out", "usual.zip").said(t, exitDone)
	runIn(t, dir, "record", "summary", "usual.zip", "--out", "usual.html", "--squares", "24", "--property", "Example barn").said(t, exitDone, "two pages")
	crowded, _ := crowdedInspection(t)
	runIn(t, dir, "record", "make", crowded, "--out", "crowded.zip").said(t, exitDone)
	runIn(t, dir, "record", "summary", "crowded.zip", "--out", "crowded.html", "--property", strings.Repeat("a long address, ", 20)).said(t, exitDone)
	for _, name := range []string{"usual", "crowded"} {
		b.open((&url.URL{Scheme: "file", Path: filepath.Join(dir, name+".html")}).String())
		for _, width := range []int{1280, 360} {
			b.look(width, 900, "screen", "light")
			b.accessible(fmt.Sprintf("%s, %d px", name, width), code)
			var wide float64
			b.eval(`document.documentElement.scrollWidth - innerWidth`, &wide)
			if wide > 0 {
				t.Errorf("%s, %d px: the page is %.0f px wider than the window", name, width, wide)
			}
			wholeWords(b, fmt.Sprintf("%s, %d px", name, width))
		}
		var loaded bool
		b.eval(`document.fonts.ready.then(() => document.fonts.check("12px 'Liberation Sans'") && [...document.fonts].some(f => f.status === "loaded"))`, &loaded)
		if !loaded {
			t.Errorf("%s: its own font was not used", name)
		}
		b.look(816, 1056, "print", "light")
		wholeWords(b, name+", printed")
		for _, paper := range [][2]float64{{8.5, 11}, {8.27, 11.69}} {
			if pages := pdfPages(t, b.pdf(paper[0], paper[1])); pages != nil && len(pages) != 3 { // what follows the last form feed is empty
				t.Errorf("%s on %v in: %d pages, want 2", name, paper, len(pages)-1)
			}
		}
	}
	for _, f := range b.faults {
		t.Error(f)
	}
}

// crowdedInspection holds more than two pages have room for: every rule, long
// names, many refusals.
func crowdedInspection(t *testing.T) (report, schedule string) {
	t.Helper()
	report, schedule = manyPhotos(t, 60, 64)
	path := filepath.Join(report, "inspection.json")
	d, err := inspection.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sch, err := scheduleLib.Read("schedule.yaml", []byte(goodSchedule))
	if err != nil {
		t.Fatal(err)
	}
	// eleven heads that break every rule of heads
	height, joint, size := length.New(190, 0.4), length.New(5, 0.4), length.New(6, 0.1)
	suspects := &vision.Result{Course: &vision.Course{}}
	for k := range 11 {
		suspects.Fasteners = append(suspects.Fasteners, vision.Fastener{ID: k, Piece: -1, Px: vision.Point{X: float64(40 * k)}, AboveButt: &height, LowerJoint: &joint, NextJoint: &joint, HeadDiameter: &size,
			Drive: vision.Drive{Class: vision.Overdriven, P: map[vision.DriveClass]float64{vision.Overdriven: 0.98}}})
	}
	long := strings.Repeat("long words about what is wrong here ", 12)
	for i := range d.Photos {
		p := &d.Photos[i]
		was := p.File
		p.File = strings.Repeat("a-very-long-name-", 6) + was
		if err := os.Rename(filepath.Join(report, was), filepath.Join(report, p.File)); err != nil {
			t.Fatal(err)
		}
		if i%2 == 0 {
			continue
		}
		source := inspection.Source{File: p.File, SHA256: p.SHA256}
		*p = inspection.Build(source, sch, suspects, judge.Judge(sch, suspects))
		for k := range p.Heads {
			for r := range p.Heads[k].Rules {
				p.Heads[k].Rules[r].Text = long
			}
		}
		for _, rule := range []string{"end", "gap", "count", "offset", "narrow"} {
			p.Findings = append(p.Findings, inspection.Finding{Rule: rule, Result: "suspect", Text: long})
		}
	}
	d.Schedule.Title = strings.Repeat("A long title ", 30)
	d = inspection.New(d.Tool, d.Schedule, d.Made, slices.Clone(d.Photos))
	if err := inspection.WriteFile(path, d); err != nil {
		t.Fatal(err)
	}
	return report, schedule
}
