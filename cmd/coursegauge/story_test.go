package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"coursegauge/report/inspection"
)

// Each story is something that a person types.

func TestWrongUse(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "good.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "typo.yaml"), []byte(strings.Replace(goodSchedule, "band:", "bnad:", 1)))
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "texts/a.txt"), []byte("hello"))
	writeFile(t, filepath.Join(dir, "file"), nil)
	if err := os.Mkdir(filepath.Join(dir, "empty"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, line string
		status     int
		words      []string
	}{
		{"a folder that is not there", "inspect lot-9 --schedule good.yaml --out out", exitUsage, []string{"no such file or folder: lot-9"}},
		{"an empty folder", "inspect empty --schedule good.yaml --out out", exitUsage, []string{"no photos in the folder empty", ".jpg"}},
		{"a folder of other files", "inspect texts --schedule good.yaml --out out", exitUsage, []string{"no photos in the folder texts (1 other file)"}},
		{"a pattern without a match", "inspect photos/*.png --schedule good.yaml --out out", exitUsage, []string{"no photo matches"}},
		{"no photos", "inspect --schedule good.yaml --out out", exitUsage, []string{"no photos given"}},
		{"no schedule", "inspect photos --out out", exitUsage, []string{"--schedule is missing"}},
		{"a schedule that is not there", "inspect photos --schedule none.yaml --out out", exitUsage, []string{"none.yaml", "no such file"}},
		{"a folder as the schedule", "inspect photos --schedule photos --out out", exitUsage, []string{"no regular file"}},
		{"a typo in a key of the schedule", "inspect photos --schedule typo.yaml --out out", exitUsage, []string{"typo.yaml:3:1", "bnad", "band"}},
		{"no folder to write to", "inspect photos --schedule good.yaml", exitUsage, []string{"--out is missing"}},
		{"a file to write to", "inspect photos --schedule good.yaml --out file", exitUsage, []string{"--out file is a file"}},
		{"a folder that cannot be made", "inspect photos --schedule good.yaml --out file/out", exitFailed, []string{"cannot make the folder file/out"}},
		{"a folder that takes nothing", "inspect photos --schedule good.yaml --out /proc/self", exitFailed, []string{"cannot write to the folder /proc/self"}},
		{"the photos' own folder", "inspect photos --schedule good.yaml --out ./photos/../photos", exitUsage, []string{"is the folder of the photos"}},
		{"the photos' own folder for stages", "inspect photos --schedule good.yaml --out out --stages photos", exitUsage, []string{"--stages photos is the folder of the photos"}},
		{"no worker", "inspect photos --schedule good.yaml --out out --jobs 0", exitUsage, []string{"1 to 256"}},
		{"a word for a number", "inspect photos --schedule good.yaml --out out --jobs all", exitUsage, []string{"--jobs", "whole number"}},
		{"a part that is none", "inspect photos --schedule good.yaml --out out --shard 3/2", exitUsage, []string{"1/2 to 2/2"}},
		{"a flag that is none", "inspect photos --shedule good.yaml --out out", exitUsage, []string{"unknown flag: --shedule"}},
		{"a command that is none", "inspct photos", exitUsage, []string{"did you mean: coursegauge inspect photos"}},
		{"version of something", "version 2", exitUsage, []string{"takes no arguments"}},
		{"merge of nothing", "merge --out out", exitUsage, []string{"no parts given"}},
		{"merge of no part", "merge photos --out out", exitUsage, []string{"no inspection at photos/inspection.json"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := runIn(t, dir, strings.Fields(c.line)...)
			r.said(t, c.status, c.words...)
			r.oneError(t)
			if _, err := os.Stat(filepath.Join(dir, "out", "inspection.json")); err == nil {
				t.Error("an inspection was written")
			}
		})
	}
}

