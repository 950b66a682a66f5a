package page

import (
	"fmt"
	"html/template"
	"slices"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// section is one photo as the template sees it.
type section struct {
	ID, File string
	Needs    bool // a person must look at it
	Refused  *refusal
	Src      template.HTMLAttr // empty when there is no picture
	Alt      string
	Overlay  *overlay
	Rows     []row
	Closeups []closeup
	Findings []findingLine // of pieces and joints
	Failed   []inspection.Check
	Details  details
}

type refusal struct{ Why, Detail, Advice string }

// row is one head in the table.
type row struct {
	ID                                           int
	Verdict, Word, Link                          string
	AboveButt, End, LowerJoint, NextJoint, Width *cell
	Drive                                        string
}

// details are what explains a photo, folded away.
type details struct {
	Facts  []pair
	Checks []inspection.Check
	Budget []budgetRow
	Stages []inspection.Stage
}

type pair struct{ Name, Value string }

type budgetRow struct{ Source, AboveButt, End, LowerJoint string }

func newSection(p inspection.Photo, r *vision.Result, j judge.Photo, pic *photo.Picture, s schedule.Schedule) (section, error) {
	sec := section{ID: sectionID(p.File), File: p.File, Needs: needs(p), Details: newDetails(p)}
	if p.Refusal != nil {
		sec.Refused = &refusal{say(reasonWords, p.Refusal.Reason), sentence(capital(p.Refusal.Detail)), sentence(p.Refusal.Advice)}
		sec.Alt = "the refused photo, small"
		return sec, sec.picture(pic, thumbSize)
	}
	sec.Alt = fmt.Sprintf("the photo with %s marked; the table below holds the same", countOf(len(p.Heads), "head"))
	if err := sec.picture(pic, pictureSize); err != nil {
		return sec, err
	}
	if pic != nil {
		sec.Overlay = newOverlay(p, r, s, pic.Width(), pic.Height())
	}
	for _, h := range p.Heads {
		sec.Rows = append(sec.Rows, newRow(p.File, h))
	}
	for _, h := range j.Heads {
		if needsLook(string(h.Verdict)) {
			c, err := newCloseup(p.File, h, r, pic, s)
			if err != nil {
				return sec, err
			}
			sec.Closeups = append(sec.Closeups, c)
		}
	}
	// Suspects first, each group in the order of the heads.
	slices.SortStableFunc(sec.Closeups, func(a, b closeup) int { return rank(a.Verdict) - rank(b.Verdict) })
	sec.Findings = findingsOf(p.Findings)
	sec.Failed = failed(p.Checks)
	return sec, nil
}

func rank(verdict string) int {
	if verdict == "suspect" {
		return 0
	}
	return 1
}

func (s *section) picture(pic *photo.Picture, size int) (err error) {
	if pic != nil {
		s.Src, err = shrunk(pic.Mat, size)
	}
	return err
}

// needs tells whether a person must look at the photo.
func needs(p inspection.Photo) bool {
	if p.Refusal != nil || len(failed(p.Checks)) > 0 || len(findingsOf(p.Findings)) > 0 {
		return true
	}
	return slices.ContainsFunc(p.Heads, func(h inspection.Fastener) bool { return needsLook(h.Verdict) })
}

func failed(checks []inspection.Check) (out []inspection.Check) {
	for _, c := range checks {
		if !c.OK {
			out = append(out, c)
		}
	}
	return out
}

func newRow(file string, h inspection.Fastener) row {
	out := row{
		ID: h.ID, Verdict: h.Verdict, Word: say(resultWords, h.Verdict), Drive: h.Drive.Class,
		AboveButt: lengthCell(h.AboveButt), End: lengthCell(h.End),
		LowerJoint: lengthCell(h.LowerJoint), NextJoint: lengthCell(h.NextJoint), Width: lengthCell(h.HeadDiameter),
	}
	if needsLook(h.Verdict) {
		out.Link = headID(file, h.ID)
	}
	return out
}

func newDetails(p inspection.Photo) details {
	d := details{Checks: p.Checks, Stages: p.Stages}
	add := func(name, format string, args ...any) {
		d.Facts = append(d.Facts, pair{name, fmt.Sprintf(format, args...)})
	}
	if p.Taken != "" {
		add("taken", "%s", p.Taken)
	}
	if p.Device != "" {
		add("device", "%s", p.Device)
	}
	if p.Crew != "" {
		add("crew", "%s", p.Crew)
	}
	if p.Image != nil {
		add("picture", "%d x %d px", p.Image.Width, p.Image.Height)
	}
	if c := p.Card; c != nil {
		add("card", "number %d, %d of 54 corners used, %.2f px left over, size %s", c.Number, c.Corners, c.ResidualPx, c.Size)
	}
	if c := p.Camera; c != nil {
		add("lens", "%s; focal length %.0f ± %.0f px, k1 %.4f ± %.4f (standard uncertainties)", cameraWords[c.Source], c.FocalPx, c.FocalU, c.K1, c.K1U)
	}
	if p.Scale > 0 {
		add("scale", "%.2f px a millimetre at the card", p.Scale)
	}
	if p.Tilt != nil {
		add("view", "%.0f degrees off square to the roof", *p.Tilt)
	}
	add("SHA-256", "%s", p.SHA256)
	for _, source := range length.Sources() {
		if b, ok := p.Budget[source.String()]; ok {
			d.Budget = append(d.Budget, budgetRow{sourceWords[source], share(b.AboveButt), share(b.End), share(b.LowerJoint)})
		}
	}
	return d
}

var cameraWords = map[string]string{
	"none": "nothing known beforehand", "exif": "focal length from the file", "profile": "learned profile",
}

func share(mm float64) string {
	if mm == 0 {
		return ""
	}
	return fmt.Sprintf("%.2f mm", mm)
}
