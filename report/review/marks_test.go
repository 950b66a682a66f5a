package review

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
)

const marksYAML = `
product: {family: laminated, width: 1000 mm, height: 337 mm, exposure: 143 mm}
band: {low: 150 mm, high: 178 mm}
fasteners: {per_piece: 4}
`

// A person's word decides which heads are there and which break a rule: the
// lengths stand on the side of the limit that was chosen.
func TestMarked(t *testing.T) {
	s, err := schedule.Read("s.yaml", []byte(marksYAML))
	if err != nil {
		t.Fatal(err)
	}
	mm := func(v float64) *inspection.Length { return &inspection.Length{MM: v, U: 1} }
	suspect := func(rule string, l *inspection.Length) []inspection.Rule {
		return []inspection.Rule{{Rule: rule, Result: "suspect", Compared: inspection.Compared{Length: l}}}
	}
	p := inspection.Photo{
		File: "a.jpg", SHA256: strings.Repeat("ab", 32), Status: inspection.Measured, Image: &inspection.Image{Width: 4000, Height: 3000},
		Course: &inspection.Course{BandPx: [][]inspection.XY{{{0, 1000}, {4000, 1000}}, {{0, 900}, {4000, 900}}}},
		Heads: []inspection.Fastener{
			{ID: 1, RadiusPx: 12, AboveButt: mm(190), Rules: suspect("height", mm(190))},
			{ID: 2, RadiusPx: 14, AboveButt: mm(190), Rules: suspect("height", mm(190))},
			{ID: 3, RadiusPx: 16, AboveButt: mm(176), Rules: suspect("height", mm(176))}, // in the band by the measurement
			{ID: 4, RadiusPx: 12, AboveButt: mm(160), End: mm(10), Rules: suspect("end", mm(10))},
			{ID: 5, RadiusPx: 12, AboveButt: mm(160)},
			{ID: 6, RadiusPx: 12, AboveButt: mm(160), Exposed: true},
			{ID: 7, RadiusPx: 12, AboveButt: mm(160), Drive: inspection.Drive{Class: "cocked"}, Rules: suspect("drive", nil)},
			{ID: 8, RadiusPx: 12, AboveButt: mm(160), LowerJoint: mm(20), Rules: suspect("lower_joint", mm(20))},
		},
	}
	place := decided(0, Missed)
	place.Target = PlaceTarget(inspection.XY{2000, 975})
	whole := decided(0, Complete)
	whole.Target = photoTarget
	said := []Decision{place, decided(1, Wrong), decided(2, Sound), decided(3, Wrong), decided(4, Wrong), decided(5, NoNail), decided(7, Wrong), decided(8, Wrong)}
	if _, ok := Marked(p, Fold(said), s); ok {
		t.Error("a photo of which nobody said that it is marked in full was taken")
	}
	truth, ok := Marked(p, Fold(append(said, whole)), s)
	if !ok {
		t.Fatal("not taken")
	}
	if data, err := json.Marshal(truth); err != nil || !strings.HasPrefix(string(data), `{"format":1,`) {
		t.Errorf("%v, %.40s", err, data)
	}
	at := map[string]truthHead{}
	for _, h := range truth.Heads {
		at[h.ID] = h
	}
	inBand := func(h truthHead) bool { return h.AboveButt >= 150 && h.AboveButt <= 178 }
	missed := at[place.ID]
	for name, ok := range map[string]bool{
		"no nail is left out": len(truth.Heads) == 8 && at["head/5"].ID == "",
		"wrong, and high":     at["head/1"].AboveButt == 190,
		"sound, though high":  at["head/2"].AboveButt == 178,
		"wrong, though low":   !inBand(at["head/3"]) && math.Abs(at["head/3"].AboveButt-178) < .1,
		"wrong at the end":    at["head/4"].EndSeen && at["head/4"].End == 10 && inBand(at["head/4"]),
		"exposed":             at["head/6"].Exposed,
		"cocked":              at["head/7"].Drive == "cocked" && at["head/1"].Drive == "flush",
		"wrong at the joint":  at["head/8"].JointSeen && at["head/8"].LowerJoint == 20,
		"the missed one":      missed.Visible && missed.RadiusPx == 12 && math.Abs(missed.AboveButt-157) < .01, // a quarter of the band above its lower border
	} {
		if !ok {
			t.Errorf("%s: %+v", name, truth.Heads)
		}
	}
	data, err := truth.Encode()
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(data, &back); err != nil || back["measurable"] != true || back["lengths"] == "" {
		t.Errorf("%v %v", err, back)
	}
}

func TestHeightAt(t *testing.T) {
	band := [2]float64{150, 178}
	tilted := &inspection.Course{BandPx: [][]inspection.XY{{{0, 1000}, {1000, 1100}}, {{0, 900}, {1000, 1000}}}}
	for at, want := range map[inspection.XY]float64{{500, 1050}: 150, {500, 950}: 178, {500, 1000}: 164, {500, 1100}: 136} {
		if got := heightAt(tilted, at, band); math.Abs(got-want) > .5 {
			t.Errorf("%v is %.1f mm above the butt, want %.1f", at, got, want)
		}
	}
	if got := heightAt(nil, inspection.XY{1, 1}, band); got != 164 {
		t.Errorf("without a course %.1f", got)
	}
}

func TestReadAll(t *testing.T) {
	good, _ := decided(1, Wrong).line()
	if ds, err := ReadAll("x.jsonl", append(append([]byte("\n"), good...), good[:len(good)-1]...)); err != nil || len(ds) != 2 {
		t.Errorf("%d, %v", len(ds), err)
	}
	if _, err := ReadAll("x.jsonl", append(good, "{}\n"...)); err == nil || !strings.HasPrefix(err.Error(), "x.jsonl:2: ") {
		t.Errorf("%v", err)
	}
}
