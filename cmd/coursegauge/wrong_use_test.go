package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"coursegauge/report/review"
)

// A stopped run says so wherever its results are read: on the screen, in the
// inspection, in the report, and in what is merged of it.
func TestStoppedRunIsSeen(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	holdBack(t, filepath.Join(dir, "photos/z.jpg"))
	stoppedAt(t, dir, syscall.SIGINT, func(stderr *lockedBuffer) bool { return strings.Contains(stderr.String(), "[1/2] a.jpg") },
		"inspect", "photos", "--schedule", "lot.yaml", "--out", "stopped", "--no-cache", "--jobs", "1").said(t, exitStopped, "stopped: 1 of 2 photos done and written")
	d := inspectionIn(t, filepath.Join(dir, "stopped"))
	if !slices.Equal(d.NotDone, []string{"z.jpg"}) {
		t.Errorf("not done: %q", d.NotDone)
	}
	written, err := os.ReadFile(filepath.Join(dir, "stopped/inspection.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := inspectionSchema(t).Validate(decoded(t, written)); err != nil {
		t.Error(err)
	}
	const banner = "Incomplete: the run was stopped before 1 photo, and everything below is without it. Not done: z.jpg."
	if !strings.Contains(reportOf(t, filepath.Join(dir, "stopped")), banner) {
		t.Error("the report does not say that it is incomplete")
	}
	r := runIn(t, dir, "merge", "stopped", "--out", "merged")
	r.said(t, exitLook, "warning: incomplete: a part was stopped before 1 photo, which no other part has: z.jpg")
	if d := inspectionIn(t, filepath.Join(dir, "merged")); !slices.Equal(d.NotDone, []string{"z.jpg"}) {
		t.Errorf("merged, not done: %q", d.NotDone)
	}

	// What another part has done is done.
	writeFile(t, filepath.Join(dir, "rest/z.jpg"), cardless(t, 330, 240))
	runIn(t, dir, "inspect", "rest", "--schedule", "lot.yaml", "--out", "other", "--no-cache").said(t, exitLook)
	if d := inspectionIn(t, filepath.Join(dir, "other")); d.NotDone != nil {
		t.Errorf("a whole run has not done %q", d.NotDone)
	}
	if strings.Contains(reportOf(t, filepath.Join(dir, "other")), "Incomplete") {
		t.Error("the report of a whole run is incomplete")
	}
	if r := runIn(t, dir, "merge", "stopped", "other", "--out", "merged"); strings.Contains(r.err, "incomplete") {
		t.Errorf("said %q", r.err)
	}
	if d := inspectionIn(t, filepath.Join(dir, "merged")); d.NotDone != nil || len(d.Photos) != 2 {
		t.Errorf("merged, not done: %q of %d", d.NotDone, len(d.Photos))
	}
}

// A photo that is there twice counts once, and its twins are named.
func TestTheSamePhotoTwice(t *testing.T) {
	dir := t.TempDir()
	jobs := filepath.Join(testdata, "photos/laminated-metric")
	data, err := os.ReadFile(filepath.Join(jobs, "roof-002.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	schedule, err := os.ReadFile(filepath.Join(jobs, "schedule.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), schedule)
	for _, name := range []string{"one/a.jpg", "three/a.jpg", "three/b.jpg", "three/c.jpg"} {
		writeFile(t, filepath.Join(dir, name), data)
	}
	for _, name := range []string{"three/empty-1.jpg", "three/empty-2.jpg"} { // no photos, and no twins of the others
		writeFile(t, filepath.Join(dir, name), nil)
	}
	runIn(t, dir, "inspect", "one", "--schedule", "lot.yaml", "--out", "one-out").said(t, exitDone)
	runIn(t, dir, "inspect", "three", "--schedule", "lot.yaml", "--out", "three-out").said(t, exitLook, "counted once, the same bytes: a.jpg, b.jpg, c.jpg", "counted once, the same bytes: empty-1.jpg, empty-2.jpg")
	one, three := inspectionIn(t, filepath.Join(dir, "one-out")), inspectionIn(t, filepath.Join(dir, "three-out"))
	if one.Totals.Fasteners == 0 || three.Totals.Fasteners != one.Totals.Fasteners || three.Totals.Measured != 1 || three.Totals.Refused != 1 {
		t.Errorf("totals %+v, want those of one: %+v", three.Totals, one.Totals)
	}
	if len(three.Photos) != 2 || !slices.Equal(three.Photos[0].AlsoAs, []string{"b.jpg", "c.jpg"}) {
		t.Errorf("%d photos, the first also as %q", len(three.Photos), three.Photos[0].AlsoAs)
	}
	if three.NotDone != nil {
		t.Errorf("not done: %q", three.NotDone)
	}
	var sum summary
	r := runIn(t, dir, "inspect", "three", "--schedule", "lot.yaml", "--out", "three-out", "--json")
	if err := json.Unmarshal([]byte(r.out), &sum); err != nil || !slices.Equal(sum.Twice["a.jpg"], []string{"b.jpg", "c.jpg"}) || sum.Stopped {
		t.Errorf("the summary: %v, %+v", err, sum)
	}
}

// Decisions about other photos are not orphaned without a word.
func TestDecisionsAreNotOrphaned(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	for i, name := range []string{"a/1.jpg", "a/2.jpg", "b/3.jpg"} {
		writeFile(t, filepath.Join(dir, name), cardless(t, 320, 240+i))
	}
	inspect := func(args ...string) ran {
		return runIn(t, dir, append([]string{"inspect", "--schedule", "lot.yaml", "--out", "out"}, args...)...)
	}
	inspect("a").said(t, exitLook)
	d := inspectionIn(t, filepath.Join(dir, "out"))
	decision := fmt.Sprintf(`{"format":%q,"id":"%032x","photo":%q,"file":"1.jpg","target":"photo","what":"complete","who":"","when":"2026-05-04T17:30:00Z","tool":""}`, review.Format, 7, d.Photos[0].SHA256)
	if _, err := review.Parse([]byte(decision)); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(dir, "out", review.FileName)
	writeFile(t, log, []byte("\ufeff"+decision+"\n"))
	before, err := os.ReadFile(filepath.Join(dir, "out/inspection.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, other := range [][]string{{"b"}, {"a/2.jpg"}, {"b", "a/2.jpg"}} {
		r := inspect(other...)
		r.said(t, exitUsage, "--out out holds decisions about 1 photo that is not among these", "hint: give another folder; or --replace")
		if now, err := os.ReadFile(filepath.Join(dir, "out/inspection.json")); err != nil || string(now) != string(before) {
			t.Errorf("%q: the inspection was changed (%v)", other, err)
		}
	}
	for _, same := range [][]string{{"a"}, {"a", "b"}, {"a/1.jpg"}} { // the photo is still there
		if r := inspect(same...); r.status != exitLook {
			t.Errorf("%q: exit status %d\n%s", same, r.status, r.err)
		}
	}
	inspect("b", "--replace").said(t, exitLook)
	if now, err := os.ReadFile(log); err != nil || string(now) != "\ufeff"+decision+"\n" {
		t.Errorf("the decisions are %q (%v)", now, err)
	}
	inspect("a/2.jpg").said(t, exitLook) // nothing that is shown there is lost now
}

// Folders of photos beside loose photos are named when they are not looked into.
func TestFoldersBesidePhotos(t *testing.T) {
	dir := t.TempDir()
	jobs := filepath.Join(testdata, "photos/laminated-metric")
	for from, to := range map[string]string{"schedule.yaml": "lot.yaml", "roof-002.jpg": "lot/a.jpg"} {
		data, err := os.ReadFile(filepath.Join(jobs, from))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(dir, to), data)
	}
	for i, name := range []string{"lot/north/deep/b.jpg", "lot/texts/a.txt", "lot/.thumbnails/a.jpg", "lot/south/.thumbnails/a.jpg"} {
		writeFile(t, filepath.Join(dir, name), cardless(t, 320, 240+i))
	}
	r := runIn(t, dir, "inspect", "lot", "--schedule", "lot.yaml", "--out", "lot/out", "--stages", "lot/stages")
	r.said(t, exitLook, "warning: not looked into: lot/north, a folder with photos; name it, too, to have them measured")
	if n := strings.Count(r.err, "not looked into"); n != 1 {
		t.Errorf("told %d times:\n%s", n, r.err)
	}
	// A second run finds what the first one wrote, and does not count it among them.
	r = runIn(t, dir, "inspect", "lot", "--schedule", "lot.yaml", "--out", "lot/out", "--stages", "lot/stages", "--json")
	var sum summary
	if err := json.Unmarshal([]byte(r.out), &sum); err != nil || !slices.Equal(sum.SkippedFolders, []string{"lot/north"}) || sum.ExitStatus != exitLook {
		t.Errorf("%v, %+v", err, sum)
	}
	r = runIn(t, dir, "inspect", "lot", "lot/north/deep", "--schedule", "lot.yaml", "--out", "lot/out", "--stages", "lot/stages")
	if strings.Contains(r.err, "not looked into") {
		t.Errorf("a folder that was named:\n%s", r.err)
	}
	if err := os.RemoveAll(filepath.Join(dir, "lot/north")); err != nil {
		t.Fatal(err)
	}
	runIn(t, dir, "inspect", "lot", "--schedule", "lot.yaml", "--out", "lot/out", "--stages", "lot/stages").said(t, exitDone)
}

// A folder that is called like a file is a mistake.
func TestOutCalledLikeAFile(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 320, 240))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	for _, out := range []string{"x.pdf", "x.PDF", "out/report.html", "x.csv", "x.json", "x.zip"} {
		r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", out)
		r.said(t, exitUsage, "--out "+out+" is called like a file; the name of a folder is needed", "hint: the report is written there as report.html")
		r.oneError(t)
		if _, err := os.Stat(filepath.Join(dir, out)); err == nil {
			t.Errorf("%s was made", out)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "old.pdf"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, out := range []string{"old.pdf", "lot.7", "lot 7. north"} {
		if r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", out); r.status != exitLook {
			t.Errorf("%s: exit status %d\n%s", out, r.status, r.err)
		}
	}
}
