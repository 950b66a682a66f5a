package card

import (
	"errors"
	"image"
	"image/color"
	"math"
	"slices"
	"strings"
	"testing"

	"gocv.io/x/gocv"
)

// errorsOf compares found corners with the truth of a drawn scene.
func errorsOf(s scene, corners []Corner) (rms, biasX, biasY, worst float64) {
	n := float64(len(corners))
	for _, c := range corners {
		p := s.truth([2]float64{c.BoardX, c.BoardY})
		dx, dy := c.X-p[0], c.Y-p[1]
		rms += (dx*dx + dy*dy) / 2 / n
		biasX, biasY = biasX+dx/n, biasY+dy/n
		worst = math.Max(worst, math.Hypot(dx, dy))
	}
	return math.Sqrt(rms), biasX, biasY, worst
}

func standardScene(scale, turn, tilt, toward float64) scene {
	return scene{width: 1000, height: 800, board: Standard, number: 13, blur: .9, grain: 4,
		h: view(Standard, 498.3, 401.7, scale, turn, tilt, toward)}
}

// The bar is ours: .05 px a coordinate, an eighth of what the plane needs.
func TestDrawnCards(t *testing.T) {
	Threads(1)
	bent := standardScene(2, 10, .05, 40)
	bent.bend = 3
	covered := standardScene(2, 200, .08, 70)
	covered.cover = &[4]float64{-20, -20, 88, 97}
	cropped := standardScene(2.4, 0, 0, 0)
	cropped.h = view(Standard, 830, 380, 2.4, 20, .05, 0)
	soft := standardScene(2.5, -50, .06, 10)
	soft.blur = 2
	for _, c := range []struct {
		name  string
		scene scene
		least int // corners
		most  int
		crop  bool
	}{
		{"square on", standardScene(2, 0, 0, 0), 54, 54, false},
		{"turned 37", standardScene(2, 37, .1, 20), 54, 54, false},
		{"turned 90", standardScene(2.2, 90, .05, 130), 54, 54, false},
		{"turned 151", standardScene(1.8, 151, .12, -60), 54, 54, false},
		{"upside down", standardScene(2, 180, .1, 90), 54, 54, false},
		{"turned 263", standardScene(2.4, 263, .07, 200), 54, 54, false},
		{"small", standardScene(1.1, 22, .03, 200), 54, 54, false},
		{"soft", soft, 54, 54, false},
		{"bent, or a lens", bent, 54, 54, false},
		{"partly covered", covered, 45, 45, false},
		{"partly out of the picture", cropped, 25, 50, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			sight, err := Find(c.scene.draw(t), c.scene.board)
			if err != nil {
				t.Fatal(err)
			}
			rms, bx, by, worst := errorsOf(c.scene, sight.Corners)
			t.Logf("%d markers, %d corners, rms %.3f px, bias %+.3f %+.3f px, worst %.3f px, residual %.3f px, U %.3f px, %d cropped",
				sight.Markers, len(sight.Corners), rms, bx, by, worst, sight.ResidualPx, sight.Corners[0].U, sight.Cropped)
			if sight.Number != 13 {
				t.Errorf("number %d, want 13", sight.Number)
			}
			if n := len(sight.Corners); n < c.least || n > c.most {
				t.Errorf("%d corners, want %d to %d", n, c.least, c.most)
			}
			if rms > .05 || math.Abs(bx) > .02 || math.Abs(by) > .02 || worst > .25 {
				t.Errorf("rms %.3f, bias %+.3f %+.3f, worst %.3f px; want at most .05, .02 and .25", rms, bx, by, worst)
			}
			if u := sight.Corners[0].U; rms > 2*u {
				t.Errorf("told uncertainty %.3f px, but the corners are off by %.3f", u, rms)
			}
			if (sight.Cropped > 0) != c.crop {
				t.Errorf("%d corners outside the picture", sight.Cropped)
			}
		})
	}
}

// A corner exactly between pixels 59 and 60 is at 59.5 when centres are integers.
func TestNoHalfPixel(t *testing.T) {
	Threads(1)
	s := scene{width: 760, height: 600, board: Standard, number: 2, h: [9]float64{60 / 25.4, 0, 59.5 - 60, 0, 60 / 25.4, 89.5 - 60, 0, 0, 1}}
	sight, err := Find(s.draw(t), Standard)
	if err != nil {
		t.Fatal(err)
	}
	if first := sight.Corners[0]; first.ID != 0 || math.Abs(first.X-59.5) > .01 || math.Abs(first.Y-89.5) > .01 {
		t.Errorf("corner %d at (%.3f, %.3f), want 0 at (59.5, 89.5)", first.ID, first.X, first.Y)
	}
	if math.Abs(sight.SquarePx-60) > .02 || math.Abs(sight.MinSquarePx-60) > .02 {
		t.Errorf("squares of %.3f and %.3f px, want 60", sight.SquarePx, sight.MinSquarePx)
	}
	for i, want := range [4][2]float64{{-.5, 29.5}, {599.5, 29.5}, {599.5, 449.5}, {-.5, 449.5}} {
		if distance(sight.Outline[i], want) > .05 {
			t.Errorf("outline %d at %v, want %v", i, sight.Outline[i], want)
		}
	}
}

