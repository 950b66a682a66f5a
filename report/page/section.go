package page

import (
	"fmt"
	"html/template"
	"slices"

	"coursegauge/report/inspection"
	"coursegauge/vision/length"
)

// section is one photo as the template sees it.
type section struct {
	ID, File, SHA string
	Needs         bool // a person must look at it
	Refused       *refusal
	Src           template.HTMLAttr // empty when there is no picture
	Thumb         template.HTMLAttr // the small one that entries share
	Alt           string
	Full          string // where the full-size photo lies
	Width, Height int
	Size          string // "4032 3024", of a measured photo
	Overlay       *overlay
	Rows          []row
	Links         []item // the entries of the work list that speak of it
	Failed        []inspection.Check
	Details       details
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

func newSection(in subject, entries []entry, full string) section {
	p := in.p
	sec := section{ID: sectionID(p.File), File: p.Shown(), SHA: p.SHA256, Needs: needs(p), Full: full, Details: newDetails(p)}
	if p.Image != nil {
		sec.Width, sec.Height = p.Image.Width, p.Image.Height
	}
	if in.cut != nil {
		sec.Src = source("src", in.cut.Whole)
	}
	if p.Refusal != nil {
		sec.Refused = &refusal{say(reasonWords, p.Refusal.Reason), sentence(capital(p.Refusal.Detail)), sentence(p.Refusal.Advice)}
		sec.Alt = "the refused photo, small"
		return sec
	}
	sec.Alt = fmt.Sprintf("the photo with %s marked; the table below holds the same", countOf(len(p.Heads), "head"))
	if in.cut != nil {
		sec.Overlay, sec.Size = newOverlay(p, in.r, in.s, in.cut.Width, in.cut.Height), fmt.Sprintf("%d %d", sec.Width, sec.Height)
		if len(entries) > 0 {
			sec.Thumb = source("href", in.cut.Thumb)
		}
	}
	for _, h := range p.Heads {
		sec.Rows = append(sec.Rows, newRow(p.File, h))
	}
	for _, e := range entries {
		sec.Links = append(sec.Links, item{e.ID, e.Title})
	}
	sec.Failed = failed(p.Checks)
	return sec
}

func rank(verdict string) int {
	if verdict == "suspect" {
		return 0
	}
	return 1
}

// needs tells whether a person must look at the photo.
func needs(p inspection.Photo) bool {
	if p.Refusal != nil || len(failed(p.Checks)) > 0 ||
		slices.ContainsFunc(p.Findings, func(f inspection.Finding) bool { return needsLook(f.Result) }) {
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
			d.Budget = append(d.Budget, budgetRow{sourceWords[source], shareMM(b.AboveButt), shareMM(b.End), shareMM(b.LowerJoint)})
		}
	}
	return d
}

var cameraWords = map[string]string{
	"none": "nothing known beforehand", "exif": "focal length from the file", "profile": "learned profile",
}

func shareMM(mm float64) string {
	if mm == 0 {
		return ""
	}
	return fmt.Sprintf("%.2f mm", mm)
}
