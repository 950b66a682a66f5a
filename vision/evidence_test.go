package vision

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// TestEvidence writes, for testdata/scenes/fit_limits.py, what each photo of a folder of
// photos with truth holds for and against each hypothesis of where the joints below lie.
//
//	COURSEGAUGE_EVIDENCE=PHOTOS COURSEGAUGE_EVIDENCE_OUT=FILE go test ./vision -run TestEvidence
func TestEvidence(t *testing.T) {
	root, out := os.Getenv("COURSEGAUGE_EVIDENCE"), os.Getenv("COURSEGAUGE_EVIDENCE_OUT")
	if root == "" {
		t.Skip("COURSEGAUGE_EVIDENCE names no folder of photos")
	}
	type truth struct {
		Measurable bool
		Schedule   struct {
			Family                       string
			Width, Height, Exposure, Ply float64
			Band                         [2]float64
		}
	}
	type hypothesis struct {
		Wide   float64      `json:"wide"`
		Steps  float64      `json:"steps"`
		Looks  []float64    `json:"looks"`
		Joints [][2]float64 `json:"joints"` // px in the picture
	}
	type drive struct {
		Px    [2]float64 `json:"px"`
		Drive [4]float64 `json:"drive"` // as the network has them
	}
	type line struct {
		Photo      string       `json:"photo"`
		Tab        bool         `json:"tab"`
		Scale      float64      `json:"scale"`
		Hypotheses []hypothesis `json:"ways"`
		Drives     []drive      `json:"drives"`
	}
	f, err := os.Create(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	enc := json.NewEncoder(f)
	names, _ := filepath.Glob(filepath.Join(root, "*", "*.truth.json"))
	if len(names) == 0 {
		t.Fatalf("no photos with truth in %s", root)
	}
	for _, name := range names {
		var tr truth
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &tr); err != nil {
			t.Fatal(err)
		}
		if !tr.Measurable {
			continue
		}
		path := strings.TrimSuffix(name, ".truth.json") + ".jpg"
		if b, err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
		picture, err := photo.Decode(b, photo.Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := tr.Schedule
		fam := ThreeTab
		if s.Family == "laminated" {
			fam = Laminated
		}
		o := Options{Product: Product{Family: fam, Width: length.MM(s.Width), Height: length.MM(s.Height), Exposure: length.MM(s.Exposure), Ply: length.MM(s.Ply), BandLow: length.MM(s.Band[0]), BandHigh: length.MM(s.Band[1])}}
		var l line
		r, err := inspect(context.Background(), picture, o, func(p *pass) {
			g := &p.solution.Frame
			l = line{Photo: path, Tab: fam != Laminated, Scale: p.r.ScalePxPerMM}
			for _, w := range p.sketch.Lower {
				q := hypothesis{Wide: w.Wide, Steps: w.Steps, Looks: w.Looks}
				for _, j := range w.Joints {
					u, v := g.Project(p.onCourse(j.X, -1), -g.Stack.Exposure/2, g.Stack.At(g.Stack.Exposure/2))
					q.Joints = append(q.Joints, [2]float64{u, v})
				}
				l.Hypotheses = append(l.Hypotheses, q)
			}
			for _, h := range p.found {
				l.Drives = append(l.Drives, drive{[2]float64{h.U, h.V}, h.Drive})
			}
		})
		picture.Close()
		if err != nil {
			t.Fatal(err)
		}
		if r.Refusal == nil {
			if err := enc.Encode(l); err != nil {
				t.Fatal(err)
			}
		}
	}
}