// Half size is looked at first from 1600 px on: the answer stays in full pixels.
func TestLargePicture(t *testing.T) {
	Threads(1)
	s := scene{width: 1701, height: 1301, board: Standard, number: 27, blur: 1, grain: 3, h: view(Standard, 900, 600, 3, 63, .04, 15)}
	sight, err := Find(s.draw(t), Standard)
	if err != nil {
		t.Fatal(err)
	}
	rms, bx, by, _ := errorsOf(s, sight.Corners)
	if sight.Number != 27 || len(sight.Corners) != 54 || rms > .05 || math.Hypot(bx, by) > .02 {
		t.Errorf("number %d, %d corners, rms %.3f, bias %.3f %.3f px", sight.Number, len(sight.Corners), rms, bx, by)
	}
}

func TestRefusals(t *testing.T) {
	Threads(1)
	empty := scene{width: 640, height: 480, board: Standard, h: view(Standard, -4000, -4000, 1, 0, 0, 0)}
	beyond := standardScene(2, 15, .05, 0)
	beyond.number = 27 // the family that is asked for ends at 18
	strict := Standard
	strict.MaxNumber = 18
	little := standardScene(2, 5, 0, 0)
	little.cover = &[4]float64{88, -20, 300, 200}
	for _, c := range []struct {
		name  string
		scene scene
		board Board
		kind  error
		says  string
	}{
		{"no card", empty, Standard, ErrNone, "no card"},
		{"number over the last", beyond, strict, ErrOutside, "card number outside 0 to 18"},
		{"too little of it", little, Standard, ErrSpread, "too few corners"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Find(c.scene.draw(t), c.board)
			var unseen *Unseen
			if !errors.As(err, &unseen) || !errors.Is(err, c.kind) {
				t.Fatalf("error %v, want %v", err, c.kind)
			}
			if !strings.HasPrefix(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("error says %q, want one line that starts with %q", err, c.says)
			}
		})
	}
}

// A card cut off by the border so that two markers are left is told from one
// that lies inside with as little in sight, and from markers that do not agree.
func TestCutOff(t *testing.T) {
	Threads(1)
	cut := scene{width: 760, height: 600, board: Standard, number: 13, blur: .8, h: view(Standard, 760+138, 300, 2, 7, .04, 20)}
	inside := standardScene(2, 7, .04, 20)
	left := []int{leftMarker(1), leftMarker(3)} // two markers at the left side of the board
	for _, c := range []struct {
		name  string
		scene scene
		kind  error
	}{{"beyond the border", cut, ErrSpread}, {"covered", inside, ErrNone}} {
		t.Run(c.name, func(t *testing.T) {
			m := c.scene.draw(t)
			for i := range Standard.Markers() {
				if slices.Contains(left, i) {
					continue
				}
				q := seenAt(c.scene, i).Corners
				at := image.Pt(int(q[0][0]+q[2][0])/2, int(q[0][1]+q[2][1])/2)
				if err := gocv.Circle(&m, at, 22, color.RGBA{thing, thing, thing, 255}, -1); err != nil {
					t.Fatal(err)
				}
			}
			_, err := Find(m, Standard)
			var unseen *Unseen
			if !errors.As(err, &unseen) {
				t.Fatalf("error %v, want an *Unseen", err)
			}
			if unseen.Numbers[13] != CutMarkers {
				t.Fatalf("%d markers decoded; the scene is meant for %d", unseen.Numbers[13], CutMarkers)
			}
			if unseen.Kind != c.kind || (unseen.Sight.Cropped > 0) != (c.kind == ErrSpread) {
				t.Errorf("%v with %d corners outside, want %v", unseen.Kind, unseen.Sight.Cropped, c.kind)
			}
		})
	}
	pic := raster{width: 760, height: 600}
	markers := []Marker{seenAt(cut, left[0]), seenAt(cut, left[1])}
	if s := cutOff(pic, Standard, 13, markers); s.Cropped < 40 {
		t.Errorf("two markers that agree put %d corners outside", s.Cropped)
	}
	for i := range markers[1].Corners {
		markers[1].Corners[i][0] -= 60
	}
	if s := cutOff(pic, Standard, 13, markers); s.Cropped > 0 {
		t.Errorf("two markers that do not agree put %d corners outside", s.Cropped)
	}
}

// leftMarker is the marker in the first column and the given row of the board.
func leftMarker(row int) int {
	for i := range Standard.Markers() {
		if x, y := Standard.MarkerSquare(i); x == 0 && y == row {
			return i
		}
	}
	panic("no marker there")
}

// seenAt is marker i of a scene where it truly is.
func seenAt(s scene, i int) Marker {
	m := Marker{ID: s.number*s.board.IDStep + i}
	for k, c := range s.board.markerCorners(i) {
		m.Corners[k] = project(s.h, c)
	}
	return m
}

