package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/page"
	"coursegauge/report/schedule"
	"coursegauge/vision"

	"gocv.io/x/gocv"
)

// A fault of ours stays in the photo that met it: that one is refused and
// named, the others are measured, and the run ends as failed.
func TestFaultStaysInItsPhoto(t *testing.T) {
	dir := t.TempDir()
	var photos []photoFile
	for _, name := range []string{"a.jpg", "b.jpg", "c.jpg"} {
		path := filepath.Join(dir, "photos", name)
		width := 320
		if name == "b.jpg" {
			width = 336 // the one that the faulty pipeline stumbles over
		}
		writeFile(t, path, cardless(t, width, 240))
		photos = append(photos, photoFile{path, name})
	}
	s, err := schedule.Read("lot.yaml", []byte(goodSchedule))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name  string
		fault func() error
	}{
		{"a panic", func() error { var none []int; return errors.New(string(rune(none[3]))) }},
		{"an error", func() error { return errors.New("matrix is singular") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			report, err := page.NewWriter(t.TempDir(), s, page.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer report.Close()
			in := &inspector{schedule: s, page: report, stages: filepath.Join(dir, "stages")}
			in.look = func(_ context.Context, picture gocv.Mat, _ vision.Options) (*vision.Result, error) {
				if picture.Cols() == 336 {
					return nil, c.fault()
				}
				return &vision.Result{Refusal: &vision.Refusal{Reason: vision.NoCard, Detail: "no card", Advice: "lay one"}}, nil
			}
			done, faults := in.measureAll(t.Context(), &terminal{out: io.Discard, err: io.Discard}, photos, 2)
			if len(done) != 3 || len(faults) != 1 || !strings.HasPrefix(faults[0], "b.jpg: internal fault: ") {
				t.Fatalf("%d photos done, faults %q", len(done), faults)
			}
			for i, want := range []string{"no_card", "unreadable", "no_card"} {
				if got := done[i].Refusal; got == nil || got.Reason != want {
					t.Errorf("%s: %+v, want %s", done[i].File, got, want)
				}
			}
			d := document(s, done)
			if err := in.write(d, outputsIn(t.TempDir())); err != nil {
				t.Error(err)
			}
			if code, err := status(t.Context(), d, 3, faults); code != exitFailed || exitStatus(err) != exitFailed {
				t.Errorf("status %d, error %v", code, err)
			}
		})
	}
	trace, err := os.ReadFile(filepath.Join(dir, "stages/b.jpg/fault.txt"))
	if err != nil || !strings.Contains(string(trace), "index out of range") {
		t.Errorf("the trace beside the stages: %v\n%.200s", err, trace)
	}
}
