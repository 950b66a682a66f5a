package page

import (
	"image"
	"image/color"
	"path/filepath"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// The scene is invented: a roof seen by a homography that turns it a little
// and shrinks it to the right, on a dark picture with a white dot a head.
const sceneWidth, sceneHeight = 1000, 700

func scenePlace(x, y length.MM) vision.Point {
	w := 1 + 2e-4*float64(x)
	return vision.Point{
		X: (400 + 1.5*float64(x) + 0.1*float64(y)) / w,
		Y: (500 + 0.08*float64(x) - 1.4*float64(y)) / w,
	}
}

const sceneYAML = `
title: Lot 7, north slope
product: {name: laminated strip, family: laminated, width: 36 in, height: 12 in, exposure: 5 in}
band: {low: 5.9 in, high: 6.9 in}
fasteners: {per_piece: 4}
source: an invented wrapper
`

func sceneSchedule(t *testing.T) schedule.Schedule {
	t.Helper()
	s, err := schedule.Read("schedule.yaml", []byte(sceneYAML))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func measured(value, u length.MM) *length.Measured {
	m := length.New(value, u)
	return &m
}

func scenePicture(t *testing.T, heads []vision.Fastener) gocv.Mat {
	t.Helper()
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(60, 70, 80, 0), sceneHeight, sceneWidth, gocv.MatTypeCV8UC3)
	t.Cleanup(func() { m.Close() })
	for _, h := range heads {
		at := image.Pt(int(h.Px.X+0.5), int(h.Px.Y+0.5))
		if err := gocv.Circle(&m, at, 6, color.RGBA{255, 255, 255, 255}, -1); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

// sceneResult has a head high above the band, one near a lower joint, one
// right, and one below the butt.
func sceneResult() *vision.Result {
	places := []struct {
		x, y           length.MM
		lower, end     length.MM
		piece          int
		exposed, clear bool
	}{
		{30, 183.1, 150, 30, 0, false, false},
		{175, 160, 5, 175, 0, false, false},
		{300, 162, 120, 300, 0, false, true},
		{-40, -30, 0, 0, -1, true, false},
	}
	r := &vision.Result{
		Card: &vision.CardSight{Number: 7, Corners: 54, ResidualPx: 0.12,
			OutlinePx: [4]vision.Point{{X: 100, Y: 600}, {X: 300, Y: 600}, {X: 300, Y: 690}, {X: 100, Y: 690}}},
		Camera: vision.Camera{Source: "exif", FocalPx: 2940, FocalU: 12, K1: 0.009, K1U: 0.003}, ScalePxPerMM: 1.5, TiltDeg: 14,
		Checks:    []vision.Check{{Name: "exposure", OK: true, Text: "4.99 in seen, 5.00 in expected"}, {Name: "width", OK: false, Text: "35.2 in seen, 36.0 in expected"}},
		Budget:    []vision.Share{{Source: length.Corners, AboveButt: 0.1}, {Source: length.Height, AboveButt: 0.3, End: 0.1}},
		Stages:    []vision.Stage{{Name: "card", Milliseconds: 120, Kept: 54}},
		Inputs:    []length.Source{length.Corners, length.Lens, length.Height},
		ToPicture: scenePlace,
		Course: &vision.Course{
			ButtPx:      [2]vision.Point{scenePlace(-200, 0), scenePlace(500, 0)},
			Pieces:      []vision.Piece{{ID: 0, Left: vision.EndRake, Right: vision.EndFrame, LeftPx: scenePlace(0, 0), RightPx: scenePlace(500, 0)}},
			LowerJoints: []vision.LowerJoint{{Px: scenePlace(180, 0), X: length.New(180, 0.5)}},
			Trace: func(y length.MM) []vision.Point {
				return []vision.Point{scenePlace(-200, y), scenePlace(100, y), scenePlace(500, y)}
			},
		},
	}
	for i, p := range places {
		f := vision.Fastener{
			ID: i + 1, Px: scenePlace(p.x, p.y), RadiusPx: 7, Score: 0.99, Piece: p.piece, Exposed: p.exposed, Along: measured(p.x, 0.4),
			HeadDiameter: measured(10.5, 0.2),
			Drive:        vision.Drive{Class: vision.Flush, P: map[vision.DriveClass]float64{vision.Flush: 0.99, vision.Cocked: 0.01}},
		}
		if !p.exposed {
			f.AboveButt, f.LeftEnd, f.End, f.LowerJoint = measured(p.y, 0.5), measured(p.end, 0.5), measured(p.end, 0.5), measured(p.lower, 0.6)
			shared := f.AboveButt.WithShared([]float64{0.06, 0.1, -0.2})
			f.AboveButt = &shared
		}
		r.Fasteners = append(r.Fasteners, f)
	}
	return r
}

// added is the document of the scene under the given name, one refused photo
// and one that cannot be read, and the writer that has all three.
func added(t *testing.T, s schedule.Schedule, name string) (*Writer, inspection.Document) {
	t.Helper()
	w, err := NewWriter(t.TempDir(), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	r := sceneResult()
	pic := scenePicture(t, r.Fasteners)
	j := judge.Judge(s, r)
	sha := strings.Repeat("ab", 32)
	far := &vision.Result{Refusal: &vision.Refusal{Reason: vision.Far, Detail: "the card is 13 px a square; 25 are needed", Advice: "step closer"}}
	torn := &vision.Result{Refusal: &vision.Refusal{Reason: vision.Unreadable, Detail: "the file is cut off", Advice: "copy it again"}}
	photos := []inspection.Photo{
		inspection.Build(inspection.Source{File: "z-far.jpg", SHA256: sha, Width: sceneWidth, Height: sceneHeight}, s, far, judge.Photo{}),
		inspection.Build(inspection.Source{File: name, SHA256: sha, Width: sceneWidth, Height: sceneHeight, Facts: photo.Facts{Device: "phone", Orientation: 1}}, s, r, j),
		inspection.Build(inspection.Source{File: "m-torn.jpg", SHA256: sha}, s, torn, judge.Photo{}),
	}
	add := func(p inspection.Photo, r *vision.Result, j judge.Photo, cut *Cuttings) {
		t.Helper()
		put(t, w, p, r, j, cut)
	}
	add(photos[0], far, judge.Photo{}, cutOf(t, far, pic))
	add(photos[1], r, j, cutOf(t, r, pic))
	add(photos[2], torn, judge.Photo{}, nil)
	doc := inspection.New(inspection.Tool{Version: "0.1", OpenCV: "4.6.0", CardFormat: "charuco-10x7/1"},
		inspection.Schedule{File: "schedule.yaml", SHA256: s.SHA256, Title: s.Title}, "2026-05-04T22:00:00Z", photos)
	return w, doc
}

func cutOf(t *testing.T, r *vision.Result, pic gocv.Mat) *Cuttings {
	t.Helper()
	p, err := photo.Of(pic)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	c, err := Cut(r, p)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func put(t *testing.T, w *Writer, p inspection.Photo, r *vision.Result, j judge.Photo, cut *Cuttings) {
	t.Helper()
	parts, err := w.Make(p, r, j, cut, View.Shrink)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Put(parts); err != nil {
		t.Fatal(err)
	}
}

func finished(t *testing.T, w *Writer, doc inspection.Document) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "report.html")
	if err := w.Finish(out, doc); err != nil {
		t.Fatal(err)
	}
	return read(t, out)
}
