package judge_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"coursegauge/report/judge"
	"coursegauge/vision"
)

// The schedules of the check table. They decide as the table does: broken at
// 95 % or more, kept at 5 % or less, open between.
const (
	decide = "decision: {suspect: 0.95, clear: 0.05}\n"
	strip  = "product: {family: laminated, width: 36 in, height: 12 in, exposure: 5 in}\n"

	// Ontario Building Code, O. Reg. 332/12, Div. B 9.26.7.4: four a shingle
	// (1), end fasteners 25 to 40 mm from each end (4), at least 12 mm above
	// the tops of the cutouts (5), which end at the exposure of 127 mm. The
	// band's upper border is the top edge of the course below (12 less 5 in):
	// a head over it misses that course.
	ontario = strip + decide + `
band: {low: 139 mm, high: 7 in}
fasteners: {per_piece: 4}
ends: {min: 25 mm, max: 40 mm}
`
	// IRC R905.2.6 and IBC 1507.2.6: the product's number, at least four a
	// strip. The codes give no positions.
	irc = strip + decide + `
band: {low: 5 in, high: 7 in}
fasteners: {per_piece: 4}
`
	// Trade association advice, from memory, not checked: 2 in from joints of
	// the course below, 4 in between the joints of neighbouring courses.
	association = strip + decide + `
band: {low: 5 in, high: 7 in}
fasteners: {per_piece: 4}
joints: {clearance: 2 in, offset: 4 in}
`
	// Common practice, no source: a job's own rules.
	job = strip + decide + `
band: {low: 5.35 in, high: 6.15 in}
fasteners: {per_piece: 4}
ends: {min: 0.75 in, max: 1.5 in}
joints: {clearance: 2 in, offset: 5.5 in}
cut: {narrowest: 6 in, short: 24 in, short_count: 3, short_gap: 12 in}
`
)

func with(text, old, new string) string { return strings.Replace(text, old, new, 1) }

// want is an expected answer; head -1 is the piece. P is the probability that
// the rule is kept, as the table lists it; 0 when it lists none.
type want struct {
	rule   string
	head   int
	result judge.Result
	kept   float64
}

func all(rule string, n int, r judge.Result) []want {
	var out []want
	for i := range n {
		out = append(out, want{rule, i, r, 0})
	}
	return out
}