func TestTwoCards(t *testing.T) {
	Threads(1)
	a := scene{width: 1300, height: 600, board: Standard, number: 5, blur: .8, h: view(Standard, 320, 300, 2, 10, 0, 0)}
	b := a
	b.number, b.h = 10, view(Standard, 970, 300, 2, -8, 0, 0)
	left, right := a.draw(t), b.draw(t)
	pixels, err := left.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	other, err := right.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	for i := range pixels {
		if i%a.width >= a.width/2 {
			pixels[i] = other[i]
		}
	}
	_, err = Find(left, Standard)
	var unseen *Unseen
	if !errors.As(err, &unseen) || !errors.Is(err, ErrTwo) {
		t.Fatalf("error %v, want %v", err, ErrTwo)
	}
	if unseen.Numbers[5] < TwoMarkers || unseen.Numbers[10] < TwoMarkers {
		t.Errorf("markers by number %v, want 5 and 10", unseen.Numbers)
	}
}

func TestPicturesThatCannotBeWorkedWith(t *testing.T) {
	colour := gocv.NewMatWithSize(100, 100, gocv.MatTypeCV8UC3)
	defer colour.Close()
	wide := gocv.NewMatWithSize(100, 100, gocv.MatTypeCV32F)
	defer wide.Close()
	tiny := gocv.NewMatWithSize(1, 5, gocv.MatTypeCV8UC1)
	defer tiny.Close()
	none := gocv.NewMat()
	defer none.Close()
	for name, m := range map[string]gocv.Mat{"empty": none, "three channels": colour, "floats": wide, "tiny": tiny} {
		if _, err := Find(m, Standard); err == nil || !strings.HasPrefix(err.Error(), "card: ") {
			t.Errorf("%s: error %v", name, err)
		}
		if found, _ := White(m); found {
			t.Errorf("%s: a white sheet was found", name)
		}
		if b := Blur(m, Standard, Sight{}); b != 0 {
			t.Errorf("%s: blur %g", name, b)
		}
	}
}

func TestBoardsThatCannotBe(t *testing.T) {
	grey := gocv.NewMatWithSize(100, 100, gocv.MatTypeCV8UC1)
	defer grey.Close()
	for name, change := range map[string]func(*Board){
		"even rows":    func(b *Board) { b.Rows = 6 },
		"no square":    func(b *Board) { b.SquareMM = 0 },
		"marker ratio": func(b *Board) { b.MarkerRatio = 1.2 },
		"ids overlap":  func(b *Board) { b.IDStep = 34 },
		"dictionary":   func(b *Board) { b.Dictionary = 99 },
	} {
		b := Standard
		change(&b)
		if _, err := Find(grey, b); err == nil || !strings.HasPrefix(err.Error(), "card board: ") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := Pattern(Dict5x5x1000, 1000); err == nil {
		t.Error("marker 1000 of 1000: no error")
	}
}

// The softness that is told follows the one that was drawn; the sampled pixel
// adds its own width, 1/12 px squared, and the loss of the gamma is not drawn.
func TestBlur(t *testing.T) {
	Threads(1)
	for _, sigma := range []float64{.7, 1.2, 2, 3} {
		s := standardScene(2.8, 12, .03, 30)
		s.blur = sigma
		m := s.draw(t)
		sight, err := Find(m, Standard)
		if err != nil {
			t.Fatalf("sigma %g: %v", sigma, err)
		}
		want := math.Sqrt(sigma*sigma + 1./12)
		if got := Blur(m, Standard, sight); math.Abs(got-want) > .05*want {
			t.Errorf("blur %.3f px, want %.3f", got, want)
		}
	}
}

// A card too far away to decode is a white sheet of about its size with the rim;
// a bare roof has none.
func TestWhite(t *testing.T) {
	Threads(1)
	far := scene{width: 1200, height: 900, board: Standard, number: 4, blur: 1.2, grain: 6, h: view(Standard, 600, 450, .5, 25, 0, 0)}
	m := far.draw(t)
	if _, err := Find(m, Standard); !errors.Is(err, ErrNone) {
		t.Fatalf("a card with squares of 13 px: %v", err)
	}
	want := .5 * (7*25.4 + 24)
	if found, side := White(m); !found || math.Abs(side-want) > .12*want {
		t.Errorf("white sheet %v, short side %.0f px, want %.0f", found, side, want)
	}
	far.h = view(Standard, -4000, -4000, 1, 0, 0, 0)
	if found, side := White(far.draw(t)); found && side > 60 {
		t.Errorf("a white sheet of %.0f px on a bare roof", side)
	}
}

func BenchmarkFind(b *testing.B) {
	Threads(1)
	s := scene{width: 1701, height: 1301, board: Standard, number: 3, blur: 1, grain: 3, h: view(Standard, 900, 600, 3, 63, .04, 15)}
	m := s.draw(b)
	for b.Loop() {
		if _, err := Find(m, Standard); err != nil {
			b.Fatal(err)
		}
	}
}
