package lens

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const photos = "../../testdata/photos"

// TestSee holds the corners of rendered photos to their truth, in the picture
// as it is stored: all 54, those at the ends of a bent card too.
func TestSee(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(photos, "*/*.jpg"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no photos in %s (%v)", photos, err)
	}
	views := 0
	for _, path := range paths {
		var truth struct {
			Measurable bool
			Card       []struct {
				Corners [][2]float64 `json:"corners_px"` // upright
			}
			Camera struct{ Orientation int }
		}
		text, err := os.ReadFile(strings.TrimSuffix(path, ".jpg") + ".truth.json")
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(text, &truth); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		s := See(filepath.Base(path), data)
		if !truth.Measurable {
			if s.Why == "" {
				t.Errorf("%s: counts as a view", path)
			}
			continue
		}
		if s.Why != "" || len(s.View.Points) != 54 {
			t.Errorf("%s: %d corners, %q", path, len(s.View.Points), s.Why)
			continue
		}
		views++
		for _, k := range s.View.Points {
			id := int(math.Round(k.X/25.4+4)) + 9*int(math.Round(2.5-k.Y/25.4))
			c := truth.Card[0].Corners[id]
			u, v := stored(truth.Camera.Orientation, s.Width, s.Height, c[0], c[1])
			if d := math.Hypot(k.U-u, k.V-v); d > .2 {
				t.Errorf("%s: corner %d is %.2f px off", path, id, d)
			}
		}
	}
	if views < 3 {
		t.Errorf("%d views looked at", views)
	}
}

func TestSeeRefuses(t *testing.T) {
	if s := See("x.jpg", []byte("no photo")); s.Why == "" {
		t.Error("bytes that are no photo count as a view")
	}
	data, err := os.ReadFile("../../testdata/reference/orientation/Landscape_1.jpg")
	if err != nil {
		t.Fatal(err)
	}
	if s := See("x.jpg", data); !strings.Contains(s.Why, "does not name the phone") {
		t.Errorf("a photo that names no phone: %q", s.Why)
	}
}