func join(parts ...[]want) []want {
	var out []want
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

func one(rule string, head int, r judge.Result, kept float64) []want {
	return []want{{rule, head, r, kept}}
}

var (
	quarter = []float64{1, 12, 24, 35}
	six     = []float64{1, 7.8, 14.6, 21.4, 28.2, 35}
)

// TestPractice drives published layouts, and layouts of common practice,
// through a real schedule file and the rules.
//
// Rows that these rules cannot express, and why:
//   - equal spacing of the inner heads (Ontario 9.26.7.4 (4)): the code gives
//     no tolerance, so there is nothing to judge; `gap` finds a missing head.
//   - fewer heads on narrower pieces in proportion to the width (Ontario
//     9.26.7.4 (3)): short_count is a number, not a proportion; rows 5 to 7
//     write the rounded-up number into the schedule.
//   - the factory end belongs at the rake (common practice, no source): a cut
//     end is not told from a factory end.
//   - the number of sound fasteners among those seen (row 32): `count` counts
//     heads, `drive` marks each faulty one.
//   - a head right above a cutout of its own piece (row 2) is allowed there;
//     no rule looks at it.
//   - heads of a piece that is itself too narrow (row 8) are judged all the
//     same: the piece's finding stands beside theirs.
func TestPractice(t *testing.T) {
	for _, c := range []struct {
		row, source, schedule string
		layout                layout
		want                  []want
	}{
		{"1", "Ontario 9.26.7.4 (1) (4) (5)", ontario, layout{width: 36, heads: quarter, height: 5.625},
			join(one("count", -1, judge.Clear, 0), one("end", 0, judge.Clear, 0), one("end", 3, judge.Clear, 0), all("height", 4, judge.Clear))},
		{"1", "IRC R905.2.6", irc, layout{width: 36, heads: quarter, height: 5.625}, one("count", -1, judge.Clear, 0)},
		{"1", "association, from memory", association, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{6}, next: []float64{30}},
			join(all("lower_joint", 4, judge.Clear)[:3], all("next_joint", 4, judge.Clear))},
		{"1", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625},
			join(one("end", 0, judge.Clear, 0), one("end", 3, judge.Clear, 0), all("gap", 4, judge.Clear)[1:])},
		// Pairs beside the cutouts: the width of a tab plus 2 in (14 in) is the limit.
		{"2", "association, from memory; six a strip", with(with(association, "per_piece: 4", "per_piece: 6"), "laminated", "three-tab"),
			layout{width: 36, heads: []float64{1, 11, 13, 23, 25, 35}, height: 5.625, lower: []float64{6}, next: []float64{30}},
			join(one("count", -1, judge.Clear, 0), all("gap", 6, judge.Clear)[1:], all("lower_joint", 5, judge.Clear), all("next_joint", 6, judge.Clear))},
		{"2, a pair missing", "common practice, no source", with(with(job, "per_piece: 4", "per_piece: 6"), "laminated", "three-tab"),
			layout{width: 36, heads: []float64{1, 23, 25, 35}, height: 5.625}, join(one("gap", 1, judge.Suspect, 0), one("gap", 2, judge.Clear, 0))},
		{"3", "association, from memory; six equal", with(association, "per_piece: 4", "per_piece: 6"),
			layout{width: 36, heads: six, height: 5.625, lower: []float64{6}, next: []float64{30}},
			join(one("count", -1, judge.Clear, 0), one("lower_joint", 1, judge.Suspect, 0), one("next_joint", 4, judge.Suspect, 0),
				one("lower_joint", 0, judge.Clear, 0), one("lower_joint", 2, judge.Clear, 0), all("gap", 6, judge.Clear)[1:])},
		{"3 at 4.4", "association, from memory; six equal", with(association, "per_piece: 4", "per_piece: 6"),
			layout{width: 36, heads: six, height: 5.625, lower: []float64{4.4}, next: []float64{31.6}},
			join(all("lower_joint", 5, judge.Clear), all("next_joint", 6, judge.Clear))},
		{"4", "IRC R905.2.6", irc, layout{width: 36, heads: []float64{1, 18, 35}, height: 5.625}, one("count", -1, judge.Suspect, 0)},
		{"4", "Ontario 9.26.7.4 (1)", ontario, layout{width: 36, heads: []float64{1, 18, 35}, height: 5.625}, one("count", -1, judge.Suspect, 0)},
		{"4", "common practice, no source", job, layout{width: 36, heads: []float64{1, 18, 35}, height: 5.625},
			join(one("count", -1, judge.Suspect, 0), one("gap", 1, judge.Suspect, 0), one("gap", 2, judge.Suspect, 0))},
		{"5", "common practice, no source", job, layout{width: 20, heads: []float64{1, 10, 19}, height: 5.625},
			join(one("count", -1, judge.Clear, 0), one("gap", 1, judge.Clear, 0), one("gap", 2, judge.Clear, 0))},
		{"5", "Ontario 9.26.7.4 (3), 2.03 rounded up to 3", ontario + "cut: {short_count: 3}\n", layout{width: 20, heads: []float64{1, 10, 19}, height: 5.625}, one("count", -1, judge.Clear, 0)},
		{"6", "common practice, no source", job, layout{width: 20, heads: []float64{1, 19}, height: 5.625},
			join(one("count", -1, judge.Suspect, 0), one("gap", 1, judge.Suspect, 0))},
		{"6", "Ontario 9.26.7.4 (3), rounded up", ontario + "cut: {short_count: 3}\n", layout{width: 20, heads: []float64{1, 19}, height: 5.625}, one("count", -1, judge.Suspect, 0)},
		{"6", "Ontario 9.26.7.4 (3), rounded down", ontario + "cut: {short_count: 2}\n", layout{width: 20, heads: []float64{1, 19}, height: 5.625}, one("count", -1, judge.Clear, 0)},
		{"7", "common practice, no source", job, layout{width: 12, heads: []float64{1, 6, 11}, height: 5.625},
			join(one("count", -1, judge.Clear, 0), one("gap", 1, judge.Clear, 0), one("gap", 2, judge.Clear, 0))},
		{"8", "common practice, no source", job, layout{width: 5.5, heads: []float64{1, 4.5}, height: 5.625}, one("narrow", -1, judge.Suspect, 0)},
		{"9", "common practice, no source", job, layout{width: 6, u: 0.05, heads: []float64{1, 5}, height: 5.625}, one("narrow", -1, judge.Unresolved, 0.5)},
		{"10", "association, from memory", association, layout{width: 36, heads: []float64{1.20}, u: 0.06, height: 5.625, lower: []float64{0}}, one("lower_joint", 0, judge.Suspect, 7e-41)},
		{"11", "association, from memory", association, layout{width: 36, heads: []float64{1.95}, u: 0.06, height: 5.625, lower: []float64{0}}, one("lower_joint", 0, judge.Unresolved, 0.2023)},
		{"12", "association, from memory", association, layout{width: 36, heads: []float64{2.12}, u: 0.06, height: 5.625, lower: []float64{0}}, one("lower_joint", 0, judge.Clear, 0.9772)},
		{"13", "Ontario 9.26.7.4 (4)", ontario, layout{width: 36, heads: []float64{0.5, 12, 24, 35}, height: 5.625}, join(one("end", 0, judge.Suspect, 0), one("end", 3, judge.Clear, 0))},
		{"13", "common practice, no source", job, layout{width: 36, heads: []float64{0.5, 12, 24, 35}, height: 5.625}, join(one("end", 0, judge.Suspect, 0), one("gap", 1, judge.Clear, 0))},
		{"14", "common practice, no source", job, layout{width: 36, heads: []float64{0.95, 12, 24, 35}, height: 5.625}, one("end", 0, judge.Clear, 0)},
		{"14, u 0.5 mm", "Ontario 9.26.7.4 (4)", ontario, layout{width: 36, heads: []float64{0.95, 12, 24, 35}, u: 0.5 / 25.4, height: 5.625}, one("end", 0, judge.Suspect, 0.0409)},
		{"14, u 1 mm", "Ontario 9.26.7.4 (4)", ontario, layout{width: 36, heads: []float64{0.95, 12, 24, 35}, u: 1 / 25.4, height: 5.625}, one("end", 0, judge.Unresolved, 0.192)},
		{"15", "Ontario 9.26.7.4 (4)", ontario, layout{width: 36, heads: []float64{1.75, 12, 24, 35}, height: 5.625}, one("end", 0, judge.Suspect, 0)},
		{"15", "common practice, no source", job, layout{width: 36, heads: []float64{1.75, 12, 24, 35}, height: 5.625}, one("end", 0, judge.Suspect, 0)},
		{"16", "association, from memory", association, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{3.5}}, one("offset", -1, judge.Suspect, 0)},
		{"16", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{3.5}}, one("offset", -1, judge.Suspect, 0)},
		{"17", "association, from memory", association, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{5}}, one("offset", -1, judge.Clear, 0)},
		{"17", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{5}}, one("offset", -1, judge.Suspect, 0)},
		{"18 at 6.0", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{6}}, one("offset", -1, judge.Clear, 0)},
		// At the limit itself a measurement, unlike a drawing, decides nothing.
		{"18 at 5.5", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625, lower: []float64{5.5}, next: []float64{30.5}},
			join(one("offset", -1, judge.Unresolved, 0.5), all("lower_joint", 3, judge.Clear), all("next_joint", 4, judge.Clear))},
		{"19", "Ontario 9.26.7.4 (1), 1000 mm nominal", with(with(ontario, "36 in", "39-3/8 in"), "height: 12 in", "height: 13 in"),
			layout{width: 39.375, heads: []float64{1, 13.458, 25.917, 38.375}, height: 5.625},
			join(one("count", -1, judge.Clear, 0), one("end", 0, judge.Clear, 0), one("end", 3, judge.Clear, 0), all("gap", 4, judge.Clear)[1:])},
		{"20 at 5.30", "Ontario 9.26.7.4 (5)", ontario, layout{width: 36, heads: quarter, u: 0.04, height: 5.30}, one("height", 1, judge.Suspect, 8e-6)},
		{"20 at 5.40", "Ontario 9.26.7.4 (5)", ontario, layout{width: 36, heads: quarter, u: 0.04, height: 5.40}, one("height", 1, judge.Suspect, 0.035)},
		{"20 at 5.50", "Ontario 9.26.7.4 (5)", ontario, layout{width: 36, heads: quarter, u: 0.04, height: 5.50}, one("height", 1, judge.Unresolved, 0.755)},
		{"20 at 5.625", "Ontario 9.26.7.4 (5)", ontario, layout{width: 36, heads: quarter, u: 0.04, height: 5.625}, one("height", 1, judge.Clear, 0.9999)},
		{"21", "Ontario 9.26.7.4 (1), none exposed", ontario, layout{width: 36, heads: quarter, height: 4.9}, all("height", 4, judge.Suspect)},
		{"21", "common practice, no source", job, layout{width: 36, heads: quarter, height: 4.9}, all("height", 4, judge.Suspect)},
		{"22", "top edge of the course below, by geometry", irc, layout{width: 36, heads: quarter, u: 0.06, height: 6.90}, one("height", 1, judge.Clear, 0.952)},
		{"23", "top edge of the course below, by geometry", irc, layout{width: 36, heads: quarter, height: 7.20}, all("height", 4, judge.Suspect)},
		{"24 at 6.00", "common practice, no source", with(job, "low: 5.35 in, high: 6.15 in", "low: 5.75 in, high: 6.25 in"), layout{width: 36, heads: quarter, u: 0.06, height: 6.00}, one("height", 1, judge.Clear, 1.000)},
		{"24 at 6.20", "common practice, no source", with(job, "low: 5.35 in, high: 6.15 in", "low: 5.75 in, high: 6.25 in"), layout{width: 36, heads: quarter, u: 0.06, height: 6.20}, one("height", 1, judge.Unresolved, 0.798)},
		{"24 at 6.25", "common practice, no source", with(job, "low: 5.35 in, high: 6.15 in", "low: 5.75 in, high: 6.25 in"), layout{width: 36, heads: quarter, u: 0.06, height: 6.25}, one("height", 1, judge.Unresolved, 0.500)},
		{"24 at 6.40", "common practice, no source", with(job, "low: 5.35 in, high: 6.15 in", "low: 5.75 in, high: 6.25 in"), layout{width: 36, heads: quarter, u: 0.06, height: 6.40}, one("height", 1, judge.Suspect, 0.006)},
		{"25", "common practice, no source", job, layout{width: 23.5, heads: []float64{1, 11.75, 22.5}, height: 5.625},
			join(one("count", -1, judge.Clear, 0), one("gap", 1, judge.Clear, 0), one("gap", 2, judge.Clear, 0))},
		// From `short` up to a full piece practice is silent, and so is `count`.
		{"26", "common practice, no source", job, layout{width: 24, heads: []float64{1, 12, 23}, height: 5.625}, one("count", -1, judge.NotJudged, 0)},
		{"27", "IRC R905.2.6, two an individual shingle", job, layout{width: 8, heads: []float64{1, 7}, height: 5.625}, one("count", -1, judge.Clear, 0)},
		{"28", "common practice, no source", job, layout{width: 36, heads: quarter, height: 5.625, next: []float64{12}}, join(one("next_joint", 1, judge.Suspect, 0), one("next_joint", 0, judge.Clear, 0))},
		// The cap of 12 in is for cut pieces; even spacing plus 2 in is 13.5 in here.
		{"29", "association, from memory", job, layout{width: 36, heads: []float64{1, 12, 22.5, 35}, height: 5.625, lower: []float64{24}, next: []float64{30}},
			join(one("lower_joint", 2, judge.Suspect, 0), one("lower_joint", 1, judge.Clear, 0), one("gap", 3, judge.Clear, 0))},
		{"30 at 4.0", "common practice, no source; the starter is the course below", with(job, "offset: 5.5 in", "offset: 6 in"), layout{width: 36, heads: quarter, height: 5.625, lower: []float64{4}}, one("offset", -1, judge.Suspect, 0)},
		{"30 at 6.0", "common practice, no source; the starter is the course below", with(job, "offset: 5.5 in", "offset: 6 in"), layout{width: 36, heads: quarter, u: 0.05, height: 5.625, lower: []float64{6}}, one("offset", -1, judge.Unresolved, 0.5)},
		{"32", "common practice, no source", with(job, "suspect: 0.95", "suspect: 0.5"), layout{width: 36, heads: quarter, height: 5.625, drive: []vision.DriveClass{vision.Flush, vision.Overdriven, vision.Flush, vision.Cocked}},
			join(one("drive", 0, judge.Clear, 0), one("drive", 1, judge.Suspect, 0), one("drive", 2, judge.Clear, 0), one("drive", 3, judge.Suspect, 0),
				all("height", 4, judge.Clear), one("end", 3, judge.Clear, 0), one("count", -1, judge.Clear, 0))},
	} {
		t.Run(fmt.Sprintf("row %s, %s", c.row, c.source), func(t *testing.T) {
			photo := judge.Judge(read(t, c.schedule), c.layout.result())
			for _, w := range c.want {
				got, ok := find(photo, w.rule, w.head)
				if !ok || got.Result != w.result {
					t.Errorf("%s of head %d: %s (p %.4f, %s), want %s", w.rule, w.head, got.Result, got.P, got.Text(), w.result)
				}
				// Half a unit of the table's last digit, or 1 part in 10 of a tail.
				if w.kept > 1e-3 && math.Abs(1-got.P-w.kept) > 6e-4 {
					t.Errorf("%s of head %d: kept with probability %.4f, want %.4f", w.rule, w.head, 1-got.P, w.kept)
				}
				if w.kept != 0 && w.kept <= 1e-3 && 1-got.P > 1.1*w.kept+1e-12 { // the complement of a double ends there
					t.Errorf("%s of head %d: kept with probability %g, want %g", w.rule, w.head, 1-got.P, w.kept)
				}
			}
		})
	}
}
