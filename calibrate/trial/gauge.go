package trial

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// Gauge is a gauge study by analysis of variance: the same parts measured
// several times by each of several operators. Standard deviations, in the unit
// of the values.
type Gauge struct {
	Parts, Operators, Trials int
	Repeatability            float64 // of one operator on one part
	RepeatabilityCI          Interval
	Reproducibility          float64 // between operators; 0 with one of them
	Interaction              float64 // of operator and part; 0 when pooled
	Both                     float64 // repeatability and reproducibility together
	BetweenParts             float64
	Total                    float64
	Categories               int     // how many groups of parts can be told apart, 1.41 BetweenParts / Both
	PInteraction             float64 // of the F test; NaN when it cannot be made
	Pooled                   bool    // the interaction was taken as repeatability
}

// poolFrom is the probability from which an interaction counts as none (the
// usual choice of such studies; from memory).
const poolFrom = .25

// Limit is how far two measurements of one part by one operator lie apart at
// most, 19 times in 20: 1.96 sqrt(2) standard deviations (ISO 5725-6).
func (g Gauge) Limit() float64 { return length.K95 * math.Sqrt2 * g.Repeatability }

var errStudy = errors.New("a gauge study needs two parts, each measured at least twice")

// table are the sums of squares of a balanced crossed study.
type table struct {
	parts, operators, trials            float64
	part, operator, interaction, within float64
}

// Study takes values[part][operator][trial], every part measured by every
// operator equally often. With one trial each, what operators and parts do
// together cannot be told from repeatability and is taken as that.
func Study(values [][][]float64) (Gauge, error) {
	t, err := squares(values)
	if err != nil {
		return Gauge{}, err
	}
	g := Gauge{Parts: int(t.parts), Operators: int(t.operators), Trials: int(t.trials), PInteraction: math.NaN()}
	freePart, freeOp := t.parts-1, t.operators-1
	freeBoth, freeIn := freePart*freeOp, t.parts*t.operators*(t.trials-1)
	if freeBoth > 0 && freeIn > 0 && t.within > 0 {
		f := (t.interaction / freeBoth) / (t.within / freeIn)
		g.PInteraction = distuv.F{D1: freeBoth, D2: freeIn}.Survival(f)
	}
	g.Pooled = freeBoth > 0 && !(g.PInteraction < poolFrom)
	squareIn, squareBoth := t.within/freeIn, t.interaction/freeBoth
	if g.Pooled || freeBoth == 0 {
		freeIn += freeBoth
		squareIn = (t.within + t.interaction) / freeIn
		squareBoth = squareIn
	}
	root := func(v float64) float64 { return math.Sqrt(max(v, 0)) }
	g.Repeatability = root(squareIn)
	g.RepeatabilityCI = stats.SpreadInterval(g.Repeatability, freeIn)
	g.Interaction = root((squareBoth - squareIn) / t.trials)
	if freeOp > 0 {
		g.Reproducibility = root((t.operator/freeOp - squareBoth) / (t.parts * t.trials))
	}
	g.BetweenParts = root((t.part/freePart - squareBoth) / (t.operators * t.trials))
	g.Both = math.Hypot(math.Hypot(g.Repeatability, g.Reproducibility), g.Interaction)
	g.Total = math.Hypot(g.Both, g.BetweenParts)
	if g.Both > 0 {
		g.Categories = int(math.Sqrt2 * g.BetweenParts / g.Both)
	}
	return g, nil
}

// squares checks that the study is balanced and takes its sums of squares apart.
func squares(v [][][]float64) (table, error) {
	if len(v) < 2 || len(v[0]) == 0 || len(v[0])*len(v[0][0]) < 2 {
		return table{}, errStudy
	}
	t := table{parts: float64(len(v)), operators: float64(len(v[0])), trials: float64(len(v[0][0]))}
	var all []float64
	byOperator := make([][]float64, len(v[0]))
	var cells float64 // squares of the cells about the grand mean, per trial
	for p, row := range v {
		if len(row) != len(v[0]) {
			return table{}, fmt.Errorf("part %d was measured by %d operators, part 1 by %d", p+1, len(row), len(v[0]))
		}
		for o, cell := range row {
			if len(cell) != len(v[0][0]) {
				return table{}, fmt.Errorf("part %d was measured %d times, part 1 %d times", p+1, len(cell), len(v[0][0]))
			}
			all = append(all, cell...)
			byOperator[o] = append(byOperator[o], cell...)
		}
	}
	mean := stat.Mean(all, nil)
	off := func(x []float64) float64 { d := stat.Mean(x, nil) - mean; return d * d }
	for _, row := range v {
		var part []float64
		for _, cell := range row {
			part = append(part, cell...)
			cells += t.trials * off(cell)
			for _, x := range cell {
				d := x - stat.Mean(cell, nil)
				t.within += d * d
			}
		}
		t.part += float64(len(part)) * off(part)
	}
	for _, x := range byOperator {
		t.operator += float64(len(x)) * off(x)
	}
	t.interaction = max(0, cells-t.part-t.operator)
	return t, nil
}
