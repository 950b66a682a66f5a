package lens

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

// truth is a made camera: a usual phone's.
var truth = Intrinsics{F: 2950, Aspect: 1, Cx: 2030, Cy: 1495, K1: .03, K2: -.035, P1: .0005, P2: -.0004}

const wide, high = 4032, 3024

// scene draws views of a card: distance 450 to 750 mm, tilted up to tilt
// degrees to any side, at most spread of the way to the frame's border.
type scene struct {
	views                   int
	tilt, spread, noise, up float64
	bend                    float64 // mm, standard deviation
}

func (c scene) sights(seed uint64) []Sight {
	r := rand.New(rand.NewPCG(7, seed))
	var out []Sight
	for i := range c.views {
		p := Pose{Bend: [3]float64{c.bend * r.NormFloat64(), .2 * c.bend * r.NormFloat64(), .2 * c.bend * r.NormFloat64()}}
		a, b := r.Float64()*2*math.Pi, c.tilt*math.Pi/180*(.4+.6*r.Float64())
		tilt := plane.Rodrigues(plane.Vec{b * math.Cos(a), b * math.Sin(a), 0})
		roll := plane.Rodrigues(plane.Vec{0, 0, float64(r.IntN(4)) * math.Pi / 2 * c.up})
		face := plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}
		turned := face.Then(&roll)
		p.R = turned.Then(&tilt)
		z := 450 + 300*r.Float64()
		p.T = plane.Vec{c.spread * .5 * z * (2*r.Float64() - 1), c.spread * .36 * z * (2*r.Float64() - 1), z}
		out = append(out, Sight{Name: fmt.Sprintf("view-%02d.jpg", i+1), Width: wide, Height: high, SHA256: fmt.Sprint(seed, i),
			Facts: photo.Facts{Device: "Example Phone 1", FocalMM: 4.25, Focal35MM: 26, Orientation: 1}, View: shoot(r, p, c.noise)})
	}
	return out
}

// shoot is what the made camera sees of the board, with noise (px).
func shoot(r *rand.Rand, p Pose, noise float64) (v View) {
	for id := range 54 {
		x, y := (float64(id%9)-4)*25.4, (2.5-float64(id/9))*25.4
		u, w := truth.project(p.inCamera(x, y))
		if u > 20 && w > 20 && u < wide-20 && w < high-20 {
			v.Points = append(v.Points, Point{x, y, u + noise*r.NormFloat64(), w + noise*r.NormFloat64(), cornerU})
		}
	}
	return v
}

// seen leaves out views that hardly show the card.
func seen(s []Sight) (out []Sight) {
	for _, v := range s {
		if len(v.View.Points) >= fewCorners {
			out = append(out, v)
		}
	}
	return out
}

// TestLearnAgainstTruth: over several made sets the parameters lie within what
// is stated (normalised errors), and as near as a profile must be.
func TestLearnAgainstTruth(t *testing.T) {
	var z2 [6]float64
	const sets = 12
	for seed := range uint64(sets) {
		l, err := Learn(seen(scene{views: 14, tilt: 42, spread: .9, noise: .04, up: 1, bend: .7}.sights(seed)))
		if err != nil {
			t.Fatal(err)
		}
		p := l.Profile
		fu, _, k1u, k2u, p1u, p2u := p.U()
		cu := math.Sqrt(p.Covariance[covCx][covCx])
		for i, z := range []float64{(p.F/truth.F - 1) / fu, (p.Cx - truth.Cx) / cu, (p.K1 - truth.K1) / k1u, (p.K2 - truth.K2) / k2u, (p.P1 - truth.P1) / p1u, (p.P2 - truth.P2) / p2u} {
			z2[i] += z * z / sets
			if math.Abs(z) > 4 {
				t.Errorf("seed %d: parameter %d is %.1f standard uncertainties off", seed, i, z)
			}
		}
		if math.Abs(p.F/truth.F-1) > .003 || math.Hypot(p.Cx-truth.Cx, p.Cy-truth.Cy) > 3 {
			t.Errorf("seed %d: focal length %.1f, principal point %.1f, %.1f", seed, p.F, p.Cx, p.Cy)
		}
		if len(l.Dropped) > 0 || l.Fit.RMS > .08 {
			t.Errorf("seed %d: %d dropped, RMS %.3f", seed, len(l.Dropped), l.Fit.RMS)
		}
	}
	for i, v := range z2 { // mean squares of 12 values about 1: chi-square, 99.9 % below 2.75
		if v > 2.75 {
			t.Errorf("parameter %d: mean square normalised error %.2f, about 1 is right", i, v)
		}
	}
}

