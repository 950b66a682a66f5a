package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"coursegauge/report/commit"
	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
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

// document gathers what was done of the photos that were asked for under the name
// of the schedule. Only the
// schedule's own file name goes in: the same photos give the same bytes from
// any folder.
func document(s schedule.Schedule, photos []inspection.Photo, asked []photoFile) inspection.Document {
	file, _ := inspection.Name(filepath.Base(s.File))
	d := inspection.New(
		inspection.Tool{Version: version, OpenCV: gocv.OpenCVVersion(), CardFormat: cardFormat},
		inspection.Schedule{File: file, SHA256: s.SHA256, Title: s.Title},
		time.Now().UTC().Format(time.RFC3339), inspection.Once(photos))
	d.NotDone = inspection.Left(fileNames(asked), d.Photos)
	return d
}

func fileNames(photos []photoFile) []string {
	names := make([]string, len(photos))
	for i, p := range photos {
		names[i] = p.name
	}
	return names
}

// write puts the three files into place, all of them or none: package commit
// says how. A disk that is full leaves the old ones.
func (in *inspector) write(d inspection.Document, files outputs) error {
	return placeAll(in.page.Aside(),
		file{files.fasteners, written(func(w io.Writer) error { return inspection.EncodeCSV(w, d) })},
		file{files.report, func(path, _ string) (*renameio.PendingFile, error) { return in.page.Pending(path, d) }},
		file{files.inspection, written(func(w io.Writer) error { return inspection.Encode(w, d) })},
	)
}

// writeDocument does the same for the two files that need no pictures.
func writeDocument(d inspection.Document, files outputs) error {
	aside, err := os.MkdirTemp(filepath.Dir(files.inspection), page.AsideName)
	if err != nil {
		return cannotWrite(files.inspection, err)
	}
	defer os.RemoveAll(aside)
	return placeAll(aside,
		file{files.fasteners, written(func(w io.Writer) error { return inspection.EncodeCSV(w, d) })},
		file{files.inspection, written(func(w io.Writer) error { return inspection.Encode(w, d) })},
	)
}

// file is one that is to be written, and what writes it to a path by way of a
// folder for what is not finished.
type file struct {
	path string
	to   func(path, aside string) (*renameio.PendingFile, error)
}

// written makes a file of what write gives.
func written(write func(io.Writer) error) func(path, aside string) (*renameio.PendingFile, error) {
	return func(path, aside string) (*renameio.PendingFile, error) {
		f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644), renameio.WithTempDir(aside))
		if err != nil {
			return nil, err
		}
		b := bufio.NewWriter(f)
		if err := cmp.Or(write(b), b.Flush()); err != nil {
			return nil, errors.Join(err, f.Cleanup())
		}
		return f, nil
	}
}

// placeAll writes all files of one folder aside, then puts them into place at
// once. Of several faults the first is told.
func placeAll(aside string, all ...file) error {
	staged, err := commit.Stage(filepath.Dir(all[0].path), aside)
	if err != nil {
		return cannotWrite(all[0].path, err)
	}
	defer staged.Discard()
	for _, a := range all {
		f, err := a.to(staged.Path(filepath.Base(a.path)), aside)
		if err != nil {
			return cannotWrite(a.path, err)
		}
		if err := f.CloseAtomicallyReplace(); err != nil { // it flushes first
			return cannotWrite(a.path, err)
		}
	}
	path, err := filepath.Dir(all[0].path), staged.Commit()
	var at *fs.PathError
	if errors.As(err, &at) {
		path = at.Path
	}
	return cannotWrite(path, err)
}

// cannotWrite says which file could not be written; nil stays nil.
func cannotWrite(path string, err error) error {
	var unfinished commit.Unfinished
	what := fmt.Sprintf("cannot write %s: %v", escape.Text(path), cause(err))
	switch {
	case err == nil:
		return nil
	case errors.As(err, &unfinished):
		return failure{what, "the new files are whole in " + commit.Folder + " of that folder, and the next run that may write there puts them into place"}
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return failure{what, "make room there or write elsewhere; nothing was changed there"}
	}
	return failure{what, writeHint(filepath.Dir(path), err)}
}

// writeHint is what to do when a file cannot be written into a folder.
func writeHint(folder string, err error) string {
	info, missing := os.Stat(folder)
	switch {
	case errors.Is(missing, fs.ErrNotExist):
		return "there is no folder " + escape.Text(folder) + "; make it first: mkdir -p " + escape.Text(folder)
	case missing == nil && !info.IsDir():
		return escape.Text(folder) + " is a file, not a folder; write elsewhere"
	case errors.Is(err, fs.ErrPermission):
		return "this user may not write there; write elsewhere, or have the folder's owner allow it"
	case errors.Is(err, syscall.EROFS):
		return "that disk can only be read; write elsewhere"
	}
	return "write elsewhere; nothing was changed there"
}

// status is how a run ended.
func status(d inspection.Document, faults []string, skipped []string) (int, error) {
	switch {
	case len(d.NotDone) > 0:
		return exitStopped, errStopped
	case len(faults) > 0:
		return exitFailed, failure{fmt.Sprintf("%s not the photos' fault", plural(len(faults), "fault that is", "faults that are")), "--stages DIR keeps what was seen; report the fault with the photo"}
	case d.Totals.Refused > 0 || len(skipped) > 0 || d.Product().Other():
		return exitLook, errNeedsPerson
	}
	return exitDone, nil
}
