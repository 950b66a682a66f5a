package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
)

// lockedTruth is what the locked photos' truth holds for the measuring, mm.
type lockedTruth struct {
	Measurable bool   `json:"measurable"`
	Reason     string `json:"reason"`
	Schedule   struct {
		Family string `json:"family"`
	} `json:"schedule"`
	Fasteners []struct {
		Px         [2]float64 `json:"px"`
		RadiusPx   float64    `json:"radius_px"`
		AboveButt  float64    `json:"above_butt_mm"`
		End        float64    `json:"end_mm"`
		EndSeen    bool       `json:"end_seen"`
		LowerJoint float64    `json:"lower_joint_mm"`
		LowerSeen  bool       `json:"lower_joint_seen"`
		Diameter   float64    `json:"diameter_mm"`
		Drive      string     `json:"drive"`
		Exposed    bool       `json:"exposed"`
		Visible    bool       `json:"visible"`
	} `json:"fasteners"`
}

// lengthErrors are the errors of one kind of length against the truth.
type lengthErrors struct {
	asked   int       // heads whose length could be seen
	size    []float64 // mm
	covered int       // within U95
}

func (e *lengthErrors) add(got *inspection.Length, want float64) {
	e.asked++
	if got == nil {
		return
	}
	d := math.Abs(got.MM - want)
	e.size = append(e.size, d)
	if d <= 1.96*got.U {
		e.covered++
	}
}

func quantileOf(v []float64, p float64) float64 {
	v = slices.Sorted(slices.Values(v))
	if len(v) == 0 {
		return math.NaN()
	}
	return v[int(p*float64(len(v)-1)+.5)]
}

// lockedFigures are the figures of all measurable photos together.
type lockedFigures struct {
	visible, found, false_       int
	height, end, joint, diameter lengthErrors
	told, right, faulty, missed  int // drive: told, right of them; faulty heads, called flush
}

func (s *lockedFigures) photo(p inspection.Photo, truth lockedTruth) {
	hits := 0
	for _, f := range truth.Fasteners {
		h := headAt(p.Heads, f.Px, f.RadiusPx)
		if h != nil {
			hits++
		}
		if !f.Visible {
			continue
		}
		s.visible++
		if h == nil {
			continue
		}
		s.found++
		if f.Drive != "flush" {
			s.faulty++
			if h.Drive.Class == "flush" {
				s.missed++
			}
		}
		if h.Drive.Class != "unclear" {
			s.told++
			if h.Drive.Class == f.Drive {
				s.right++
			}
		}
		if f.Exposed {
			continue
		}
		s.height.add(h.AboveButt, f.AboveButt)
		s.diameter.add(h.HeadDiameter, f.Diameter)
		if f.EndSeen {
			s.end.add(h.End, f.End)
		}
		if f.LowerSeen {
			s.joint.add(h.LowerJoint, f.LowerJoint)
		}
	}
	s.false_ += len(p.Heads) - hits
}

// Every length, diameter, drive and U95 of a maker that no network was trained
// on and no number fitted on, from the files on disk to the documents; and each
// reason for which a photo is refused. The limits leave a third over what the
// README says of the larger sets.
func TestLockedPhotosAgainstTruth(t *testing.T) {
	var s lockedFigures
	reasons := map[string]bool{}
	folders, _ := filepath.Glob(filepath.Join(testdata, "locked", "*", "schedule.yaml"))
	if len(folders) != 5 {
		t.Fatalf("%d folders in testdata/locked; is this a complete clone?", len(folders))
	}
	for _, schedule := range folders {
		folder, out := filepath.Dir(schedule), t.TempDir()
		var said strings.Builder
		run([]string{"inspect", folder, "--schedule", schedule, "--out", out, "--no-cache"}, &terminal{out: &said, err: &said})
		d, err := inspection.ReadFile(filepath.Join(out, "inspection.json"))
		if err != nil {
			t.Fatalf("%s: %v\n%s", folder, err, said.String())
		}
		for _, p := range d.Photos {
			var truth lockedTruth
			data, err := os.ReadFile(filepath.Join(folder, strings.TrimSuffix(filepath.Base(p.File), ".jpg")+".truth.json"))
			if err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(data, &truth); err != nil {
				t.Fatalf("%s: %v", p.File, err)
			}
			switch {
			case !truth.Measurable && (p.Refusal == nil || p.Refusal.Reason != truth.Reason):
				t.Errorf("%s: %+v, want a refusal for %s", p.File, p.Refusal, truth.Reason)
			case !truth.Measurable:
				reasons[truth.Reason] = true
			case p.Refusal != nil:
				t.Errorf("%s: refused: %+v", p.File, *p.Refusal)
			default:
				s.photo(p, truth)
			}
		}
	}
	if len(reasons) != 9 {
		t.Errorf("%d reasons for a refusal, want 9", len(reasons))
	}
	s.check(t)
}

func (s *lockedFigures) check(t *testing.T) {
	least := func(name string, got, limit float64) {
		if t.Logf("%s %.3f", name, got); !(got >= limit) {
			t.Errorf("%s %.3f, at least %.3f", name, got, limit)
		}
	}
	most := func(name string, got, limit float64) {
		if t.Logf("%s %.3f", name, got); !(got <= limit) {
			t.Errorf("%s %.3f, at most %.3f", name, got, limit)
		}
	}
	share := func(a, b int) float64 { return float64(a) / float64(b) }
	least("heads found", share(s.found, s.visible), .9)
	least("precision", share(s.found, s.found+s.false_), .93)
	for _, c := range []struct {
		name                   string
		e                      lengthErrors
		p50, p95, given, cover float64
	}{
		{"height", s.height, .55, 1.4, .99, .9},
		{"end", s.end, 1, 3.2, .8, .88},
		{"lower joint", s.joint, 2.5, 4.5, .1, .85},
		{"diameter", s.diameter, .5, 1.1, .99, .85},
	} {
		if len(c.e.size) < 5 {
			t.Errorf("%s: %d lengths, too few to compare", c.name, len(c.e.size))
			continue
		}
		most(c.name+" p50, mm", quantileOf(c.e.size, .5), c.p50)
		most(c.name+" p95, mm", quantileOf(c.e.size, .95), c.p95)
		least(c.name+" given", share(len(c.e.size), c.e.asked), c.given)
		least(c.name+" within U95", share(c.e.covered, len(c.e.size)), c.cover)
	}
	least("drive told", share(s.told, s.found), .55)
	least("drive right of told", share(s.right, s.told), .9)
	most("faulty called flush", share(s.missed, s.faulty), .34)
}
