package main

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"math"
	"strconv"
	"strings"
	"time"

	"coursegauge/report/escape"
	"coursegauge/report/page"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

//go:embed explain.html.tmpl
var explainTemplate string

//go:embed explain.css
var explainStyle string

var explainPage = template.Must(template.New("explain").Parse(explainTemplate))

const (
	explainSide = 1400 // longer side of the pictures, px
	cardSide    = 1100 // of the card's close-up
)

// explainView is what the template shows; places are px of the upright photo,
// half a pixel added, since SVG counts from the corner of the first pixel.
type explainView struct {
	Policy, Made, File string
	Style              template.CSS
	Refused            *vision.Refusal
	Reason, Verdict    string
	NoSchedule, Tall   bool
	Src, CardSrc       template.HTMLAttr
	Edges              template.HTMLAttr
	View, CardView     string
	Type, Dot          string
	Lines              []explainLine
	Heads              []explainDot
	Corners            []explainVector
	VectorScale        string
	Longest            string
	Legend             *explainLegend
	Gauges             []gaugeRow
	Facts              []factRow
	Checks             []vision.Check
	Budget             []shareRow
	Stages             []stageRow
}

type explainLine struct{ Class, Points, Title string }

type explainDot struct{ X, Y, R, Title, Label string }

type explainVector struct{ X, Y, R, Path, Title string }

// explainLegend is a vector of known length in the close-up.
type explainLegend struct{ X, X2, Y, TextY, Text string }

type gaugeRow struct {
	Name, Value, Limit, Reason string
	Kept, Close                bool
}

type factRow struct{ Name, Value string }

type shareRow struct{ Source, AboveButt, End, LowerJoint string }

type stageRow struct {
	Name, Time    string
	Kept, Dropped int
}

func (e *explained) page() ([]byte, error) {
	css := page.Style() + explainStyle
	sum := sha256.Sum256([]byte(css))
	v := explainView{
		Policy: "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'",
		Style:  template.CSS(css), File: e.name, Made: fmt.Sprintf("Made %s by coursegauge %s.", time.Now().Format("2006-01-02 15:04"), version),
		Refused: e.result.Refusal, Verdict: e.verdict(), NoSchedule: e.schedule == nil, Edges: e.edges,
		Checks: e.result.Checks, Facts: e.factRows(),
	}
	if v.Refused != nil {
		v.Reason = page.ReasonWords(string(v.Refused.Reason))
	}
	for _, g := range e.result.Gauges {
		v.Gauges = append(v.Gauges, newGaugeRow(g))
	}
	for _, s := range e.result.Stages {
		v.Stages = append(v.Stages, stageRow{s.Name, fmt.Sprintf("%.0f", s.Milliseconds), s.Kept, s.Dropped})
	}
	for _, b := range e.result.Budget {
		mm := func(m length.MM) string { return fmt.Sprintf("%.2f mm", float64(m)) }
		v.Budget = append(v.Budget, shareRow{b.Source.String(), mm(b.AboveButt), mm(b.End), mm(b.LowerJoint)})
	}
	if err := e.draw(&v); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err := escape.Execute(&b, explainPage, explainPage.Name(), v)
	return b.Bytes(), err
}

func newGaugeRow(g vision.Gauge) gaugeRow {
	return gaugeRow{
		Name: g.Name, Value: figure(g.Value, g.Unit), Limit: limitWords(g), Reason: page.ReasonWords(string(g.Reason)),
		Kept: g.Kept(), Close: g.Kept() && math.Abs(g.Value-g.Limit) < .15*math.Abs(g.Limit),
	}
}

// draw puts in the pictures and what is drawn over them.
func (e *explained) draw(v *explainView) (err error) {
	if e.picture == nil {
		return nil
	}
	w, h := e.picture.Width(), e.picture.Height()
	v.View, v.Tall = fmt.Sprintf("0 0 %d %d", w, h), h > w
	v.Type = px(float64(w) / 60)
	if v.Src, err = embeddedPhoto(e.picture, explainSide); err != nil {
		return err
	}
	e.lines(v)
	for _, f := range e.result.Fasteners {
		v.Heads = append(v.Heads, explainDot{px(f.Px.X + .5), px(f.Px.Y + .5), px(1.6 * f.RadiusPx), fmt.Sprintf("head %d, probability %.2f", f.ID, f.Score), strconv.Itoa(f.ID)})
	}
	return e.drawCard(v, w, h)
}

