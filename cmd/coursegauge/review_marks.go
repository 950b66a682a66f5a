package main

import (
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"

	"coursegauge/report/review"
)

// exportMarks writes what people saw into a folder: NAME.truth.json for each
// photo about which somebody said that every head is found or marked, and the
// schedule beside them.
func (r *reviewed) exportMarks(t *terminal, dir, scheduleFile string) error {
	s, err := readSchedule(scheduleFile)
	if err != nil {
		return err
	}
	if s.SHA256 != r.document.Schedule.SHA256 {
		return usageError{fmt.Sprintf("--schedule %s is not the schedule that the photos were judged by (%s)", scheduleFile, oneLine(r.document.Schedule.File)), ""}
	}
	a, err := r.answers()
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	for _, p := range r.document.Photos {
		truth, ok := review.Marked(p, a, s)
		if !ok {
			continue
		}
		name := strings.TrimSuffix(path.Base(p.File), path.Ext(p.File)) + ".truth.json"
		if files[name] != nil {
			return usageError{fmt.Sprintf("two photos are called %s; the form of the truth has no folders", oneLine(path.Base(p.File))), "review the folders apart"}
		}
		if files[name], err = truth.Encode(); err != nil {
			return failure{err.Error(), ""}
		}
	}
	if len(files) == 0 {
		return usageError{"no photo is marked in full", `press "every head here is found or marked" on a photo when it is so; only such photos can tell what was missed`}
	}
	return writeMarks(t, dir, scheduleFile, files)
}

func writeMarks(t *terminal, dir, scheduleFile string, files map[string][]byte) error {
	schedule, err := readFile(scheduleFile)
	if err != nil {
		return usageError{fmt.Sprintf("--schedule %s: %v", scheduleFile, err), ""}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return failure{fmt.Sprintf("--export-marks: cannot make the folder %s: %v", dir, cause(err)), ""}
	}
	if err := writeWhole(filepath.Join(dir, "schedule.yaml"), schedule); err != nil {
		return err
	}
	for name, data := range files {
		if err := writeWhole(filepath.Join(dir, name), data); err != nil {
			return err
		}
	}
	t.say("marks of %s: %s", plural(len(files), "photo", "photos"), dir)
	return nil
}
