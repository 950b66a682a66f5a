package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"

	"github.com/google/renameio/v2"
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

// write puts the three files into place. All are written aside and flushed
// first, then renamed one right after the other: whatever ends the process, each
// file is the old one or the new one, and a disk that is full leaves all the old ones.
func (in *inspector) write(d inspection.Document, files outputs) error {
	return placeAll(
		aside(files.fasteners, in.page.Aside(), func(w io.Writer) error { return inspection.EncodeCSV(w, d) }),
		func() (*renameio.PendingFile, string, error) {
			f, err := in.page.Pending(files.report, d)
			return f, files.report, err
		},
		aside(files.inspection, in.page.Aside(), func(w io.Writer) error { return inspection.Encode(w, d) }),
	)
}

// writeDocument does the same for the two files that need no pictures.
func writeDocument(d inspection.Document, files outputs) error {
	folder := filepath.Dir(files.inspection)
	return placeAll(
		aside(files.fasteners, folder, func(w io.Writer) error { return inspection.EncodeCSV(w, d) }),
		aside(files.inspection, folder, func(w io.Writer) error { return inspection.Encode(w, d) }),
	)
}

// pending is a file that is written but not yet in its place.
type pending func() (f *renameio.PendingFile, path string, err error)

// aside writes a file for path into a folder of the same file system.
func aside(path, folder string, write func(io.Writer) error) pending {
	return func() (*renameio.PendingFile, string, error) {
		f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644), renameio.WithTempDir(folder))
		if err != nil {
			return nil, path, err
		}
		b := bufio.NewWriter(f)
		if err := cmp.Or(write(b), b.Flush()); err != nil {
			return nil, path, errors.Join(err, f.Cleanup())
		}
		return f, path, nil
	}
}

// placeAll writes all files aside, then renames them. Of several faults the
// first is told.
func placeAll(all ...pending) error {
	type written struct {
		*renameio.PendingFile
		path string
	}
	var ready []written
	defer func() {
		for _, f := range ready {
			_ = f.Cleanup() // of those that are in place it does nothing
		}
	}()
	for _, make := range all {
		f, path, err := make()
		if err != nil {
			return cannotWrite(path, err)
		}
		ready = append(ready, written{f, path})
		if err := f.Sync(); err != nil {
			return cannotWrite(path, err)
		}
	}
	for _, f := range ready {
		if err := f.CloseAtomicallyReplace(); err != nil {
			return cannotWrite(f.path, err)
		}
	}
	return nil
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
	case d.Totals.Refused > 0 || d.Product().Other():
		return exitLook, errNeedsPerson
	}
	return exitDone, nil
}
