package plane

import (
	"math"
	"math/rand/v2"
	"testing"
)

// lookingAt is a camera whose middle shows a point of the roof from the given
// distance, tilted by ax and ay and turned by az (rad) against straight above.
func lookingAt(l Lens, at Vec, distance, ax, ay, az float64, s Stack) Frame {
	down := Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}
	tilt := Rodrigues(Vec{ax, ay, az})
	f := Frame{Lens: l, R: down.Then(&tilt), Stack: s}
	f.T = Vec{0, 0, distance}.Sub(f.R.Mul(at))
	return f
}

func laminated() Stack { return NewStack(true, 2.6, 337, 143) }

func TestFrameFromAbove(t *testing.T) {
	// 1000 mm straight above the origin with 2000 px of focal length: 2 px a
	// millimetre, x to the right, y up the slope and so up the picture
	f := lookingAt(Lens{F: 2000, Cx: 100, Cy: 50}, Vec{}, 1000, 0, 0, 0, laminated())
	if u, v := f.Project(10, 5, 0); math.Hypot(u-120, v-40) > 1e-9 {
		t.Errorf("(10, 5, 0) mm lies at (%g, %g) px, want (120, 40)", u, v)
	}
	if c := f.Centre(); norm(c.Sub(Vec{0, 0, 1000})) > 1e-9 {
		t.Errorf("the camera is at %v, want 1000 mm over the origin", c)
	}
	if s := f.ScaleAt(0, 0, 0); math.Abs(s-2) > 1e-9 {
		t.Errorf("%g px a millimetre, want 2", s)
	}
	// 100 mm to the side at a height of 1000: tangent 0.1, towards the camera
	if tx, ty := f.Sight(100, 0, 0); math.Abs(tx+.1) > 1e-12 || ty != 0 {
		t.Errorf("line of sight (%g, %g), want (-0.1, 0)", tx, ty)
	}
}

// A point of a course's surface, projected and laid back, must return.
func TestOnSurfaceIsTheInverseOfProject(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for _, s := range []Stack{laminated(), NewStack(false, 2.5, 305, 127)} {
		for range 500 {
			f := lookingAt(Lens{F: 3000, Cx: 2015.5, Cy: 1511.5, K1: .02}, Vec{50, 60, 5}, 1250, .45*(2*r.Float64()-1), .45*(2*r.Float64()-1), r.Float64(), s)
			course := -r.IntN(3)
			x, y, rise := 1200*r.Float64()-600, s.Height*r.Float64(), r.Float64()
			u, v := f.Project(x, y+float64(course)*s.Exposure, s.At(y)+rise)
			gx, gy := f.OnSurface(u, v, course, rise)
			// four rounds on slopes of up to 2.6 mm in 45 and 38, seen at up to 45 degrees
			if d := math.Hypot(gx-x, gy-y-float64(course)*s.Exposure); d > .01 {
				t.Fatalf("course %d, (%.1f, %.1f) mm comes back %.4f mm off", course, x, y, d)
			}
			if px, py := f.OnPlane(u, v, s.At(y)+rise); math.Hypot(px-x, py-y-float64(course)*s.Exposure) > 1e-6 {
				t.Fatalf("on its own height (%.1f, %.1f) comes back as (%.6f, %.6f)", x, y, px, py)
			}
		}
	}
}

// A point 5 mm over the plane, seen 25 degrees off the normal, moves by
// 5 tan 25° = 2.33 mm.
func TestHeightMovesAPoint(t *testing.T) {
	a := 25 * math.Pi / 180
	f := lookingAt(Lens{F: 3000, Cx: 2000, Cy: 1500}, Vec{}, 1200, 0, a, 0, laminated())
	u, v := f.Project(0, 0, 5)
	x, y := f.OnPlane(u, v, 0)
	if d := math.Hypot(x, y); math.Abs(d-5*math.Tan(a)) > .02 {
		t.Errorf("moves by %.3f mm, want %.3f", d, 5*math.Tan(a))
	}
}

