package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"coursegauge/report/crew"
	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/page"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/photo"

	"gocv.io/x/gocv"
)

// maxFile is the largest file that is read as a photo: some five times a
// picture of 120 megapixels as PNG would be generous already.
const maxFile = 512 << 20

// inspector takes photos from their file to their written form, any number at
// a time. It keeps no picture.
type inspector struct {
	schedule schedule.Schedule
	stages   string // folder for the pictures of the stages, or ""
	page     *page.Writer
	known    *known
	crews    crew.List
	// noLocation leaves out of everything that is written where and with which
	// device a photo was taken.
	noLocation bool
	look       func(context.Context, gocv.Mat, vision.Options) (*vision.Result, error) // vision.Inspect
}

// outcome is what became of one photo.
type outcome struct {
	photo inspection.Photo
	fault error  // what was not the photo's fault: an internal fault, a picture that could not be written
	doubt string // about whose photo it is, "" without
}

// inspect measures and judges one photo. The error is that of an ended
// context: the photo is then not done. Anything else that goes wrong is told in
// the outcome, and the batch goes on.
func (in *inspector) inspect(ctx context.Context, p photoFile) (outcome, error) {
	folder, folderFault := newStageFolder(in.stages, p)
	o, err := in.guarded(ctx, p, folder)
	if o.fault == nil {
		o.fault = cmp.Or(folderFault, folder.failed())
	}
	return o, err
}

// guarded contains a panic in the photo that met it.
func (in *inspector) guarded(ctx context.Context, p photoFile, folder *stageFolder) (o outcome, err error) {
	var source inspection.Source
	defer func() {
		if what := recover(); what != nil {
			folder.fault(what, debug.Stack())
			o, err = in.faulty(p, source, fmt.Errorf("%v", what)), nil
		}
	}()
	source.File = p.name
	picture, refusal := in.open(p, &source)
	if refusal != nil {
		return in.finish(p, source, nil, &vision.Result{Refusal: refusal}), nil
	}
	defer picture.Close()
	result, err := in.look(ctx, picture.Mat, vision.Options{
		Product: in.schedule.Product(), Facts: picture.Facts, Known: in.known.of(picture), Stages: folder.hook(),
	})
	switch {
	case ctx.Err() != nil:
		return outcome{}, ctx.Err()
	case err != nil:
		return in.faulty(p, source, err), nil
	}
	return in.finish(p, source, picture, result), nil
}

// open reads and decodes a photo and fills in where it came from.
func (in *inspector) open(p photoFile, source *inspection.Source) (*photo.Picture, *vision.Refusal) {
	data, err := readFile(p.path)
	if err != nil {
		return nil, unreadable(err)
	}
	sum := sha256.Sum256(data)
	source.SHA256 = hex.EncodeToString(sum[:])
	source.Facts = photo.ReadFacts(data)
	picture, err := photo.Decode(data, photo.Options{})
	if err != nil {
		return nil, unreadable(err)
	}
	source.Width, source.Height = picture.Width(), picture.Height()
	return picture, nil
}

// readFile reads a regular file of bearable size.
func readFile(path string) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("the file cannot be opened: %w", cause(err))
	case !info.Mode().IsRegular():
		return nil, errors.New("this is no regular file")
	case info.Size() > maxFile:
		return nil, fmt.Errorf("the file has %d MB; a photo has less than %d", info.Size()>>20, maxFile>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the file cannot be opened: %w", cause(err))
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile))
	if err != nil {
		return nil, fmt.Errorf("the file cannot be read: %w", cause(err))
	}
	return data, nil
}

func unreadable(err error) *vision.Refusal {
	r := &vision.Refusal{Reason: vision.Unreadable, Detail: err.Error(), Advice: "copy the photo from the phone again"}
	var u *photo.Unreadable
	if errors.As(err, &u) {
		r.Detail, r.Advice = u.Detail, u.Advice
	}
	return r
}

// finish judges a result and gives it to the report while the picture is
// still there; picture is nil when there is none.
func (in *inspector) finish(p photoFile, source inspection.Source, picture *photo.Picture, result *vision.Result) outcome {
	judged := judge.Judge(in.schedule, result)
	var doubt string
	source.Crew, doubt = crewOf(in.crews, p, source.Facts.Device, result.Card)
	if in.noLocation {
		source.Facts.Location, source.Facts.Device = nil, ""
	}
	written := inspection.Build(source, in.schedule, result, judged)
	return outcome{photo: written, fault: in.page.Add(written, result, judged, picture), doubt: doubt}
}

// faulty is a photo that met a fault of ours: refused, since nothing that was
// measured so far can be trusted.
func (in *inspector) faulty(p photoFile, source inspection.Source, fault error) outcome {
	o := in.finish(p, source, nil, &vision.Result{Refusal: &vision.Refusal{
		Reason: vision.Unreadable,
		Detail: "internal fault while measuring: " + oneLine(fault.Error()),
		Advice: "measure this course by hand; report the fault together with the photo",
	}})
	o.fault = cmp.Or(o.fault, fmt.Errorf("%s: internal fault: %w", source.File, fault))
	return o
}
