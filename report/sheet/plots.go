package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coursegauge/report/ledger"
	"coursegauge/report/sign"
	"coursegauge/vision/stats"
)

// plot is a picture as parts that the template draws, with its text
// alternative. Coordinates are of its view box, y down.
type plot struct {
	ID, ViewBox  string
	Title, Words string
	Wide         bool // no use when it is small: it scrolls
	Rects        []plotRect
	Lines        []plotPath
	Dots         []plotPath
	Texts        []plotText
}

type plotRect struct{ Class, X, Y, W, H string }

// plotPath is a path, or very many marks in one.
type plotPath struct{ Class, D string }

type plotText struct{ Class, X, Y, Anchor, Text string }

func (p *plot) line(class, d string, args ...any) {
	p.Lines = append(p.Lines, plotPath{class, fmt.Sprintf(d, args...)})
}

func (p *plot) text(class string, x, y float64, anchor, text string) {
	p.Texts = append(p.Texts, plotText{class, num(x), num(y), anchor, text})
}

func (p *plot) rect(class string, x, y, w, h float64) {
	p.Rects = append(p.Rects, plotRect{class, num(x), num(y), num(w), num(h)})
}

// num prints a coordinate with at most one decimal.
func num(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64) }

// verdicts are what the states of a nail are called on the report: both show
// them by the same shapes.
var verdicts = map[status]string{unknown: sign.NotJudged, good: sign.Clear, open: sign.Unresolved, bad: sign.Suspect}

// mark is the shape of a nail, from where the path is.
func mark(s status, size float64) string { return sign.From(verdicts[s], 4.7*size) }

// aimMark shows an aim point about where the path is: a cross in a ring, since a
// cross alone stands for a missed head.
func aimMark(r float64) string {
	arm, out := num(r), num(2*r)
	ring := num(r * .6)
	wide := num(2 * r * .6)
	return "m-" + arm + " 0h" + out + "m-" + arm + " -" + arm + "v" + out + "m-" + ring + " -" + arm +
		"a" + ring + " " + ring + " 0 1 0 " + wide + " 0a" + ring + " " + ring + " 0 1 0 -" + wide + " 0"
}

// crowd is how much smaller marks are where there are many, and the class that
// says so.
func crowd(n int) (size float64, class string) {
	switch {
	case n > 2000:
		return .35, " swarm"
	case n > 200:
		return .6, " many"
	}
	return 1, ""
}

// drawn draws points in one path a status, those that are bad last.
func (p *plot) drawn(points []point, at func(point) (x, y float64)) {
	size, class := crowd(len(points))
	for _, s := range []status{unknown, good, open, bad} {
		var b strings.Builder
		for _, pt := range points {
			if x, y := at(pt); pt.status == s && !math.IsNaN(x) && !math.IsNaN(y) {
				fmt.Fprintf(&b, "M%s %s%s", num(x), num(y), mark(s, size))
			}
		}
		if b.Len() > 0 {
			p.Dots = append(p.Dots, plotPath{statusClass[s] + class, b.String()})
		}
	}
}

var statusClass = map[status]string{unknown: "unknown", good: "good", open: "open", bad: "bad"}

// path draws an ellipse as a polygon of 48 corners about (x, y).
func (e ellipse) path(x, y float64) string {
	var b strings.Builder
	for i := range 48 {
		u, v := e.corner(i)
		fmt.Fprintf(&b, "%c%s %s", moveThenLine(i), num(x+u), num(y-v))
	}
	return b.String() + "Z"
}

// within draws it about the origin, cut at the frame of a picture.
func (e ellipse) within(half float64) string {
	cut := func(v float64) float64 { return max(-half, min(half, v)) }
	var b strings.Builder
	for i := range 48 {
		u, v := e.corner(i)
		fmt.Fprintf(&b, "%c%s %s", moveThenLine(i), num(cut(u)), num(cut(-v)))
	}
	return b.String() + "Z"
}

