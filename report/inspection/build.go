package inspection

import (
	"math"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// Source is where a photo came from. Width and Height are those of the upright
// picture, 0 when the file could not be read.
type Source struct {
	File, FileBytes string // see Name
	SHA256, Crew    string
	Width, Height   int
	Facts           photo.Facts
}

// Build writes down one photo: its source, what was measured and what was
// judged. The schedule gives the band to draw. A refused photo has no judgement.
func Build(src Source, s schedule.Schedule, r *vision.Result, j judge.Photo) Photo {
	p := Photo{
		File: src.File, FileBytes: src.FileBytes, SHA256: src.SHA256, Crew: src.Crew,
		Taken: src.Facts.Taken, Device: src.Facts.Device,
		Status: Measured,
		Card:   card(r.Card), Camera: camera(r.Camera),
		Scale:  round(r.ScalePxPerMM, 4),
		Checks: checks(r.Checks), Stages: stages(r.Stages),
	}
	if src.Width > 0 && src.Height > 0 {
		p.Image = &Image{src.Width, src.Height, src.Facts.Orientation, src.Facts.Decoder}
	}
	if l := src.Facts.Location; l != nil {
		p.Location = &Location{round(l.Lat, 6), round(l.Lon, 6)}
	}
	if r.Refusal != nil {
		p.Status = Refused
		p.Refusal = &Refusal{string(r.Refusal.Reason), r.Refusal.Detail, r.Refusal.Advice}
		return p
	}
	tilt := round(r.TiltDeg, 2)
	p.Tilt = &tilt
	p.Course = course(r.Course, s.Band.Low, s.Band.High)
	p.Budget = budget(r.Budget)
	p.Heads = make([]Fastener, 0, len(j.Heads))
	for _, h := range j.Heads {
		p.Heads = append(p.Heads, fastener(h, r.Inputs))
	}
	for _, f := range j.Pieces {
		p.Findings = append(p.Findings, finding(f))
	}
	return p
}

func card(c *vision.CardSight) *Card {
	if c == nil {
		return nil
	}
	size := "nominal"
	if c.Proved {
		size = "proved"
	}
	return &Card{c.Number, c.Corners, round(c.ResidualPx, 3), size}
}

// camera leaves out a camera that nothing is known of, as when the file was
// not even decoded.
func camera(c vision.Camera) *Camera {
	if c.Source == "" {
		return nil
	}
	if !finite(c.FocalPx) || !finite(c.FocalU) || !finite(c.K1) || !finite(c.K1U) {
		return &Camera{Source: c.Source, ExifPx: round(c.ExifPx, 1)} // a value of which nobody knows how sure it is
	}
	return &Camera{
		Source:  c.Source,
		FocalPx: round(c.FocalPx, 1), FocalU: round(c.FocalU, 1),
		K1: round(c.K1, 5), K1U: round(c.K1U, 5),
		ExifPx: round(c.ExifPx, 1), DistanceMM: round(float64(c.Distance), 1),
	}
}

func course(c *vision.Course, low, high length.MM) *Course {
	if c == nil {
		return nil
	}
	out := &Course{
		ButtPx: [2]XY{xy(c.ButtPx[0]), xy(c.ButtPx[1])},
		Offset: measured(c.Offset),
	}
	if c.Trace != nil {
		out.BandPx = [][]XY{polyline(c.Trace(low)), polyline(c.Trace(high))}
	}
	for _, q := range c.Pieces {
		out.Pieces = append(out.Pieces, Piece{
			ID: q.ID, Left: string(q.Left), Right: string(q.Right),
			Width: measured(q.Width), LeftPx: xy(q.LeftPx), RightPx: xy(q.RightPx),
		})
	}
	for _, l := range c.LowerJoints {
		out.LowerJoints = append(out.LowerJoints, LowerJoint{xy(l.Px)})
	}
	return out
}

func fastener(h judge.Head, inputs []length.Source) Fastener {
	f := h.Fastener
	out := Fastener{
		ID: f.ID, Px: xy(f.Px), RadiusPx: round(f.RadiusPx, 2), Score: round(f.Score, 4),
		Exposed:   f.Exposed,
		AboveButt: measured(f.AboveButt),
		LeftEnd:   measured(f.LeftEnd), RightEnd: measured(f.RightEnd), End: measured(f.End),
		LowerJoint: measured(f.LowerJoint), NextJoint: measured(f.NextJoint),
		HeadDiameter: measured(f.HeadDiameter),
		Drive:        drive(f.Drive),
		Verdict:      string(h.Verdict),
	}
	for _, k := range []struct {
		key string
		of  *length.Measured
	}{
		{"above_butt", f.AboveButt}, {"left_end", f.LeftEnd}, {"right_end", f.RightEnd}, {"end", f.End},
		{"lower_joint", f.LowerJoint}, {"next_joint", f.NextJoint}, {"head_diameter", f.HeadDiameter},
	} {
		if c := contributions(k.of, inputs); c != nil {
			if out.Budget == nil {
				out.Budget = map[string]Contributions{}
			}
			out.Budget[k.key] = c
		}
	}
	if f.Piece >= 0 {
		out.Piece = &f.Piece
	}
	for _, r := range h.Findings {
		out.Rules = append(out.Rules, Rule{r.Rule, string(r.Result), probability(r), r.Text(), remedied(r), compared(r)})
	}
	return out
}

func drive(d vision.Drive) Drive {
	out := Drive{Class: string(d.Class)}
	if out.Class == "" {
		out.Class = string(vision.Unclear)
	}
	for class, p := range d.P {
		if finite(p) {
			if out.P == nil {
				out.P = map[string]float64{}
			}
			out.P[string(class)] = round(p, 4)
		}
	}
	return out
}

func finding(f judge.PieceFinding) Finding {
	out := Finding{Rule: f.Rule, Result: string(f.Result), P: probability(f.Finding), Text: f.Text(), Remedied: remedied(f.Finding), Compared: compared(f.Finding)}
	if f.Piece >= 0 {
		out.Piece = &f.Piece
	}
	if f.Joint >= 0 {
		out.Joint = &f.Joint
	}
	return out
}

func probability(f judge.Finding) *float64 {
	if f.Result == judge.NotJudged || !finite(f.P) {
		return nil
	}
	p := round(f.P, 4)
	return &p
}

// remedied is empty where there is nothing to do.
func remedied(f judge.Finding) Remedied {
	if f.Remedy == "" {
		return Remedied{}
	}
	return Remedied{f.Observation, f.Remedy}
}

func compared(f judge.Finding) Compared {
	limit := func(mm *length.MM) *float64 {
		if mm == nil || !finite(float64(*mm)) {
			return nil
		}
		v := round(float64(*mm), 3)
		return &v
	}
	return Compared{measured(f.Length), limit(f.LimitLow), limit(f.LimitHigh)}
}

func checks(in []vision.Check) (out []Check) {
	for _, c := range in {
		out = append(out, Check(c))
	}
	return out
}

func stages(in []vision.Stage) (out []Stage) {
	for _, s := range in {
		out = append(out, Stage{s.Name, round(s.Milliseconds, 1), s.Kept, s.Dropped})
	}
	return out
}

func budget(in []vision.Share) BudgetTable {
	if len(in) == 0 {
		return nil
	}
	out := BudgetTable{}
	for _, s := range in {
		out[s.Source.String()] = Share{round(float64(s.AboveButt), 3), round(float64(s.End), 3), round(float64(s.LowerJoint), 3)}
	}
	return out
}

// measured is nil for a length that is missing or not a number: absent, never zero.
func measured(m *length.Measured) *Length {
	if m == nil || !finite(float64(m.Value())) || !finite(float64(m.U())) {
		return nil
	}
	return &Length{round(float64(m.Value()), 3), round(float64(m.U()), 3)}
}

// contributions is nil for a length that measured leaves out, and for an exact one.
func contributions(m *length.Measured, inputs []length.Source) Contributions {
	if measured(m) == nil {
		return nil
	}
	var out Contributions
	for s, u := range m.Budget(inputs) {
		if v := round(float64(u), 4); v > 0 {
			if out == nil {
				out = Contributions{}
			}
			out[length.Source(s).String()] = v
		}
	}
	return out
}

func polyline(in []vision.Point) []XY {
	out := make([]XY, len(in))
	for i, p := range in {
		out[i] = xy(p)
	}
	return out
}

func xy(p vision.Point) XY { return XY{round(p.X, 2), round(p.Y, 2)} }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// round to the given decimals; what JSON cannot hold becomes 0, and -0 too.
func round(v float64, decimals int) float64 {
	if !finite(v) {
		return 0
	}
	k := math.Pow10(decimals)
	return math.Round(v*k)/k + 0
}
