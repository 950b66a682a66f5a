package vision

import (
	"math"
	"strings"
	"testing"

	"coursegauge/vision/card"
	"coursegauge/vision/photo"
	"coursegauge/vision/plane"

	"gocv.io/x/gocv"
)

func TestPrintWrong(t *testing.T) {
	for _, c := range []struct {
		x, y float64
		says string
	}{
		{1, 1, ""}, {1.029, 1.029, ""}, {.972, .975, ""}, {1.009, 1, ""},
		{1.031, 1.031, "3.1 % too large"}, {.96, .96, "4.0 % too small"}, {1, 1.05, "5.0 % too large"},
		{1.012, 1, "1.2 % too long for its height"}, {1, 1.02, "2.0 % too short for its height"},
	} {
		r := Print{ScaleX: c.x, ScaleY: c.y}.Wrong()
		switch {
		case c.says == "" && r != nil:
			t.Errorf("%v x %v refused: %s", c.x, c.y, r.Detail)
		case c.says != "" && (r == nil || r.Reason != CardWrongSize || !strings.Contains(r.Detail, c.says) || !strings.Contains(r.Advice, "100 %")):
			t.Errorf("%v x %v: %+v, want %q", c.x, c.y, r, c.says)
		}
	}
}

func TestPrintWith(t *testing.T) {
	usual := plane.DefaultPrior(true)
	if got := (Print{ScaleX: 1, ScaleY: 1}).with(usual); got != usual {
		t.Errorf("a card that nobody measured changes what is known: %+v", got)
	}
	got := Print{ScaleX: 1, ScaleY: 1, U: .0008, Thickness: 4.2, ThicknessU: .2}.with(usual)
	if got.CardScale != .0008 || got.CardThick != 4.2 || !(got.CardHeight < usual.CardHeight && got.CardHeight > .2) {
		t.Errorf("%+v", got)
	}
}

// Both readings of a 35 mm equivalent lie within what is told: 26 mm of a 4:3
// picture of 4032 px are 2912 px by the width and 3028.9 by the diagonal (36 x 24
// mm: 43.267 mm), of a 3:2 picture the same.
func TestFilmEquivalentCoversBothReadings(t *testing.T) {
	for _, c := range []struct{ mm, w, h, width, diagonal float64 }{
		{26, 4032, 3024, 2912, 3028.6}, {26, 3024, 4032, 2912, 3028.6}, {24, 6000, 4000, 4000, 4000}, {26, 4000, 2250, 2888.9, 2757.9},
	} {
		px, u := fromFilm(c.mm, c.w, c.h, .015)
		for _, want := range []float64{c.width, c.diagonal} {
			if d := math.Abs(px/want - 1); d > 1.05*u {
				t.Errorf("%g mm on %g x %g: %.1f px ± %.1f %%, want %.1f within", c.mm, c.w, c.h, px, 100*u, want)
			}
		}
		if d := math.Abs(px - (c.width+c.diagonal)/2); d > .2 || u < .015 || u > .03 {
			t.Errorf("%g mm on %g x %g: %.1f px ± %.2f %%, want the middle of %.1f and %.1f", c.mm, c.w, c.h, px, 100*u, c.width, c.diagonal)
		}
	}
}