// corner is the i-th of the 48, y up.
func (e ellipse) corner(i int) (x, y float64) {
	a := 2 * math.Pi * float64(i) / 48
	u, v := e.a*math.Cos(a), e.b*math.Sin(a)
	return e.x + u*math.Cos(e.angle) - v*math.Sin(e.angle), e.y + u*math.Sin(e.angle) + v*math.Cos(e.angle)
}

// moveThenLine begins a path and goes on with it.
func moveThenLine(i int) rune { return []rune("ML")[min(i, 1)] }

// piecePlot draws every nail of a frame on one piece, to scale, 1 unit a mm.
func (s speaker) piecePlot(id string, f *frame, points []point) *plot {
	if f.Width == 0 {
		return nil
	}
	top := f.Height
	if top == 0 {
		top = f.BandHigh + 60
	}
	p := &plot{ID: id, Wide: true, ViewBox: fmt.Sprintf("-30 %s %s %s", num(-top-50), num(f.Width+60), num(top+110)), Title: s.say("Every nail on one piece")}
	p.rect("piece", 0, -top, f.Width, top)
	if f.Exposure > 0 {
		p.line("soft dash", "M0 %sH%s", num(-f.Exposure), num(f.Width))
	}
	p.rect("band", 0, -f.BandHigh, f.Width, f.BandHigh-f.BandLow)
	if f.EndMax > 0 {
		for _, x := range []float64{f.EndMin, f.EndMax, f.Width - f.EndMin, f.Width - f.EndMax} {
			p.line("soft dots", "M%s %sV%s", num(x), num(-f.BandHigh-25), num(-f.BandLow+25))
		}
	}
	p.joints(points)
	p.drawn(points, func(pt point) (float64, float64) { return pt.x, -pt.y })
	middle := (f.BandLow + f.BandHigh) / 2
	for _, a := range f.aims {
		near := slices.DeleteFunc(slices.Clone(points), func(pt point) bool { return math.IsNaN(pt.dx) || math.Abs(pt.x-pt.dx-a) > 1 })
		if e := newEllipse(near); e != nil {
			p.line("under", "%s", e.path(a, -middle))
			p.line("ellipse", "%s", e.path(a, -middle))
		}
		p.line("under", "M%s %s%s", num(a), num(-middle), aimMark(12))
		p.line("aim", "M%s %s%s", num(a), num(-middle), aimMark(12))
	}
	p.text("", 0, 22, "start", s.say("left end"))
	p.text("", f.Width/2, 22, "middle", s.say("butt edge"))
	p.text("", f.Width, 22, "end", s.say("right end"))
	p.text("", f.Width/2, -top-12, "middle", s.say("top edge"))
	p.scale(f.Width, 44, s)
	n := tallyOf(points)
	p.Words = s.say("Nails drawn: %s, on a piece %s wide; %s of them bad. The band is from %s to %s above the butt edge.", s.count(len(points)), s.inches(f.Width), s.count(n[bad]), s.inches(f.BandLow), s.inches(f.BandHigh))
	return p
}

// joints draws, at the butt edge, where joints of the course below lay.
func (p *plot) joints(points []point) {
	var b strings.Builder
	seen := map[int]bool{}
	for _, pt := range points {
		x := pt.x + pt.joint
		if key := int(math.Round(x / 3)); !math.IsNaN(x) && !seen[key] { // one tick for those within 3 mm
			seen[key] = true
			fmt.Fprintf(&b, "M%s 0V-26", num(x))
		}
	}
	if b.Len() > 0 {
		p.line("joint", "%s", b.String())
	}
}

// scale draws a bar of 6 in.
func (p *plot) scale(right, y float64, s speaker) {
	p.line("ink", "M%s %sv8h%sv-8", num(right-6*inch), num(y-8), num(6*inch))
	p.text("", right-6*inch-8, y, "end", s.inches(6*inch))
}

func tallyOf(points []point) map[status]int {
	out := map[status]int{}
	for _, p := range points {
		out[p.status]++
	}
	return out
}

// targetSize is half the side of the picture about the aim, mm on the roof, and
// its scale, units a mm.
const (
	targetSize  = 2 * inch
	targetScale = 4.0
)