// lines are what was found of card and course.
func (e *explained) lines(v *explainView) {
	r := e.result
	add := func(class, title string, points []vision.Point) {
		var s []string
		for _, p := range points {
			if !math.IsNaN(p.X+p.Y) && !math.IsInf(p.X+p.Y, 0) {
				s = append(s, px(p.X+.5)+","+px(p.Y+.5))
			}
		}
		if len(s) > 1 {
			v.Lines = append(v.Lines, explainLine{class, strings.Join(s, " "), title})
		}
	}
	if r.Card != nil {
		o := r.Card.OutlinePx
		add("card", "card "+strconv.Itoa(r.Card.Number), append(o[:], o[0]))
	}
	c := r.Course
	if c == nil || e.schedule == nil || c.Trace == nil {
		return
	}
	add("butt", "butt line of the open course", c.Trace(0))
	add("band", "lower border of the band", c.Trace(e.schedule.Band.Low))
	add("band", "upper border of the band", c.Trace(e.schedule.Band.High))
	add("top", "top edge of the course", c.Trace(e.schedule.Shingle.Height))
}

// drawCard makes the close-up of the card with the vectors of its corners.
func (e *explained) drawCard(v *explainView, w, h int) (err error) {
	corners := e.result.Corners
	if len(corners) == 0 {
		return nil
	}
	box := e.cardBox(w, h)
	whole, err := e.picture.BGR()
	if err != nil {
		return err
	}
	defer whole.Close()
	part := whole.Region(box)
	defer part.Close()
	copied := part.Clone()
	defer copied.Close()
	if v.CardSrc, err = embedded(copied, cardSide); err != nil {
		return err
	}
	v.CardView = fmt.Sprintf("%d %d %d %d", box.Min.X, box.Min.Y, box.Dx(), box.Dy())
	size := float64(box.Dx())
	longest := 0.0
	for _, c := range corners {
		longest = max(longest, math.Hypot(c.Off.X, c.Off.Y))
	}
	scale := roundDown(size / 18 / max(longest, 1e-3))
	v.VectorScale, v.Longest, v.Dot = figure(scale, ""), fmt.Sprintf("%.2f px", longest), px(size/45)
	for _, c := range corners {
		x, y := c.Px.X+.5, c.Px.Y+.5
		v.Corners = append(v.Corners, explainVector{
			px(x), px(y), px(size / 210), fmt.Sprintf("M%s %sL%s %s", px(x), px(y), px(x+scale*c.Off.X), px(y+scale*c.Off.Y)),
			fmt.Sprintf("corner %d: %+.2f px to the right, %+.2f px down, standard uncertainty %.2f px", c.ID, c.Off.X, c.Off.Y, c.U),
		})
	}
	unit := roundDown(size / 8 / scale)
	x, y := float64(box.Min.X)+size/30, float64(box.Max.Y)-size/30
	v.Legend = &explainLegend{px(x), px(x + unit*scale), px(y), px(y - size/60), fmt.Sprintf("%s px", strconv.FormatFloat(unit, 'g', 3, 64))}
	return nil
}

// cardBox is the part of the picture round the card's corners.
func (e *explained) cardBox(w, h int) image.Rectangle {
	lo, hi := vision.Point{X: math.Inf(1), Y: math.Inf(1)}, vision.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	grow := func(p vision.Point) {
		lo.X, lo.Y, hi.X, hi.Y = min(lo.X, p.X), min(lo.Y, p.Y), max(hi.X, p.X), max(hi.Y, p.Y)
	}
	for _, c := range e.result.Corners {
		grow(c.Px)
	}
	if c := e.result.Card; c != nil {
		for _, p := range c.OutlinePx {
			grow(p)
		}
	}
	pad := .15 * max(hi.X-lo.X, hi.Y-lo.Y, 40)
	return image.Rect(int(lo.X-pad), int(lo.Y-pad), int(hi.X+pad), int(hi.Y+pad)).Intersect(image.Rect(0, 0, w, h))
}

