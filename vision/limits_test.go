package vision

import (
	"context"
	"encoding/json"
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo"
)

// worst is the standard uncertainty, mm, of a head's height above the butt up to
// which a photo is worth measuring: a measurement capability index T/(4u) of 4
// (JCGM 106:2012, 7.6.3) for the narrower of the two bands, 20 mm.
const worst = 20.0 / (4 * 4)

// At the limits of blur and of scale, photos of testdata are still measured, to
// less than the worst and as well as they say; beyond the limit they are refused.
func TestLimitsKeepTheUncertainty(t *testing.T) {
	if testing.Short() {
		t.Skip("measures several photos")
	}
	blur := func(sd float64) func(m, out *gocv.Mat) (float64, error) {
		return func(m, out *gocv.Mat) (float64, error) {
			return 1, gocv.GaussianBlur(*m, out, image.Point{}, sd, sd, gocv.BorderReplicate)
		}
	}
	shrink := func(k float64) func(m, out *gocv.Mat) (float64, error) {
		return func(m, out *gocv.Mat) (float64, error) {
			return k, gocv.Resize(*m, out, image.Pt(int(float64(m.Cols())*k+.5), int(float64(m.Rows())*k+.5)), 0, 0, gocv.InterpolationArea)
		}
	}
	for _, c := range []struct {
		name, file string
		make       func(m, out *gocv.Mat) (float64, error)
		refused    Reason // "" for none
	}{
		{"edges 3.1 px soft", "laminated-metric/roof-002", blur(3), ""},
		{"edges 4.1 px soft", "laminated-metric/roof-002", blur(4), Blurred},
		{"squares of 15 px", "laminated-metric/roof-002", shrink(.2), ""},
		{"squares of 9.5 px", "laminated-metric/roof-002", shrink(.13), Far},
		{"squares of 13 px", "laminated-metric/roof-004", shrink(.35), ""},
		{"two cards at half size", "threetab-inch/roof-031", shrink(.5), TwoCards},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, k := inspectChanged(t, c.file, c.make)
			if r.Refusal != nil || c.refused != "" {
				if r.Refusal == nil || r.Refusal.Reason != c.refused {
					t.Errorf("refusal %+v, want %q", r.Refusal, c.refused)
				}
				return
			}
			told, off, n := heightsAgainst(t, c.file, r, k)
			t.Logf("%d heads: told to %.2f mm, off by %.2f mm rms", n, told, off)
			if n < 4 || told > worst {
				t.Errorf("%d heads told to %.2f mm; 4 at least and %.2f mm at most", n, told, worst)
			}
			if off > 2*told {
				t.Errorf("heads are off by %.2f mm rms, told to %.2f mm", off, told)
			}
		})
	}
}

// inspectChanged measures a photo of testdata after make has changed it; k is
// how many times smaller it became.
func inspectChanged(t *testing.T, file string, make func(m, out *gocv.Mat) (float64, error)) (*Result, float64) {
	t.Helper()
	bytes, err := os.ReadFile(filepath.Join("..", "testdata", "photos", file+".jpg"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Decode(bytes, photo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	out := gocv.NewMat()
	defer out.Close()
	m, err := p.BGR()
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	k, err := make(&m, &out)
	if err != nil {
		t.Fatal(err)
	}
	changed, err := photo.Of(out)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = changed.Close() }()
	changed.Facts = p.Facts
	for _, s := range shelfPhotos {
		if strings.HasPrefix(file, s.folder) {
			r, err := Inspect(context.Background(), changed, Options{Product: s.product})
			if err != nil {
				t.Fatal(err)
			}
			return r, k
		}
	}
	t.Fatalf("no product for %s", file)
	return nil, 0
}

// heightsAgainst compares heights above the butt with the truth beside a photo.
func heightsAgainst(t *testing.T, file string, r *Result, k float64) (told, off float64, n int) {
	t.Helper()
	bytes, err := os.ReadFile(filepath.Join("..", "testdata", "photos", file+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Fasteners []struct {
			Px      [2]float64 `json:"px"`
			Above   float64    `json:"above_butt_mm"`
			Exposed bool       `json:"exposed"`
		} `json:"fasteners"`
	}
	if err := json.Unmarshal(bytes, &truth); err != nil {
		t.Fatal(err)
	}
	for _, h := range r.Fasteners {
		for _, q := range truth.Fasteners {
			u, v := (q.Px[0]+.5)*k-.5, (q.Px[1]+.5)*k-.5
			if h.AboveButt == nil || q.Exposed || math.Hypot(h.Px.X-u, h.Px.Y-v) > h.RadiusPx {
				continue
			}
			e := float64(h.AboveButt.Value()) - q.Above
			told, off, n = told+float64(h.AboveButt.U()*h.AboveButt.U()), off+e*e, n+1
		}
	}
	return math.Sqrt(told / float64(max(n, 1))), math.Sqrt(off / float64(max(n, 1))), n
}