// A bad photo is refused with its reason and the others go on; each document
// is whole and nothing else is left behind.
func TestBadPhotos(t *testing.T) {
	dir := t.TempDir()
	photo := cardless(t, 640, 480)
	huge := slices.Clone(photo)
	frame := bytes.Index(huge, []byte{0xFF, 0xC0}) // SOF0: length 2, precision 1, height 2, width 2 (ITU-T T.81, B.2.2)
	copy(huge[frame+5:], []byte{40000 >> 8, 40000 & 0xFF, 40000 >> 8, 40000 & 0xFF})
	bad := map[string][]byte{
		"text.jpg":    []byte("this is no picture\n"),
		"cut.jpg":     photo[:len(photo)/2],
		"empty.jpg":   nil,
		"huge.jpg":    huge,
		"long.jpg":    cardless(t, 33_000, 64),
		"odd.heic":    []byte("\x00\x00\x00\x18ftypheic"),
		"no-exif.jpg": photo,
	}
	for name, data := range bad {
		writeFile(t, filepath.Join(dir, "photos", name), data)
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	r := runIn(t, dir, "inspect", "photos", "photos/odd.heic", "photos/text.jpg", "--schedule", "lot.yaml", "--out", "made/here", "--jobs", "3")
	r.said(t, exitLook, "7 photos: 0 measured, 7 refused", "40000", "a side has at most 32766", "made/here/report.html", "printed instructions")
	d := inspectionIn(t, filepath.Join(dir, "made/here"))
	var files []string
	for _, p := range d.Photos {
		files = append(files, p.File)
		if p.Refusal == nil || p.Refusal.Detail == "" || p.Refusal.Advice == "" {
			t.Errorf("%s: %+v, want a refusal with what was seen and what to do", p.File, p.Refusal)
			continue
		}
		if (p.Refusal.Reason == "unreadable") != (p.File != "no-exif.jpg") {
			t.Errorf("%s is refused as %s", p.File, p.Refusal.Reason)
		}
		if strings.Contains(p.Refusal.Detail, "internal fault") {
			t.Errorf("%s: %s", p.File, p.Refusal.Detail)
		}
	}
	if want := []string{"cut.jpg", "empty.jpg", "huge.jpg", "long.jpg", "no-exif.jpg", "odd.heic", "text.jpg"}; !slices.Equal(files, want) {
		t.Errorf("photos %q, want %q", files, want)
	}
	if got, want := filesIn(t, filepath.Join(dir, "made/here")), []string{"fasteners.csv", "inspection.json", "report.html"}; !slices.Equal(got, want) {
		t.Errorf("written: %q, want %q", got, want)
	}
}

// Hostile EXIF costs its facts at most: no file of the collection is a fault,
// a crash or a stop.
func TestHostileEXIF(t *testing.T) {
	folder, err := filepath.Abs("../../testdata/reference/exif")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	r := runIn(t, dir, "inspect", folder, "--schedule", "lot.yaml", "--out", "out")
	r.said(t, exitLook, "refused")
	photos, err := filepath.Glob(filepath.Join(folder, "*.jpg"))
	if err != nil || len(photos) == 0 {
		t.Fatalf("no photos in %s (%v)", folder, err)
	}
	if d := inspectionIn(t, filepath.Join(dir, "out")); len(d.Photos) != len(photos) {
		t.Errorf("%d photos in the inspection, %d in the folder", len(d.Photos), len(photos))
	}
}

func TestJSONSummary(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--json")
	var s summary
	if err := json.Unmarshal([]byte(r.out), &s); err != nil {
		t.Fatalf("standard output is not one JSON object: %v\n%s", err, r.out)
	}
	if s.Format != summaryFormat || s.Photos != 1 || s.Totals.Refused != 1 || s.ExitStatus != r.status || s.Refused["a.jpg"].Reason == "" || s.Stopped {
		t.Errorf("summary %+v with exit status %d", s, r.status)
	}
	var v versions
	if err := json.Unmarshal([]byte(runIn(t, dir, "version", "--json").out), &v); err != nil || !strings.HasPrefix(v.OpenCV, "4.6") {
		t.Errorf("version --json: %+v, %v", v, err)
	}
}

// The same photos give the same documents whatever the number of workers, and
// two parts merged are the whole.
func TestWorkersAndPartsMakeNoDifference(t *testing.T) {
	dir := t.TempDir()
	for i := range 7 {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/p%d.jpg", i)), cardless(t, 400+40*i, 300))
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	inspect := func(out string, more ...string) inspection.Document {
		runIn(t, dir, append([]string{"inspect", "photos", "--schedule", "lot.yaml", "--out", out}, more...)...).said(t, exitLook)
		return inspectionIn(t, filepath.Join(dir, out))
	}
	whole := encoded(t, inspect("one", "--jobs", "1"))
	if got := encoded(t, inspect("five", "--jobs", "5")); got != whole {
		t.Errorf("five workers:\n%s\none worker:\n%s", got, whole)
	}
	inspect("part-1", "--shard", "1/2")
	inspect("part-2", "--shard", "2/2")
	runIn(t, dir, "merge", "part-2", "part-1", "--out", "merged").said(t, exitLook, "2 parts merged: 7 photos")
	if got := encoded(t, inspectionIn(t, filepath.Join(dir, "merged"))); got != whole {
		t.Errorf("merged:\n%s\nwhole:\n%s", got, whole)
	}
	var m merged
	if err := json.Unmarshal([]byte(runIn(t, dir, "merge", "part-1", "part-2", "--out", "merged", "--json").out), &m); err != nil || m.Format != mergedFormat || m.Parts != 2 || m.Totals.Photos != 7 {
		t.Errorf("merge --json: %+v, %v", m, err)
	}
	runIn(t, dir, "merge", "part-1", "part-2", "--out", "part-1").said(t, exitUsage, "--out part-1 is one of the parts")
}

func encoded(t *testing.T, d inspection.Document) string {
	t.Helper()
	var b strings.Builder
	if err := inspection.Encode(&b, inspection.Timeless(d)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Ctrl-C in the middle: what was done is written, whole, and the status says so.
func TestStopped(t *testing.T) {
	const photos = 400
	dir := t.TempDir()
	data := cardless(t, 1600, 1200)
	for i := range photos { // what lies behind the end of a picture tells the files apart
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/p%03d.jpg", i)), fmt.Appendf(slices.Clip(data), "%d", i))
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	c := exec.Command(binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--jobs", "2")
	c.Dir = dir
	var out bytes.Buffer
	c.Stdout = &out
	stderr, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	lines, rest := bufio.NewScanner(stderr), ""
	for n := 0; lines.Scan(); n++ {
		if n == 3 { // the line about the batch, then three that are done
			if err := c.Process.Signal(syscall.SIGINT); err != nil {
				t.Fatal(err)
			}
		}
		rest += lines.Text() + "\n"
	}
	_ = c.Wait()
	r := ran{c.ProcessState.ExitCode(), out.String(), rest}
	r.said(t, exitStopped, "stopped: ", "of 400 photos done and written")
	d := inspectionIn(t, filepath.Join(dir, "out"))
	if len(d.Photos) < 3 || len(d.Photos) == photos {
		t.Errorf("%d photos are written; at least the three that were told, and not all, are expected", len(d.Photos))
	}
	if got, want := filesIn(t, filepath.Join(dir, "out")), []string{"fasteners.csv", "inspection.json", "report.html"}; !slices.Equal(got, want) {
		t.Errorf("written: %q, want %q", got, want)
	}
}

// A file that cannot be written leaves the old one as it was.
func TestOldResultSurvives(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	if err := os.MkdirAll(filepath.Join(dir, "out/fasteners.csv"), 0o755); err != nil { // in the way of the file
		t.Fatal(err)
	}
	r := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out")
	r.said(t, exitFailed, "cannot write out/fasteners.csv")
	if got, want := filesIn(t, filepath.Join(dir, "out")), []string{"fasteners.csv"}; !slices.Equal(got, want) {
		t.Errorf("left behind: %q, want %q", got, want)
	}
}
