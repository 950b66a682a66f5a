package review

import (
	"encoding/json"
	"math"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
	"coursegauge/vision/stats"
)

// Truth is one photo in the form in which photos with truth are scored, made of
// what people saw rather than of a rendered scene. What a person can say of a
// photo is which heads are in it and which of them break a rule. Lengths are
// those of the measurement, moved to the side of the limit that the person
// chose; a comparison of lengths with them says nothing.
type Truth struct {
	Format     int               `json:"format"`
	Measurable bool              `json:"measurable"`
	Reason     *string           `json:"reason"`
	Schedule   truthSchedule     `json:"schedule"`
	Conditions map[string]string `json:"conditions"`
	Lengths    string            `json:"lengths"`
	Heads      []truthHead       `json:"fasteners"`
}

type truthSchedule struct {
	Family   string     `json:"family"`
	Width    float64    `json:"width"`
	Height   float64    `json:"height"`
	Exposure float64    `json:"exposure"`
	Band     [2]float64 `json:"band"`
}

type truthHead struct {
	ID         string        `json:"id"`
	Px         inspection.XY `json:"px"`
	RadiusPx   float64       `json:"radius_px"`
	Visible    bool          `json:"visible"`
	Exposed    bool          `json:"exposed"`
	Drive      string        `json:"drive"`
	Finish     string        `json:"finish"`
	Diameter   float64       `json:"diameter_mm"`
	AboveButt  float64       `json:"above_butt_mm"`
	End        float64       `json:"end_mm"`
	EndSeen    bool          `json:"end_seen"`
	LowerJoint float64       `json:"lower_joint_mm"`
	JointSeen  bool          `json:"lower_joint_seen"`
	Decision   string        `json:"decision"`
}

// Marked is the truth of a photo by what people decided; false unless somebody
// said that every head in it is found or marked.
func Marked(p inspection.Photo, a Answers, s schedule.Schedule) (Truth, bool) {
	if what, _ := a.Answer(p.SHA256, photoTarget); what != Complete || p.Status != inspection.Measured {
		return Truth{}, false
	}
	band := [2]float64{float64(s.Band.Low), float64(s.Band.High)}
	t := Truth{
		Format: 1, Measurable: true, Conditions: map[string]string{}, Lengths: "as measured, on the side of the limit that people decided",
		Schedule: truthSchedule{string(s.Shingle.Family), float64(s.Shingle.Width), float64(s.Shingle.Height), float64(s.Shingle.Exposure), band},
		Heads:    []truthHead{},
	}
	var radii []float64
	for _, f := range p.Heads {
		what, _ := a.Answer(p.SHA256, HeadTarget(f.ID))
		if what == NoNail {
			continue
		}
		radii = append(radii, f.RadiusPx)
		t.Heads = append(t.Heads, markedHead(f, what, band, s))
	}
	radius := 10.0
	if len(radii) > 0 {
		radius = stats.Median(radii)
	}
	for _, m := range a.Missed(p.SHA256) {
		at, _ := m.Place()
		t.Heads = append(t.Heads, truthHead{
			ID: m.ID, Px: at, RadiusPx: radius, Visible: true, Drive: "flush", Decision: Missed,
			Diameter: float64(s.Fasteners.HeadDiameter), AboveButt: heightAt(p.Course, at, band),
		})
	}
	return t, true
}

// markedHead takes a head that was found over; a rule counts as broken only if
// a person said so.
func markedHead(f inspection.Fastener, what string, band [2]float64, s schedule.Schedule) truthHead {
	h := truthHead{
		ID: HeadTarget(f.ID), Px: f.Px, RadiusPx: f.RadiusPx, Visible: true, Drive: "flush", Decision: what,
		Exposed: f.Exposed && what != Sound, AboveButt: (band[0] + band[1]) / 2, Diameter: float64(s.Fasteners.HeadDiameter),
	}
	if f.HeadDiameter != nil {
		h.Diameter = f.HeadDiameter.MM
	}
	if f.AboveButt != nil {
		h.AboveButt = f.AboveButt.MM
	}
	if what != Wrong { // nobody said that it breaks a rule
		h.AboveButt = math.Min(band[1], math.Max(band[0], h.AboveButt))
		return h
	}
	if d := f.Drive.Class; d != "unclear" && d != "" {
		h.Drive = d
	}
	for _, r := range f.Rules {
		if r.Result != "suspect" && r.Result != "unresolved" {
			continue
		}
		switch {
		case r.Rule == "height" && r.Length != nil:
			h.AboveButt = outside(h.AboveButt, band)
		case r.Rule == "end" && f.End != nil && f.End.MM < float64(s.Ends.Min):
			h.End, h.EndSeen = f.End.MM, true
		case r.Rule == "lower_joint" && f.LowerJoint != nil && f.LowerJoint.MM < float64(s.Joints.Clearance):
			h.LowerJoint, h.JointSeen = f.LowerJoint.MM, true
		}
	}
	return h
}

// outside is the value itself, or just beyond the nearer border of the band.
func outside(v float64, band [2]float64) float64 {
	const beyond = 0.01 // mm
	switch {
	case v < band[0] || v > band[1]:
		return v
	case v-band[0] < band[1]-v:
		return band[0] - beyond
	}
	return band[1] + beyond
}

// heightAt reads a height off the band's two borders as they run through the
// photo; the middle of the band where they cannot be followed.
func heightAt(c *inspection.Course, at inspection.XY, band [2]float64) float64 {
	middle := (band[0] + band[1]) / 2
	if c == nil || len(c.BandPx) != 2 {
		return middle
	}
	low, high := signed(c.BandPx[0], at), signed(c.BandPx[1], at)
	if low == high || math.IsNaN(low+high) {
		return middle
	}
	return band[0] + (band[1]-band[0])*low/(low-high)
}

// signed is the distance of a place from the nearest stretch of a line, with a
// sign for its side.
func signed(line []inspection.XY, at inspection.XY) float64 {
	best := math.NaN()
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		dx, dy := b[0]-a[0], b[1]-a[1]
		l := math.Hypot(dx, dy)
		if l == 0 {
			continue
		}
		along := math.Max(0, math.Min(l, ((at[0]-a[0])*dx+(at[1]-a[1])*dy)/l))
		d := math.Hypot(at[0]-a[0]-along*dx/l, at[1]-a[1]-along*dy/l)
		if math.IsNaN(best) || d < math.Abs(best) {
			best = math.Copysign(d, (at[1]-a[1])*dx-(at[0]-a[0])*dy)
		}
	}
	return best
}

// Encode is the truth as a file.
func (t Truth) Encode() ([]byte, error) {
	b, err := json.MarshalIndent(t, "", " ")
	return append(b, '\n'), err
}