// targetPlot draws all nails about one aim point. The band is drawn when there
// is only one.
func (s speaker) targetPlot(id string, st Study) *plot {
	points := slices.DeleteFunc(slices.Clone(st.points), func(p point) bool { return math.IsNaN(p.dx) || math.IsNaN(p.dy) })
	if len(points) == 0 {
		return nil
	}
	inside := slices.DeleteFunc(slices.Clone(points), func(p point) bool { return max(math.Abs(p.dx), math.Abs(p.dy)) > targetSize })
	const k, half = targetScale, targetSize * targetScale
	p := &plot{ID: id, ViewBox: fmt.Sprintf("%s %s %s %s", num(-half-70), num(-half-30), num(2*half+90), num(2*half+90)), Title: s.say("About the aim point")}
	p.rect("frame", -half, -half, 2*half, 2*half)
	if len(st.frames) == 1 {
		h := (st.frames[0].BandHigh - st.frames[0].BandLow) / 2 * k
		p.rect("band", -half, -h, 2*half, 2*h)
	}
	for i := -2; i <= 2; i++ {
		v := float64(i) * inch * k
		p.line("soft", "M%s %sv6", num(v), num(half))
		p.line("soft", "M%s %sh-6", num(-half), num(-v))
		p.text("", v, half+28, "middle", s.signed(float64(i)*inch))
		p.text("", -half-12, -v+6, "end", s.signed(float64(i)*inch))
	}
	p.drawn(inside, func(pt point) (float64, float64) { return pt.dx * k, -pt.dy * k })
	if e := newEllipse(points); e != nil {
		d := ellipse{e.x * k, e.y * k, e.a * k, e.b * k, e.angle}.within(half)
		p.line("under", "%s", d)
		p.line("ellipse", "%s", d)
	}
	p.line("under", "M0 0%s", aimMark(22))
	p.line("aim", "M0 0%s", aimMark(22))
	bx, by := st.Along.Bias*k, -st.Height.Bias*k
	p.line("under", "M0 0L%s %s", num(bx), num(by))
	p.line("bias", "M0 0L%s %sm-8 0a8 8 0 1 0 16 0a8 8 0 1 0 -16 0", num(bx), num(by))
	p.text("", 0, half+54, "middle", s.say("to the right of the aim point"))
	p.text("", -half, -half-10, "start", s.say("above the aim point"))
	p.Words = s.say("On average %s and %s. The ellipse holds 95 of 100 nails.", s.direction(st.Height.Bias, "%s above the aim", "%s below the aim"), s.direction(st.Along.Bias, "%s to the right of it", "%s to the left of it"))
	if out := len(points) - len(inside); out > 0 {
		p.Words += " " + s.say("Farther off than the picture shows: %s.", s.count(out))
	}
	return p
}

// jointPlot draws nails about the nearest joint of the course below, where one
// was seen within 6 in.
func (s speaker) jointPlot(id string, st Study) *plot {
	const reach, k, tall = 6 * inch, 1.4, 60.0
	clearance := 0.0
	points := slices.DeleteFunc(slices.Clone(st.points), func(p point) bool {
		return math.IsNaN(p.joint) || math.Abs(p.joint) > reach || math.Abs(p.dy) > tall
	})
	if len(points) == 0 {
		return nil
	}
	for _, f := range st.frames {
		clearance = max(clearance, f.Clearance)
	}
	p := &plot{ID: id, ViewBox: fmt.Sprintf("%s %s %s %s", num(-reach*k-30), num(-tall*k-30), num(2*reach*k+60), num(2*tall*k+90)), Title: s.say("About the joint of the course below")}
	p.rect("frame", -reach*k, -tall*k, 2*reach*k, 2*tall*k)
	if clearance > 0 {
		p.rect("forbidden", -clearance*k, -tall*k, 2*clearance*k, 2*tall*k)
	}
	p.line("joint", "M0 %sV%s", num(-tall*k), num(tall*k))
	near := 0
	for _, pt := range points {
		if math.Abs(pt.joint) < clearance {
			near++
		}
	}
	for i := -6; i <= 6; i += 2 {
		p.line("soft", "M%s %sv6", num(float64(i)*inch*k), num(tall*k))
		p.text("", float64(i)*inch*k, tall*k+26, "middle", s.signed(float64(i)*inch))
	}
	// A joint to the right of the nail means a nail to the left of the joint.
	p.drawn(points, func(pt point) (float64, float64) { return -pt.joint * k, -pt.dy * k })
	p.text("", 0, tall*k+52, "middle", s.say("to the right of the joint"))
	p.Words = s.say("Nails drawn: %s, within %s of a joint below; %s of them nearer than the %s asked for.", s.count(len(points)), s.inches(reach), s.count(near), s.inches(clearance))
	return p
}

