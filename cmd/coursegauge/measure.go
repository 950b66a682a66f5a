package main

import (
	"context"
	"fmt"
	"time"

	"coursegauge/report/crew"
	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/page"
	"coursegauge/report/schedule"
	"coursegauge/vision"
)

// maxFile is the largest file that is read as a photo: some five times a
// picture of 120 megapixels as PNG would be generous already.
const maxFile = 512 << 20

// inspector takes photos from their file to their written form, any number at
// a time. It touches no pixel: workers do, or did in an earlier run.
type inspector struct {
	schedule schedule.Schedule
	page     *page.Writer
	crews    crew.List
	// noLocation leaves out of everything that is written where and with which
	// device a photo was taken.
	noLocation bool

	workers *workers
	kept    *keeper
	reading time.Duration // the most for the bytes of one photo
}

// outcome is what became of one photo.
type outcome struct {
	photo inspection.Photo
	fault error         // what was not the photo's fault: an internal fault, a picture that could not be written
	doubt string        // about whose photo it is, "" without
	kept  bool          // measured by an earlier run
	took  time.Duration // all in all
	times []stageTime   // of what this run did
}

// inspect measures and judges one photo. The error is that of an ended
// context: the photo is then not done. Anything else that goes wrong is told in
// the outcome, and the batch goes on.
func (in *inspector) inspect(ctx context.Context, p photoFile) (outcome, error) {
	start := time.Now()
	s, o, err := in.see(ctx, p)
	if err != nil {
		return o, err
	}
	judged := judge.Judge(in.schedule, s.Result)
	o.photo, o.doubt = in.written(p, s, judged)
	begun := time.Now()
	fault := in.report(ctx, s, o.photo, judged)
	if ctx.Err() != nil {
		return outcome{}, ctx.Err()
	}
	if o.fault == nil {
		o.fault = fault
	}
	o.times = append(o.times, stageTime{"report", milliseconds(time.Since(begun))})
	o.took = time.Since(start)
	return o, nil
}

// see has a photo measured, or takes what an earlier run has kept of it.
func (in *inspector) see(ctx context.Context, p photoFile) (s *seen, o outcome, err error) {
	begun := time.Now()
	sum, err := hashFile(ctx, p.path, in.reading)
	if ctx.Err() != nil {
		return nil, outcome{}, ctx.Err()
	}
	o.times = []stageTime{{"hash", milliseconds(time.Since(begun))}}
	if err != nil {
		return &seen{Result: &vision.Result{Refusal: unreadable(err)}}, o, nil
	}
	if s = in.kept.seen(ctx, sum); s != nil {
		o.kept = true
		return s, o, nil
	}
	s, fault, whole, err := in.workers.see(ctx, p)
	switch {
	case ctx.Err() != nil:
		return nil, outcome{}, ctx.Err()
	case err != nil: // no worker could be started
		fault = err
		s = &seen{Result: faulty(err)}
	}
	if s.SHA256 == "" {
		s.SHA256 = sum
	}
	if whole {
		in.kept.keepSeen(ctx, s)
	}
	if fault != nil {
		o.fault = fmt.Errorf("%s: %w", p.shown(), fault)
	}
	o.times = append(o.times, s.times()...)
	return s, o, nil
}

// times are the steps of a photo in their order, those of the measuring included.
func (s *seen) times() (out []stageTime) {
	for _, t := range s.Times {
		if t.Name == "cut" {
			for _, g := range s.Result.Stages {
				out = append(out, stageTime{g.Name, g.Milliseconds})
			}
		}
		out = append(out, t)
	}
	return out
}

// written is a photo as it stands in inspection.json.
func (in *inspector) written(p photoFile, s *seen, judged judge.Photo) (inspection.Photo, string) {
	source := inspection.Source{File: p.name, FileBytes: p.bytes, SHA256: s.SHA256, Width: s.Width, Height: s.Height, Facts: s.Facts}
	var doubt string
	source.Crew, doubt = crewOf(in.crews, p, source.Facts.Device, s.Result.Card)
	if in.noLocation {
		source.Facts.Location, source.Facts.Device = nil, ""
	}
	return inspection.Build(source, in.schedule, s.Result, judged), doubt
}

// report puts a photo into the report, from the parts that an earlier run made
// where nothing in them has changed.
func (in *inspector) report(ctx context.Context, s *seen, p inspection.Photo, judged judge.Photo) error {
	key := in.kept.partsKey(p)
	parts := in.kept.parts(ctx, key)
	if parts == nil {
		var err error
		parts, err = in.page.Make(p, s.Result, judged, s.Cuttings, func(v page.View) ([]byte, error) { return in.workers.shrink(ctx, v) })
		if err != nil {
			return err
		}
		in.kept.keepParts(ctx, key, parts)
	}
	return in.page.Put(parts)
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
