package card

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"
)

const realDir = "../../testdata/reference/charuco-real"

// Boards of the photographs in realDir, see the README there. The numbers of
// the dictionaries are OpenCV's.
var (
	board5x7  = Board{Cols: 5, Rows: 7, SquareMM: 40, MarkerRatio: .5, Dictionary: 10, IDStep: 17}
	board12x9 = Board{Cols: 12, Rows: 9, SquareMM: 60, MarkerRatio: .75, Dictionary: 5, IDStep: 54}
)

func realPhoto(t *testing.T, file string) gocv.Mat {
	t.Helper()
	m := gocv.IMRead(filepath.Join(realDir, file), gocv.IMReadGrayScale|gocv.IMReadIgnoreOrientation)
	if m.Empty() {
		t.Fatalf("%s: cannot read it", file)
	}
	t.Cleanup(func() { m.Close() })
	return m
}

// otherOpinion gives the corners that OpenCV's own interpolation found, by id,
// in pixels whose centres are integers: interpolateCornersCharuco answers from
// the outer corner of the first pixel, (0.5, 0.5) more. That our convention is
// the one of pixel centres is shown by TestNoHalfPixel.
func otherOpinion(t *testing.T, file string) map[int][2]float64 {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(realDir, "detections.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Images []struct {
			File    string
			Corners struct {
				IDs []int
				XY  [][2]float64
			} `json:"charuco_corners"`
		}
	}
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	for _, i := range all.Images {
		if i.File == file {
			out := map[int][2]float64{}
			for k, id := range i.Corners.IDs {
				out[id] = [2]float64{i.Corners.XY[k][0] - .5, i.Corners.XY[k][1] - .5}
			}
			return out
		}
	}
	t.Fatalf("%s is not in detections.json", file)
	return nil
}

func TestRealPhotographs(t *testing.T) {
	Threads(1)
	for _, c := range []struct {
		file  string
		board Board
		least int // corners found by both
	}{
		{"charuco-img_00.jpg", board5x7, 22},
		{"charuco-img_01.jpg", board5x7, 22},
		{"charuco-img_02.jpg", board5x7, 20},
		{"charuco-img_03.jpg", board5x7, 22},
		{"charuco-occluded.png", board5x7, 15},
		{"charuco-outdoor-12x9.jpg", board12x9, 88},
	} {
		t.Run(c.file, func(t *testing.T) {
			sight, err := Find(realPhoto(t, c.file), c.board)
			if err != nil {
				t.Fatal(err)
			}
			other := otherOpinion(t, c.file)
			both, worst := 0, 0.0
			var mean [2]float64
			for _, p := range sight.Corners {
				q, ok := other[p.ID]
				if !ok {
					continue
				}
				both++
				mean[0], mean[1] = mean[0]+p.X-q[0], mean[1]+p.Y-q[1]
				if d := math.Hypot(p.X-q[0], p.Y-q[1]); d > worst {
					worst = d
				}
			}
			t.Logf("%d corners, %d of both, worst %.2f px, mean %.3f %.3f px, residual %.2f px, U %.2f px, square %.0f px",
				len(sight.Corners), both, worst, mean[0]/float64(both), mean[1]/float64(both), sight.ResidualPx, sight.Corners[0].U, sight.SquarePx)
			if both < c.least {
				t.Errorf("%d corners were found by both detectors, want %d", both, c.least)
			}
			if worst > .5 {
				t.Errorf("corners differ by up to %.2f px, want .5", worst)
			}
		})
	}
}

// Markers that belong to no board of the family are reported, not used.
func TestRealMarkersWithoutBoard(t *testing.T) {
	Threads(1)
	_, err := Find(realPhoto(t, "markers-single.jpg"), board5x7)
	var unseen *Unseen
	if !errors.As(err, &unseen) || !errors.Is(err, ErrOutside) {
		t.Fatalf("error %v, want %v", err, ErrOutside)
	}
	if len(unseen.Outside) != 6 || unseen.Markers != 6 { // ids 23 40 62 98 124 203
		t.Errorf("%d markers, %v outside; want the six of the photograph", unseen.Markers, unseen.Outside)
	}
}