func TestStackHeights(t *testing.T) {
	// laminated 337 x 143 mm, ply 2.6 mm. At the butt lie two plies of the piece,
	// two of the course below (its second ends 181 mm up, 38 over this butt) and
	// one of the second below (ends 51 mm up); in the nailing area two of the
	// piece and one of the course below (ends 194 mm up); at the top edge one.
	s := laminated()
	for _, c := range []struct{ y, want float64 }{
		{-3, 5 * 2.6}, {0, 5 * 2.6}, {38, 5 * 2.6}, {51 + 22.5, (2 + 1 + .5 + (38+45-73.5)/45) * 2.6}, {100, 3 * 2.6}, {143, 3 * 2.6},
		{181, 2.5 * 2.6}, {194 + 22.5, 1.5 * 2.6}, {240, 2.6}, {337, 2.6},
	} {
		if z := s.At(c.y); math.Abs(z-c.want) > 1e-9 {
			t.Errorf("laminated, %g mm above the butt: %.4f mm high, want %.4f", c.y, z, c.want)
		}
	}
	s.Sag = 1 // a parabola over 337 mm
	if z := s.At(.4 * 337); math.Abs(z-(3*2.6-.96)) > 1e-9 {
		t.Errorf("hanging through by 1 mm, at .4 of its height: %.4f mm high, want .96 mm less than 7.8", z)
	}
	// three-tab 305 x 127 mm: its own ply on two at the butt (they end 178 and 51
	// mm up), on one in the nailing area
	three := NewStack(false, 2.5, 305, 127)
	for _, c := range []struct{ y, want float64 }{{0, 7.5}, {51 + 45, 5}, {145, 5}, {178 + 45, 2.5}} {
		if z := three.At(c.y); math.Abs(z-c.want) > 1e-9 {
			t.Errorf("three-tab, %g mm above the butt: %.4f mm high, want %.4f", c.y, z, c.want)
		}
	}
	// where the second ply ends is not told: half the plies' variance at the usual place
	for _, c := range []struct{ y, want float64 }{{140, .5}, {181, math.Hypot(1.3, .5)}, {143 + 57.1, .5}} {
		if u := (&Stack{Ply: 2.6, Thick: 1, Plies: 2, Exposure: 143}).LocalU(c.y); math.Abs(u-c.want) > 1e-9 {
			t.Errorf("%g mm above the butt a place is told to %.3f mm, want %.3f", c.y, u, c.want)
		}
	}
	if u := three.LocalU(165); u != .5 {
		t.Errorf("one ply has no step, yet a place is told to %.3f mm", u)
	}
}

// The pose of a card on a synthetic roof must come back from its homography,
// and with it the camera over the roof.
func TestPoseAndFrameFromACard(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	l := Lens{F: 2900, Cx: 2015.5, Cy: 1511.5} // PoseFrom holds for a lens without distortion
	for range 200 {
		at := CardPlace{Turn: 2 * math.Pi * r.Float64(), Y: 600*r.Float64() - 300, Z: 12 * r.Float64()}
		f := lookingAt(l, Vec{80*r.NormFloat64() + 40, 100 * r.NormFloat64(), 5}, 900+900*r.Float64(), .6*(2*r.Float64()-1), .6*(2*r.Float64()-1), 6*r.Float64(), laminated())
		var q [nParams]float64
		q[iCardTurn], q[iCardY], q[iCardZ] = at.Turn, at.Y, at.Z
		h, err := FitHomography(cornersOn(&f, &q, func() float64 { return 0 }))
		if err != nil {
			t.Fatal(err)
		}
		pose := PoseFrom(h.H, l)
		got := FrameFrom(pose, l, at, laminated())
		if d := norm(got.T.Sub(f.T)); d > 1e-3 {
			t.Fatalf("the camera's shift is %.4f mm off", d)
		}
		for i := range 9 {
			if math.Abs(got.R[i]-f.R[i]) > 1e-6 {
				t.Fatalf("rotation %v, want %v", got.R, f.R)
			}
		}
		// the tilt is the angle at the card between its normal and the camera
		x, y, z := onRoof(&q)(0, 0)
		c := f.Centre().Sub(Vec{x, y, z})
		want := math.Acos(c[2]/norm(c)) * 180 / math.Pi
		if d := math.Abs(pose.TiltDeg() - want); d > 1e-3 {
			t.Fatalf("tilt %.3f degrees, want %.3f", pose.TiltDeg(), want)
		}
	}
}

func TestFootprintHoldsWhatThePictureShows(t *testing.T) {
	f := lookingAt(Lens{F: 2000, Cx: 999.5, Cy: 499.5}, Vec{}, 1000, 0, 0, 0, laminated())
	x0, x1, y0, y1 := f.Footprint(2000, 1000, 0, 1500)
	for _, c := range []struct{ got, want float64 }{{x0, -499.75}, {x1, 499.75}, {y0, -249.75}, {y1, 249.75}} {
		if math.Abs(c.got-c.want) > 1e-6 {
			t.Errorf("footprint x %.2f to %.2f, y %.2f to %.2f; want ±499.75, ±249.75", x0, x1, y0, y1)
			break
		}
	}
	// tilted so that its upper rim looks over the roof: kept to the reach
	f = lookingAt(Lens{F: 2000, Cx: 999.5, Cy: 999.5}, Vec{}, 1000, 1.2, 0, 0, laminated())
	x0, x1, y0, y1 = f.Footprint(2000, 2000, 0, 1500)
	if x0 < -1500 || x1 > 1500 || y0 < -1500 || y1 > 1500 {
		t.Errorf("footprint x %.0f to %.0f, y %.0f to %.0f leaves the reach of 1500 mm", x0, x1, y0, y1)
	}
}
