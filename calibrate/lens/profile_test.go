package lens

import (
	"math"
	"strings"
	"testing"

	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

func made(t testing.TB) Profile {
	t.Helper()
	l, err := Learn(seen(scene{views: 14, tilt: 42, spread: .9, noise: .04, up: 1, bend: .5}.sights(1)))
	if err != nil {
		t.Fatal(err)
	}
	return l.Profile
}

func TestProfileRoundTrip(t *testing.T) {
	p := made(t)
	b, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	q, err := Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	if q.F != p.F || q.Covariance != p.Covariance || q.Device != p.Device || len(q.Views) != len(p.Views) {
		t.Errorf("%+v\n%+v", p, q)
	}
	if got := p.FileName(); got != "example-phone-1_4.25mm_4032x3024.camera.json" {
		t.Error(got)
	}
}

// upright turns a stored pixel upright, written out from the standard's table
// and not from the code under test.
func upright(orientation int, w, h, x, y float64) (u, v float64) {
	switch orientation {
	case 3:
		return w - 1 - x, h - 1 - y
	case 6:
		return h - 1 - y, x
	case 8:
		return y, w - 1 - x
	}
	return x, y
}

// TestUpright: a ray that the stored picture shows at a pixel is shown at the
// turned pixel by the turned lens, distortion included.
func TestUpright(t *testing.T) {
	p := made(t)
	p.P1, p.P2, p.Cx = .004, -.007, p.Cx+40 // so that a wrong turn shows
	in := Intrinsics{F: p.F, Aspect: 1, Cx: p.Cx, Cy: p.Cy, K1: p.K1, K2: p.K2, P1: p.P1, P2: p.P2}
	turns := map[int]plane.Rot{1: {1, 0, 0, 0, 1, 0, 0, 0, 1}, 3: {-1, 0, 0, 0, -1, 0, 0, 0, 1}, 6: {0, -1, 0, 1, 0, 0, 0, 0, 1}, 8: {0, 1, 0, -1, 0, 0, 0, 0, 1}}
	for o, turn := range turns {
		prior, err := p.Upright(o)
		if err != nil {
			t.Fatal(err)
		}
		l := prior.Lens()
		for _, ray := range []plane.Vec{{.3, .2, 1}, {-.5, .4, 1}, {.1, -.35, 1}} {
			x, y := in.project(ray)
			wu, wv := upright(o, wide, high, x, y)
			u, v := l.Project(turn.Mul(ray))
			if math.Hypot(u-wu, v-wv) > 1e-6 {
				t.Errorf("orientation %d: %.3f %.3f, want %.3f %.3f", o, u, v, wu, wv)
			}
			if su, sv := stored(o, wide, high, wu, wv); math.Hypot(su-x, sv-y) > 1e-9 {
				t.Errorf("orientation %d: back to %.3f %.3f, want %.3f %.3f", o, su, sv, x, y)
			}
		}
		u := prior.U()
		cx, cy := math.Sqrt(p.Covariance[covCx][covCx]), math.Sqrt(p.Covariance[covCy][covCy])
		if o == 6 || o == 8 {
			cx, cy = cy, cx
		}
		if math.Abs(u[3]-cx) > 1e-12 || math.Abs(u[4]-cy) > 1e-12 {
			t.Errorf("orientation %d: centre known to %v, want %v %v", o, u[3:], cx, cy)
		}
	}
}

// TestFits: a profile is used for its own phone, lens and size, as the phone
// made the file, and for nothing else.
func TestFits(t *testing.T) {
	p := made(t)
	own := photo.Facts{Device: "Example Phone 1", FocalMM: 4.25, Focal35MM: 26, Orientation: 6, SensorW: wide, SensorH: high}
	for _, c := range []struct {
		name   string
		change func(f *photo.Facts, w, h *int)
		says   string
	}{
		{"its own", func(*photo.Facts, *int, *int) {}, ""},
		{"no size in the file's tags", func(f *photo.Facts, _, _ *int) { f.SensorW, f.SensorH = 0, 0 }, ""},
		{"zoom written but not used", func(f *photo.Facts, _, _ *int) { f.DigitalZoom = 1 }, ""},
		{"digital zoom", func(f *photo.Facts, _, _ *int) { f.DigitalZoom = 2 }, "digital zoom 2.0"},
		{"other device", func(f *photo.Facts, _, _ *int) { f.Device = "Example Phone 2" }, "another device"},
		{"no device, as from a messenger", func(f *photo.Facts, _, _ *int) { *f = photo.Facts{Orientation: 1} }, "does not name the phone"},
		{"other lens", func(f *photo.Facts, _, _ *int) { f.FocalMM, f.Focal35MM = 2.2, 13 }, "another lens"},
		{"same lens, cropped by the camera", func(f *photo.Facts, _, _ *int) { f.Focal35MM = 52 }, "another lens"},
		{"cropped", func(_ *photo.Facts, w, h *int) { *w, *h = 3000, 3000 }, "cropped or saved anew"},
		{"scaled, tags rewritten", func(f *photo.Facts, w, h *int) { *w, *h, f.SensorW, f.SensorH = 2016, 1512, 2016, 1512 }, "4032 x 3024"},
		{"turned by a program", func(f *photo.Facts, w, h *int) { *w, *h = high, wide }, "cropped or saved anew"},
		{"mirrored", func(f *photo.Facts, _, _ *int) { f.Orientation = 5 }, "mirrored"},
	} {
		f, w, h := own, wide, high
		c.change(&f, &w, &h)
		ok, why := p.Fits(f, w, h)
		if ok != (c.says == "") || !strings.Contains(why, c.says) {
			t.Errorf("%s: %v %q, want %q", c.name, ok, why, c.says)
		}
		at, why := Choose([]Profile{{Device: "Example Phone 9", Width: wide, Height: high}, p}, f, w, h)
		if (at == 1) != (c.says == "") || at == 0 || at < 0 && why == "" {
			t.Errorf("%s: chose %d, %q", c.name, at, why)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	b, err := made(t).Encode()
	if err != nil {
		t.Fatal(err)
	}
	good := string(b)
	for _, c := range []struct{ old, new, says string }{
		{Format, "other/1", "format"}, {`"device": "Example Phone 1"`, `"device": ""`, "without a device"}, {`"width": 4032`, `"width": 4`, "px a side"},
		{`"k1":`, `"k1": 5e3, "k9":`, "unknown field"}, {`"k1": `, `"k1": 70`, "k1 is"}, {`"focal_px": `, `"focal_px": -`, "focal_px"}, {good, "", "no camera profile"},
		{`"covariance": [`, `"covariance": [[], [],`, "positive definite"},
	} {
		if _, err := Parse([]byte(strings.Replace(good, c.old, c.new, 1))); err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q for %.40q: %v, want %q", c.new, c.old, err, c.says)
		}
	}
}

func FuzzParse(f *testing.F) {
	b, err := made(f).Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"format":"coursegauge-camera/1"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse(data)
		if err != nil {
			return
		}
		for _, o := range []int{1, 3, 6, 8} {
			if _, err := p.Upright(o); err != nil {
				t.Errorf("orientation %d: %v", o, err)
			}
		}
		if strings.ContainsAny(p.FileName(), "/\\\x00") {
			t.Errorf("file name %q", p.FileName())
		}
	})
}