// chartPlot draws the p chart.
func (s speaker) chartPlot(id string, w ledger.Work) *plot {
	all, by := bins(w)
	if len(all) < 2 {
		return nil
	}
	var k, n []int
	for _, b := range all {
		k, n = append(k, b.k), append(n, b.n)
	}
	centre, points := stats.Chart(k, n)
	const left, right, top, bottom = 60.0, 700.0, 20.0, 260.0
	most := .1
	for _, p := range points {
		most = max(most, min(1, p.High*1.1), float64(p.K)/float64(p.N)*1.1)
	}
	most = min(1, most)
	y := func(share float64) float64 { return bottom - (bottom-top)*share/most }
	step := (right - left) / float64(len(points))
	x := func(i int) float64 { return left + (float64(i)+.5)*step }
	p := &plot{ID: id, Wide: true, ViewBox: "-20 0 900 310", Title: s.say("Share of bad nails by " + by)}
	p.rect("frame", left, top, right-left, bottom-top)
	tick := .05
	for most/tick > 6 {
		tick *= 2
	}
	for v := 0.0; v <= most+1e-9; v += tick {
		p.line("soft", "M%s %sh-6", num(left), num(y(v)))
		p.text("", left-10, y(v)+5, "end", s.percent(v))
	}
	p.limits(points, step, left, y)
	p.line("ink", "M%s %sH%s", num(left), num(y(centre)), num(right))
	p.text("", right+8, y(centre)+5, "start", s.say("all together %s", s.percent(centre)))
	p.text("limit", right+8, y(points[len(points)-1].High)+5, "start", s.say("limit of chance"))
	var trace strings.Builder
	dots, out := map[status]*strings.Builder{good: {}, bad: {}}, 0
	for i, pt := range points {
		at := y(float64(pt.K) / float64(pt.N))
		fmt.Fprintf(&trace, "%c%s %s", moveThenLine(i), num(x(i)), num(at))
		is := good
		if pt.Out {
			is, out = bad, out+1
		}
		fmt.Fprintf(dots[is], "M%s %s%s", num(x(i)), num(at), mark(is, 1))
	}
	p.line("trace", "%s", trace.String())
	for _, is := range []status{good, bad} {
		if dots[is].Len() > 0 {
			p.Dots = append(p.Dots, plotPath{map[status]string{good: "sample", bad: "bad"}[is], dots[is].String()})
		}
	}
	for i := 0; i < len(all); i += 1 + len(all)/8 {
		p.text("", x(i), bottom+22, "middle", strings.TrimPrefix(all[i].Name, all[0].Name[:min(5, len(all[0].Name))]))
	}
	p.text("", (left+right)/2, bottom+44, "middle", s.say("of the year %s", all[0].Name[:min(4, len(all[0].Name))]))
	p.Words = s.say("%s points, on average %s bad; %s outside the limits of chance.", s.count(len(points)), s.percent(centre), s.count(out))
	return p
}

// limits draws the limits as steps, since each sample has its own.
func (p *plot) limits(points []stats.Point, step, left float64, y func(float64) float64) {
	for _, of := range []func(stats.Point) float64{func(p stats.Point) float64 { return p.Low }, func(p stats.Point) float64 { return p.High }} {
		var b strings.Builder
		for i, pt := range points {
			fmt.Fprintf(&b, "%c%s %sh%s", moveThenLine(i), num(left+float64(i)*step), num(y(of(pt))), num(step))
		}
		p.line("limit dash", "%s", b.String())
	}
}