// An adjustment that is not numbers refuses the photo.
func TestUnsolvedIsRefused(t *testing.T) {
	lens := plane.Lens{F: 2950, Cx: 2015.5, Cy: 1511.5}
	stack := plane.NewStack(true, 2.6, 337, 143)
	f := plane.Frame{Lens: lens, R: plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}, T: plane.Vec{0, 0, 1200}, Stack: stack}
	problem := func(y float64) *plane.Problem {
		p := &plane.Problem{Start: f, Card: plane.CardPlace{Y: -250, Z: 10}, CardOn: 9, Prior: plane.DefaultPrior(true), Known: plane.DefaultKnown(1000)}
		for i := range 54 {
			x, y := 25.4*float64(i%9-4), 25.4*(2.5-float64(i/9))
			u, v := f.Project(x, y-250, 12)
			p.Corners = append(p.Corners, plane.Corner{X: x, Y: y, U: u, V: v, Sigma: .05})
		}
		u0, v0 := f.Project(-300, 0, stack.At(0))
		u1, _ := f.Project(300, 0, stack.At(0))
		p.Lines = []plane.Line{{Kind: plane.Butt, Mate: -1, U: .3, Pts: [][2]float64{{u0, v0}, {u1, v0 + y}}}}
		return p
	}
	if r := unsolved(problem(0).Solve()); r != nil {
		t.Errorf("a butt of two points is refused: %s", r.Detail)
	}
	if r := unsolved(problem(math.NaN()).Solve()); r == nil || r.Reason != NoOpenCourse || r.Advice == "" {
		t.Errorf("a butt with no place in the picture: %+v, want a refusal", r)
	}
}

// seenFrom is the homography of a card (mm, y up) that is printed with a
// stretch along x, seen by a lens from a distance, tilted by degrees.
func seenFrom(l plane.Lens, stretched, degrees, distance, aside float64) [9]float64 {
	r := plane.Rodrigues(plane.Vec{degrees * math.Pi / 180, 0, 0})
	flip := plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}
	R := flip.Then(&r)
	var h [9]float64
	col := func(j int, v plane.Vec, k float64) {
		h[j], h[3+j], h[6+j] = k*(l.F*v[0]+l.Cx*v[2]), k*(l.F*v[1]+l.Cy*v[2]), k*v[2]
	}
	col(0, R.Mul(plane.Vec{1, 0, 0}), stretched)
	col(1, R.Mul(plane.Vec{0, 1, 0}), 1)
	col(2, plane.Vec{aside, 0, distance}, 1)
	return h
}

// TestUnevenSeen: the picture tells a stretched print, whatever the tilt, and
// takes no even one for it.
func TestUnevenSeen(t *testing.T) {
	l := plane.Lens{F: 2950, Cx: 2015.5, Cy: 1511.5}
	prior := plane.DefaultPrior(true)
	for _, c := range []struct {
		stretched, tilt float64
		refused         bool
	}{
		{1, 0, false}, {1, 25, false}, {1, 45, false}, {1.02, 10, false}, {.98, 30, false},
		{1.06, 0, true}, {.94, 0, true}, {1.07, 20, true}, {.92, 30, true},
	} {
		_, _, r := unevenSeen(seenFrom(l, c.stretched, c.tilt, 1200, 50), l, prior)
		if (r != nil) != c.refused {
			t.Errorf("stretched %.2f at %.0f degrees: %+v, want refused %v", c.stretched, c.tilt, r, c.refused)
		}
		if r != nil && !strings.HasPrefix(r.Advice, "if the photo was cropped") {
			t.Errorf("advice %q blames the print before the crop", r.Advice)
		}
		if got := stretch(seenFrom(l, c.stretched, c.tilt, 1200, 50), l); math.Abs(got-c.stretched) > 1e-9 {
			t.Errorf("stretched %.2f at %.0f degrees: %.4f", c.stretched, c.tilt, got)
		}
	}
}

// made is a pass over a picture of 4032 x 3024 px that shows the card through a
// lens, seen at 25 degrees.
func made(t *testing.T, l plane.Lens, f photo.Facts, k Known) (*pass, []plane.Corner) {
	t.Helper()
	pic := gocv.NewMatWithSize(3024, 4032, gocv.MatTypeCV8UC1)
	t.Cleanup(func() { pic.Close() })
	p := &pass{picture: &photo.Picture{Gray: pic, Facts: f}, o: Options{Known: k}, r: &Result{Card: &CardSight{}, Camera: Camera{Source: "none"}}}
	h := seenFrom(l, 1, 35, 700, 60)
	for id := range 54 {
		b := card.Corner{ID: id, BoardX: float64(id%9+1) * 25.4, BoardY: float64(id/9+1) * 25.4, U: .05}
		x, y := b.BoardX-127, 88.9-b.BoardY
		w := h[6]*x + h[7]*y + h[8]
		b.X, b.Y = (h[0]*x+h[1]*y+h[2])/w, (h[3]*x+h[4]*y+h[5])/w
		p.sight.Corners = append(p.sight.Corners, b)
	}
	return p, Print{ScaleX: 1, ScaleY: 1}.corners(p.sight)
}

