package vision

import (
	"bytes"
	"encoding/gob"
	"math"
	"reflect"
	"testing"

	"coursegauge/vision/length"
	"coursegauge/vision/plane"
)

// A result that was written down and read again is the same to the last bit,
// and its functions give the same places.
func TestResultWrittenDown(t *testing.T) {
	m := length.New(150.25, .3).Widen(length.Height, .1).WithShared([]float64{.2, -.1, 0})
	exact := length.New(-40, 0).WithShared([]float64{.5})
	frame := plane.Frame{
		Lens: plane.Lens{F: 2900, Cx: 2015.5, Cy: 1511.5, K1: .01}, R: plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1},
		T: plane.Vec{10, 20, 1200}, Stack: plane.NewStack(true, 2.54, 336.5, 142.9),
	}
	butt := &plane.Line{Kind: plane.Butt, Pts: [][2]float64{{100, 2000}, {1900, 2004}, {3900, 2010}}, U: .2, Mate: -1}
	r := &Result{
		Card:   &CardSight{Number: 3, Corners: 54, OutlinePx: [4]Point{{1, 2}, {3, 4}, {5, 6}, {7, 8}}},
		Camera: Camera{Source: "exif", FocalPx: 2900}, TiltDeg: 12.5,
		Course:    &Course{Pieces: []Piece{{ID: 1, Left: EndJoint, Right: EndFrame, Width: &m}}, LowerJoints: []LowerJoint{{Point{1, 1}, m}}, Offset: &exact},
		Fasteners: []Fastener{{ID: 1, Px: Point{5, 6}, Piece: -1, AboveButt: &m, Drive: Drive{Flush, map[DriveClass]float64{Flush: 1}}}},
		Gauges:    []Gauge{{Far, "scale", "px", math.Inf(1), 9, true}},
		Inputs:    length.Sources()[:3],
		Surface:   &Surface{frame, 4032, 3024, []SurfacePiece{{Butt: butt, LeftX: -500, RightX: 480}}},
	}
	r.bind()
	back := throughGob(t, r)
	for _, y := range []length.MM{0, 160, 336} {
		if got, want := back.Course.Trace(y), r.Course.Trace(y); len(want) < 2 || !reflect.DeepEqual(got, want) {
			t.Errorf("the line %v mm above the butt: %v, want %v", y, got, want)
		}
	}
	if got, want := back.ToPicture(100, 50), r.ToPicture(100, 50); got != want {
		t.Errorf("a place is at %v, want %v", got, want)
	}
	if got, want := back.Fasteners[0].AboveButt.Sub(*back.Course.Pieces[0].Width), m.Sub(m); !reflect.DeepEqual(got, want) {
		t.Errorf("a difference is %v, want %v: what lengths share is lost", got, want)
	}
	for _, q := range []*Result{r, back} { // functions compare by nothing but nil
		q.ToPicture, q.Course.Trace = nil, nil
	}
	if !reflect.DeepEqual(back, r) {
		t.Errorf("read back %+v\nwant %+v", back, r)
	}

	refused := &Result{Refusal: &Refusal{NoCard, "no card", "lay one"}}
	if back := throughGob(t, refused); back.ToPicture != nil || !reflect.DeepEqual(back, refused) {
		t.Errorf("read back %+v, want %+v", back, refused)
	}
}

func throughGob(t *testing.T, r *Result) *Result {
	t.Helper()
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(r); err != nil {
		t.Fatal(err)
	}
	back := new(Result)
	if err := gob.NewDecoder(&b).Decode(back); err != nil {
		t.Fatal(err)
	}
	return back
}

// Anything that is no whole length is refused, not read as a part of one.
func TestLengthCutShort(t *testing.T) {
	whole, err := length.New(10, 1).WithShared([]float64{2}).MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(whole) - 8 {
		var m length.Measured
		if m.UnmarshalBinary(whole[:n]) == nil {
			t.Errorf("%d of %d bytes were read as a length", n, len(whole))
		}
	}
}
