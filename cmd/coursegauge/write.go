package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"

	"gocv.io/x/gocv"
)

// outputs are the files of a run.
type outputs struct{ inspection, fasteners, report string }

func outputsIn(folder string) outputs {
	return outputs{
		inspection: filepath.Join(folder, "inspection.json"),
		fasteners:  filepath.Join(folder, "fasteners.csv"),
		report:     filepath.Join(folder, "report.html"),
	}
}

// document gathers what was done under the name of the schedule. Only the
// schedule's own file name goes in: the same photos give the same bytes from
// any folder.
func document(s schedule.Schedule, photos []inspection.Photo) inspection.Document {
	return inspection.New(
		inspection.Tool{Version: version, OpenCV: gocv.OpenCVVersion(), CardFormat: cardFormat},
		inspection.Schedule{File: filepath.Base(s.File), SHA256: s.SHA256, Title: s.Title},
		time.Now().UTC().Format(time.RFC3339), photos)
}

// write puts the three files into place, each whole or not at all.
func (in *inspector) write(d inspection.Document, files outputs) error {
	if err := writeDocument(d, files); err != nil {
		return err
	}
	return cannotWrite(files.report, in.page.Finish(files.report, d))
}

func writeDocument(d inspection.Document, files outputs) error {
	if err := cannotWrite(files.inspection, inspection.WriteFile(files.inspection, d)); err != nil {
		return err
	}
	return cannotWrite(files.fasteners, inspection.WriteCSV(files.fasteners, d))
}

// cannotWrite says which file could not be written; nil stays nil.
func cannotWrite(path string, err error) error {
	if err == nil {
		return nil
	}
	return failure{fmt.Sprintf("cannot write %s: %v", path, cause(err)), "make room or give another --out; nothing of that file was written"}
}

// status is how a run ended.
func status(ctx context.Context, d inspection.Document, asked int, faults []string) (int, error) {
	switch {
	case ctx.Err() != nil && len(d.Photos) < asked:
		return exitStopped, errStopped
	case len(faults) > 0:
		return exitFailed, failure{fmt.Sprintf("%s not the photos' fault", plural(len(faults), "fault that is", "faults that are")), "--stages DIR keeps what was seen; report the fault with the photo"}
	case d.Totals.Refused > 0:
		return exitLook, errNeedsPerson
	}
	return exitDone, nil
}
