package trial

import (
	"fmt"
	"math"
	"sort"
	"strconv"

	"coursegauge/vision/length"
)

// plot is a plot of differences against means, after Bland and Altman, in
// units of its view box: 720 by 340, y down.
type plot struct {
	ID, Title, Words string
	Left, Right      string // of the frame
	Top, Bottom      string
	Bands            []plotBand
	Lines            []plotLine
	Ticks            []plotTick // of the x axis
	Dots             []plotDot
}

type plotBand struct{ Y, H string }

// plotLine is a level line with its label at the right.
type plotLine struct{ Class, Y, LabelY, Label string }

type plotTick struct{ X, Label string }

// plotDot is one pair: the difference, and its U95 about it.
type plotDot struct{ X, Y, Low, High, Class, Shape, Title string }

const (
	plotLeft, plotRight = 64.0, 560.0
	plotTop, plotBottom = 12.0, 290.0
)

// axis maps a range to pixels.
type axis struct{ from, to, at, end float64 }

func (a axis) px(v float64) float64 { return a.at + (v-a.from)/(a.to-a.from)*(a.end-a.at) }

func newPlot(c Comparison, tape Tape) plot {
	p := plot{
		ID: string(c.Kind), Title: "Photo less tape: " + c.Kind.Words(), Words: c.inWords(),
		Left: num(plotLeft), Right: num(plotRight), Top: num(plotTop), Bottom: num(plotBottom),
	}
	x, y := c.axes()
	for _, s := range steps(x.from, x.to, 6) {
		p.Ticks = append(p.Ticks, plotTick{num(x.px(s)), strconv.FormatFloat(s, 'g', 4, 64)})
	}
	for _, i := range []Interval{c.LowerCI, c.UpperCI, c.BiasCI} {
		high := y.px(i.High / 25.4)
		p.Bands = append(p.Bands, plotBand{num(high), num(y.px(i.Low/25.4) - high)})
	}
	p.Lines = plotLines(c, y)
	for _, q := range c.Pairs {
		p.Dots = append(p.Dots, newDot(q, tape, x, y))
	}
	return p
}

// axes hold all pairs, the limits and the target; inches.
func (c Comparison) axes() (x, y axis) {
	x, y = axis{math.Inf(1), math.Inf(-1), plotLeft, plotRight}, axis{0, float64(Target) * 1.15, plotBottom, plotTop}
	for _, q := range c.Pairs {
		m := float64(q.Photo.Value()+q.Tape) / 2
		x.from, x.to = min(x.from, m), max(x.to, m)
		y.to = max(y.to, math.Abs(float64(q.Off()))*1.08)
	}
	y.to = max(y.to, -c.LowerCI.Low*1.03, c.UpperCI.High*1.03)
	pad := max(.06*(x.to-x.from), 2)
	x.from, x.to = (x.from-pad)/25.4, (x.to+pad)/25.4
	y.to /= 25.4
	y.from = -y.to
	return x, y
}

// plotLines are the bias, the limits, zero and the target, from the top down;
// labels that would lie on each other are moved apart.
func plotLines(c Comparison, y axis) []plotLine {
	at := []struct {
		class, label string
		mm           float64
	}{
		{"target", "+1/16 in", float64(Target)}, {"limit", "limit " + signed(c.Upper), c.Upper}, {"bias", "bias " + signed(c.Bias), c.Bias},
		{"zero", "0", 0}, {"limit", "limit " + signed(c.Lower), c.Lower}, {"target", "−1/16 in", -float64(Target)},
	}
	sort.SliceStable(at, func(i, k int) bool { return at[i].mm > at[k].mm })
	var lines []plotLine
	free := math.Inf(-1)
	for _, l := range at {
		v := y.px(l.mm / 25.4)
		label := max(v, free)
		free = label + 15
		lines = append(lines, plotLine{l.class, num(v), num(label + 4), l.label})
	}
	return lines
}

// newDot is a circle, or a diamond where the tape lies outside the photo's U95.
func newDot(q Pair, tape Tape, x, y axis) plotDot {
	off, u95 := float64(q.Off())/25.4, q.bound(tape)/25.4
	d := plotDot{
		X: num(x.px(float64(q.Photo.Value()+q.Tape) / 2 / 25.4)), Y: num(y.px(off)),
		Low: num(min(y.px(off-u95), plotBottom)), High: num(max(y.px(off+u95), plotTop)), Class: "in", Shape: "M-3.5 0A3.5 3.5 0 1 1 3.5 0A3.5 3.5 0 1 1-3.5 0Z",
		Title: fmt.Sprintf("no %d, head %d of %s: photo %s, tape %s", q.Row, q.Head, q.File, q.Photo, length.Inches(q.Tape)),
	}
	if math.Abs(off) > u95 {
		d.Class, d.Shape = "out", "M0-5.5L5.5 0L0 5.5L-5.5 0Z"
	}
	return d
}

// inWords tells what the plot shows to those who cannot see it.
func (c Comparison) inWords() string {
	return fmt.Sprintf("%s, each as photo less tape against their mean. The differences have a mean of %s and lie, 19 times in 20, between %s and %s. All pairs stand in the table below.",
		count(len(c.Pairs), "pair", "pairs"), signed(c.Bias), signed(c.Lower), signed(c.Upper))
}

// steps are about n round values within a range.
func steps(from, to float64, n int) (out []float64) {
	rough := (to - from) / float64(n)
	step := math.Pow10(int(math.Floor(math.Log10(rough))))
	for _, k := range []float64{1, 2, 5, 10} {
		if k*step >= rough {
			step *= k
			break
		}
	}
	for v := math.Ceil(from/step) * step; v <= to; v += step {
		out = append(out, math.Round(v/step)*step+0) // no -0
	}
	return out
}

// num prints a coordinate to a tenth.
func num(v float64) string { return strconv.FormatFloat(v+0, 'f', 1, 64) }