// TestStartLens: the lens comes from the profile, else from the file, else
// from usual phones; what a zoomed file means is told by the card.
func TestStartLens(t *testing.T) {
	real := plane.Lens{F: 5900, Cx: 2015.5, Cy: 1511.5}
	cov := [5][5]float64{{1e-6}, {0, 1e-6}, {0, 0, 1e-5}, {0, 0, 0, 1}, {0, 0, 0, 0, 1}}
	learned, err := plane.NewLensPrior(real, cov)
	if err != nil {
		t.Fatal(err)
	}
	f35 := 2 * 5900.0 / (4032/36. + math.Hypot(4032, 3024)/math.Hypot(36, 24)) // with the zoom in it
	from27 := 27 * (4032/36. + math.Hypot(4032, 3024)/math.Hypot(36, 24)) / 2  // between the width and the diagonal
	for _, c := range []struct {
		name   string
		facts  photo.Facts
		known  Known
		source string
		f      float64
		checks int
	}{
		{"nothing known", photo.Facts{}, Known{}, "none", .73 * 4032, 0},
		{"from the file", photo.Facts{Focal35MM: 27}, Known{}, "exif", from27, 0},
		{"profile", photo.Facts{Focal35MM: 27}, Known{Lens: learned}, "profile", 5900, 0},
		{"zoom, written with it", photo.Facts{Focal35MM: f35, DigitalZoom: 2}, Known{}, "exif", 5900, 1},
		{"zoom, written without it", photo.Facts{Focal35MM: f35 / 2, DigitalZoom: 2}, Known{}, "exif", 5900, 1},
		{"zoom not used", photo.Facts{Focal35MM: 27, DigitalZoom: 1}, Known{}, "exif", from27, 0},
	} {
		p, corners := made(t, real, c.facts, c.known)
		l, prior := p.startLens(corners)
		if p.r.Camera.Source != c.source || math.Abs(l.F-c.f) > 1e-6*c.f || len(p.r.Checks) != c.checks {
			t.Errorf("%s: source %s, focal length %.1f px (want %.1f), checks %v", c.name, p.r.Camera.Source, l.F, c.f, p.r.Checks)
		}
		if (prior.Lens != nil) != (c.source == "profile") {
			t.Errorf("%s: prior %+v", c.name, prior)
		}
	}
}

// TestPrinted: the card file is asked by number; a card that is not in it
// counts at its nominal size, and that is told.
func TestPrinted(t *testing.T) {
	cards := map[int]Print{4: {ScaleX: 1.01, ScaleY: 1.005, U: .0005}}
	for number, proved := range map[int]bool{4: true, 5: false} {
		p, _ := made(t, plane.Lens{F: 2950, Cx: 2015.5, Cy: 1511.5}, photo.Facts{}, Known{Cards: cards})
		p.sight.Number = number
		q := p.printed()
		if p.r.Card.Proved != proved || (q.ScaleX == 1.01) != proved || (len(p.r.Checks) == 0) != proved {
			t.Errorf("card %d: %+v, proved %v, checks %v", number, q, p.r.Card.Proved, p.r.Checks)
		}
		if c := q.corners(p.sight)[0]; math.Abs(c.X+101.6*q.ScaleX) > 1e-9 || math.Abs(c.Y-63.5*q.ScaleY) > 1e-9 {
			t.Errorf("card %d: first corner at %.3f, %.3f mm", number, c.X, c.Y)
		}
	}
}