// TestLearnWarns: views that cannot tell are said to.
func TestLearnWarns(t *testing.T) {
	for _, c := range []struct {
		name  string
		scene scene
		says  string
	}{
		{"few", scene{views: 5, tilt: 40, spread: .8, noise: .04, up: 1}, "only 5 views"},
		{"frontal", scene{views: 12, tilt: 4, spread: .8, noise: .04, up: 1}, "tilted by 15 degrees"},
		{"middle", scene{views: 12, tilt: 40, spread: .05, noise: .04, up: 1}, "bring the card to every edge"},
		{"frontal, focal length", scene{views: 12, tilt: 3, spread: .3, noise: .3, up: 0}, "focal length is known"},
	} {
		l, err := Learn(seen(c.scene.sights(3)))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !strings.Contains(strings.Join(l.Profile.Warnings, "\n"), c.says) {
			t.Errorf("%s: %q, want %q", c.name, l.Profile.Warnings, c.says)
		}
	}
	l, err := Learn(seen(scene{views: 30, tilt: 42, spread: 1, noise: .04, up: 1, bend: .5}.sights(5)))
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Profile.Warnings) > 0 {
		t.Errorf("a good set is warned about: %q", l.Profile.Warnings)
	}
}

func TestLearnDropsWithReason(t *testing.T) {
	s := seen(scene{views: 14, tilt: 42, spread: .9, noise: .04, up: 1, bend: .5}.sights(2))
	// a card that was bent far, one whose corners moved, one photo twice
	r := rand.New(rand.NewPCG(1, 1))
	bent := s[2]
	bent.View.Points = nil
	l, err := Learn(s)
	if err != nil {
		t.Fatal(err)
	}
	pose := l.Fit.Poses[2]
	pose.Bend = [3]float64{14, 0, 0}
	bent.View = shoot(r, pose, .04)
	s[2] = bent
	for k := range s[5].View.Points {
		s[5].View.Points[k].U += 6 * r.NormFloat64()
	}
	s = append(s, s[0])
	blurred := s[1]
	blurred.Why, blurred.SHA256 = "blurred", "other"
	s = append(s, blurred)
	l, err = Learn(s)
	if err != nil {
		t.Fatal(err)
	}
	why := map[string]string{}
	for _, d := range l.Dropped {
		why[d.SHA256+" "+d.Name] += d.Why + ";"
	}
	for key, says := range map[string]string{
		"2 2 view-03.jpg": "bent by", "2 5 view-06.jpg": "its corners fit to", "2 0 view-01.jpg": "the same photo as", "other view-02.jpg": "blurred",
	} {
		if !strings.Contains(why[key], says) {
			t.Errorf("%s: %q, want %q", key, why[key], says)
		}
	}
	if len(l.Dropped) != 4 {
		t.Errorf("%d dropped, want 4: %v", len(l.Dropped), why)
	}
}

func TestLearnRefuses(t *testing.T) {
	good := seen(scene{views: 12, tilt: 42, spread: .9, noise: .04, up: 1}.sights(4))
	change := func(f func(s *Sight)) []Sight {
		out := append([]Sight(nil), good...)
		f(&out[3])
		return out
	}
	for _, c := range []struct {
		s    []Sight
		says string
	}{
		{change(func(s *Sight) { s.Facts.Device = "Example Phone 2" }), "photos of 2 devices: Example Phone 1"},
		{change(func(s *Sight) { s.Facts.FocalMM = 2.1 }), "2 lenses"},
		{change(func(s *Sight) { s.Width, s.Height = high, wide }), "2 picture sizes"},
	} {
		var mixed *Mixed
		if _, err := Learn(c.s); !errors.As(err, &mixed) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
	var few *TooFew
	if _, err := Learn(good[:3]); !errors.As(err, &few) || few.Views != 3 {
		t.Errorf("three views: %v", err)
	}
	if _, err := Learn(nil); !errors.As(err, &few) {
		t.Errorf("no views: %v", err)
	}
}

// TestCoverage: the picture shows a mark for each corner and hatches the empty cells.
func TestCoverage(t *testing.T) {
	l, err := Learn(seen(scene{views: 12, tilt: 42, spread: .2, noise: .04, up: 1}.sights(6)))
	if err != nil {
		t.Fatal(err)
	}
	svg := string(l.CoverageSVG())
	n := 0
	for _, s := range l.Used {
		n += len(s.View.Points)
	}
	if got := strings.Count(svg, "<path transform"); got != n {
		t.Errorf("%d marks for %d corners", got, n)
	}
	empty := 0
	for _, row := range l.Cells {
		for _, c := range row {
			if c == 0 {
				empty++
			}
		}
	}
	if got := strings.Count(svg, `fill="url(#none)"`); got != empty || empty == 0 {
		t.Errorf("%d cells hatched, %d are empty", got, empty)
	}
}
