package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// logged is what a run tells of a photo with --log-format json.
type logged struct {
	Msg, File, Status, Reason string
	Kept                      bool
	Steps                     map[string]float64 `json:"steps_ms"`
}

// photosLogged reads the lines of the photos; every line must be one object.
func photosLogged(t *testing.T, stderr string) (out []logged) {
	t.Helper()
	for line := range strings.Lines(stderr) {
		var l logged
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatalf("no JSON: %v\n%s", err, line)
		}
		if l.Msg == "photo" {
			out = append(out, l)
		}
	}
	return out
}

func keptOf(lines []logged) (kept, measured int) {
	for _, l := range lines {
		if l.Kept {
			kept++
		} else {
			measured++
		}
	}
	return kept, measured
}

// A second run measures nothing and costs next to nothing; a changed limit is
// judged anew without touching a photo; a new photo is the only one that is
// measured; a changed product, and a damaged cache, mean measuring again.
func TestResume(t *testing.T) {
	dir := t.TempDir()
	jobs := filepath.Join(testdata, "photos/laminated-metric")
	schedule, err := os.ReadFile(filepath.Join(jobs, "schedule.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	copyPhoto := func(from, to string) {
		data, err := os.ReadFile(filepath.Join(jobs, from))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(dir, "photos", to), data)
	}
	copyPhoto("roof-002.jpg", "a.jpg")
	copyPhoto("roof-029.jpg", "b.jpg")
	inspect := func(out, schedule string) ([]logged, time.Duration) {
		writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(schedule))
		c := exec.Command(binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", out, "--cache", "kept", "--log-format", "json", "--jobs", "1")
		c.Dir = dir
		var stderr strings.Builder
		c.Stderr = &stderr
		err := c.Run()
		if c.ProcessState == nil || c.ProcessState.ExitCode() != exitLook { // one photo is refused
			t.Fatalf("%v\n%s", err, stderr.String())
		}
		return photosLogged(t, stderr.String()), c.ProcessState.UserTime() + c.ProcessState.SystemTime()
	}
	expect := func(what string, lines []logged, kept, measured int) {
		t.Helper()
		if k, m := keptOf(lines); k != kept || m != measured {
			t.Errorf("%s: %d kept and %d measured, want %d and %d", what, k, m, kept, measured)
		}
	}

	lines, first := inspect("one", string(schedule))
	expect("the first run", lines, 0, 2)
	for _, l := range lines {
		for _, step := range []string{"hash", "read", "decode", "light", "card", "cut", "report"} {
			if _, ok := l.Steps[step]; !ok {
				t.Errorf("%s: the step %s is not told: %v", l.File, step, l.Steps)
			}
		}
	}
	lines, second := inspect("two", string(schedule))
	expect("the second run", lines, 2, 0)
	t.Logf("CPU time of the parent and its workers: first run %v, second %v (with the start of the program)", first, second)
	if got, want := encoded(t, inspectionIn(t, dir+"/two")), encoded(t, inspectionIn(t, dir+"/one")); got != want {
		t.Error("the second run wrote another inspection")
	}
	if got, want := reportOf(t, dir+"/two"), reportOf(t, dir+"/one"); got != want {
		t.Error("the second run wrote another report")
	}

	stricter := strings.Replace(string(schedule), "per_piece: 4", "per_piece: 6", 1)
	if stricter == string(schedule) {
		t.Fatalf("no per_piece in\n%s", schedule)
	}
	lines, _ = inspect("three", stricter)
	expect("another limit", lines, 2, 0)
	if encoded(t, inspectionIn(t, dir+"/three")) == encoded(t, inspectionIn(t, dir+"/one")) {
		t.Error("another limit changed nothing")
	}
	if !strings.Contains(reportOf(t, dir+"/three"), "data:image/jpeg") {
		t.Error("the report of another limit has no pictures")
	}

	writeFile(t, filepath.Join(dir, "photos/c.jpg"), cardless(t, 640, 480))
	lines, _ = inspect("four", string(schedule))
	expect("one new photo", lines, 2, 1)

	entries, err := filepath.Glob(filepath.Join(dir, "kept/??/*"))
	if err != nil || len(entries) == 0 {
		t.Fatalf("nothing is kept (%v)", err)
	}
	for i, e := range entries { // each is damaged, in one way or another
		data, err := os.ReadFile(e)
		if err != nil {
			t.Fatal(err)
		}
		data[len(data)/2] ^= 1
		if i%2 == 0 {
			data = data[:len(data)-1]
		}
		if err := os.WriteFile(e, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	lines, _ = inspect("five", string(schedule))
	expect("a damaged cache", lines, 0, 3)
	if got, want := encoded(t, inspectionIn(t, dir+"/five")), encoded(t, inspectionIn(t, dir+"/four")); got != want {
		t.Error("a damaged cache changed the inspection")
	}
}

// reportOf is a report without the time at which it was made.
func reportOf(t *testing.T, folder string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(folder, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(data), inspectionIn(t, folder).Made, "")
}

// A batch that is killed in the middle goes on where it was.
func TestKilledBatchGoesOn(t *testing.T) {
	dir := t.TempDir()
	const photos = 12
	for i := range photos {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/p%02d.jpg", i)), cardless(t, 900, 600+i))
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	args := []string{"inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--cache", "kept", "--log-format", "json", "--jobs", "1"}
	c := exec.Command(binary, args...)
	c.Dir = dir
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if entries, _ := filepath.Glob(filepath.Join(dir, "kept/??/*")); len(entries) >= 6 { // two of each photo: three are done
			break
		}
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()
	if _, err := os.Stat(filepath.Join(dir, "out/inspection.json")); err == nil {
		t.Fatal("the batch was over before it was killed")
	}
	kept, measured := keptOf(photosLogged(t, runIn(t, dir, args...).err))
	if kept < 2 || kept+measured != photos || measured == 0 {
		t.Errorf("%d kept and %d measured of %d; three were done before", kept, measured, photos)
	}
	t.Logf("%d of %d photos were kept from the run that was killed", kept, photos)
}

// Whenever the program is killed, all files in the folder are the old ones or,
// once the next command has looked there, all are the new ones. $KILLS is how many moments are tried.
func TestKilledAtAnyMoment(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	schedules := []string{strings.Replace(goodSchedule, "Test shed", "First shed", 1), strings.Replace(goodSchedule, "Test shed", "Other shed", 1)}
	args := func(k int) []string {
		return []string{"inspect", "photos", "--schedule", fmt.Sprintf("lot-%d.yaml", k), "--out", "out", "--cache", "kept"}
	}
	var took time.Duration
	for k, s := range schedules { // both are kept, so that only judging and writing is left
		writeFile(t, filepath.Join(dir, fmt.Sprintf("lot-%d.yaml", k)), []byte(s))
		runIn(t, dir, args(k)...).said(t, exitLook)
		start := time.Now()
		runIn(t, dir, args(k)...).said(t, exitLook)
		took = time.Since(start)
	}
	files := []string{"fasteners.csv", "inspection.json", "report.html"}
	moments := countFrom(t, "KILLS", 16)
	states := map[string]int{}
	for i := range moments {
		whole, k := i%4 == 3, i%2
		if whole { // of both schedules in turn
			k = i / 4 % 2
		}
		c := exec.Command(binary, args(k)...)
		c.Dir = dir
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		if whole { // one run in four ends by itself, and tells how long runs take now
			_ = c.Wait()
			took = time.Since(start)
		} else { // moments are spread over all of a run
			time.Sleep(time.Duration(float64(took) * 1.2 * float64(i) / float64(moments)))
			_ = c.Process.Kill()
			_ = c.Wait()
		}
		d := inspectionIn(t, filepath.Join(dir, "out")) // fails unless it is whole and of its form
		report, err := os.ReadFile(filepath.Join(dir, "out/report.html"))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(strings.TrimSpace(string(report)), "</html>") || strings.Contains(string(report), "First shed") == strings.Contains(string(report), "Other shed") || !strings.Contains(string(report), d.Schedule.Title) {
			t.Fatalf("moment %d: the report is not that of the inspection", i)
		}
		if csv, err := os.ReadFile(filepath.Join(dir, "out/fasteners.csv")); err != nil || !strings.HasSuffix(string(csv), "\r\n") {
			t.Fatalf("moment %d: fasteners.csv: %v, %d bytes", i, err, len(csv))
		}
		states[d.Schedule.Title]++
		for _, name := range filesIn(t, filepath.Join(dir, "out")) {
			if !slices.Contains(files, name) && !strings.HasPrefix(name, ".") {
				t.Fatalf("moment %d: %s is left behind", i, name)
			}
		}
	}
	t.Logf("%d moments over %v: %v", moments, took, states)
	if len(states) < 2 {
		t.Errorf("no run got as far as replacing a file: %v", states)
	}
	old := time.Now().Add(-time.Hour)
	left, _ := filepath.Glob(filepath.Join(dir, "out/.report-*"))
	for _, l := range left {
		if err := os.Chtimes(l, old, old); err != nil {
			t.Fatal(err)
		}
	}
	runIn(t, dir, args(0)...).said(t, exitLook)
	if got := filesIn(t, filepath.Join(dir, "out")); !slices.Equal(got, files) {
		t.Errorf("after a whole run the folder holds %q, want %q", got, files)
	}
}

// countFrom is a number from the environment, for soaks, or the usual one.
func countFrom(t *testing.T, name string, usual int) int {
	t.Helper()
	text, ok := os.LookupEnv(name)
	if !ok {
		return usual
	}
	var n int
	if _, err := fmt.Sscan(text, &n); err != nil || n < 1 {
		t.Fatalf("%s is %q; a number from 1 up is needed", name, text)
	}
	return n
}

// A full disk and a folder that cannot be written to are one line each, and
// what was there before is still there.
func TestFullAndReadOnlyDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("a small disk of its own needs root")
	}
	dir := t.TempDir()
	disk := filepath.Join(dir, "disk")
	if err := os.Mkdir(disk, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("none", disk, "tmpfs", 0, "size=256k"); err != nil {
		t.Skipf("no disk of its own can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(disk, syscall.MNT_DETACH) })
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	args := []string{"inspect", "photos", "--schedule", "lot.yaml", "--out", "disk/out"}
	runIn(t, dir, args...).said(t, exitLook)
	before := encoded(t, inspectionIn(t, filepath.Join(disk, "out")))

	var full syscall.Statfs_t
	if err := syscall.Statfs(disk, &full); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(disk, "other"), make([]byte, int(full.Bavail)*int(full.Bsize)-8192))
	r := runIn(t, dir, args...)
	if r.status != exitFailed || strings.Count(r.err, "coursegauge: ") != 1 || !strings.Contains(r.err, "no space left on device") {
		t.Errorf("a full disk: status %d\n%s", r.status, r.err)
	}
	if got := encoded(t, inspectionIn(t, filepath.Join(disk, "out"))); got != before {
		t.Error("a full disk changed the inspection that was there")
	}
	if got, want := filesIn(t, filepath.Join(disk, "out")), []string{"fasteners.csv", "inspection.json", "report.html"}; !slices.Equal(got, want) {
		t.Errorf("a full disk left %q, want %q", got, want)
	}

	if err := syscall.Mount("none", disk, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	r = runIn(t, dir, args...)
	r.said(t, exitFailed, "--out: cannot write to the folder disk/out: read-only file system")
	r.oneError(t)
	r = runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--cache", "disk/kept")
	r.said(t, exitFailed, "--cache disk/kept: cannot keep results there: read-only file system")
}

// When one of the files cannot be replaced, none is.
func TestAllFilesOrNone(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "out/report.html/mine.txt"), nil)
	r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out")
	r.said(t, exitFailed, "cannot write out/report.html: is a directory", "nothing was changed there")
	if got := filesIn(t, filepath.Join(dir, "out")); !slices.Equal(got, []string{"report.html"}) {
		t.Errorf("the folder holds %q", got)
	}
}

// A run that was ended between the commit point and the last file is finished by
// whatever command looks there next.
func TestNextCommandFinishesARun(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	for k, title := range []string{"First shed", "Other shed"} {
		writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(strings.Replace(goodSchedule, "Test shed", title, 1)))
		runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", fmt.Sprint("out-", k)).said(t, exitLook)
	}
	if err := os.Mkdir(filepath.Join(dir, "out-0/.committed"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"inspection.json", "report.html"} {
		if err := os.Rename(filepath.Join(dir, "out-1", name), filepath.Join(dir, "out-0/.committed", name)); err != nil {
			t.Fatal(err)
		}
	}
	runIn(t, dir, "merge", "out-0", "--out", "merged").said(t, exitLook)
	if d := inspectionIn(t, filepath.Join(dir, "merged")); d.Schedule.Title != "Other shed" {
		t.Errorf("merged the files of %q", d.Schedule.Title)
	}
	if !strings.Contains(reportOf(t, filepath.Join(dir, "out-0")), "Other shed") {
		t.Error("the report is the old one")
	}
}