// roundDown is the greatest 1, 2 or 5 times a power of ten that is not over v.
func roundDown(v float64) float64 {
	ten := math.Pow10(int(math.Floor(math.Log10(v))))
	for _, k := range []float64{5, 2} {
		if k*ten <= v {
			return k * ten
		}
	}
	return ten
}

// factRows are the figures of the photo that have no limit.
func (e *explained) factRows() (out []factRow) {
	add := func(name, format string, args ...any) { out = append(out, factRow{name, fmt.Sprintf(format, args...)}) }
	f, r := e.facts, e.result
	if e.picture != nil {
		add("picture", "%d x %d px, orientation %d", e.picture.Width(), e.picture.Height(), max(f.Orientation, 1))
		if f.SensorW > 0 && f.SensorW*f.SensorH != e.picture.Width()*e.picture.Height() {
			add("size at the camera", "%d x %d px: the photo was cropped or made smaller since", f.SensorW, f.SensorH)
		}
	}
	add("taken", "%s", orUnknown(f.Taken))
	add("phone", "%s", orUnknown(f.Device))
	add("focal length in the file", "%s", focalWords(f.Focal35MM))
	if f.DigitalZoom > 1 {
		add("digital zoom", "%.1f", f.DigitalZoom)
	}
	if f.Problem != "" {
		add("EXIF", "%s", f.Problem)
	}
	if c := r.Card; c != nil {
		size := "as drawn; prove it with: coursegauge card prove"
		if c.Proved {
			size = "proved"
		}
		add("card", "number %d, %d of 54 corners, %.2f px left over (root mean square), size %s", c.Number, c.Corners, c.ResidualPx, size)
	}
	if r.ScalePxPerMM > 0 {
		add("scale", "%.2f px a millimetre at the card", r.ScalePxPerMM)
		add(angleWords(r), "%.1f degrees", r.TiltDeg)
	}
	add("distance", "%s", e.distance())
	if c := r.Camera; c.FocalPx > 0 {
		add("lens", "focal length %.0f ± %.0f px, k1 %.4f ± %.4f (standard uncertainties), from %s", c.FocalPx, c.FocalU, c.K1, c.K1U,
			map[string]string{"none": "the picture alone", "exif": "the file and the picture", "profile": "a learned profile and the picture"}[c.Source])
	}
	if c := r.Course; c != nil {
		add("course", "%s, %s, %s", plural(len(c.Pieces), "piece", "pieces"), plural(len(c.LowerJoints), "joint of the course below", "joints of the course below"), plural(len(r.Fasteners), "head", "heads"))
	}
	return out
}

// angleWords says of what Result.TiltDeg is the angle. The lines of sight to the
// card and to the course are different ones: at 1 m a card .3 m off is seen at
// some 17 degrees to the line of sight to the course.
func angleWords(r *vision.Result) string {
	if r.Camera.Distance > 0 { // the adjustment has been through
		return "angle off square to the roof, at the middle of the course (the card, which lies elsewhere, has its own)"
	}
	return vision.CardAngle
}

// distance is that of the camera from the roof; before the adjustment it is
// taken from the focal length in the file and the card's scale.
func (e *explained) distance() string {
	r := e.result
	switch {
	case r.Camera.Distance > 0:
		return fmt.Sprintf("%.2f m (%.1f ft) above the shingles", float64(r.Camera.Distance)/1000, float64(r.Camera.Distance/length.Inch)/12)
	case r.Camera.ExifPx > 0 && r.ScalePxPerMM > 0:
		d := r.Camera.ExifPx / r.ScalePxPerMM
		return fmt.Sprintf("about %.1f m (%.0f ft) from the card", d/1000, d/25.4/12)
	}
	return "unknown"
}

func focalWords(mm float64) string {
	if mm == 0 {
		return "unknown; copies from messengers lose it"
	}
	return fmt.Sprintf("%.0f mm, as on 35 mm film", mm)
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// px prints a coordinate to a tenth.
func px(v float64) string { return strconv.FormatFloat(v+0, 'f', 1, 64) }
