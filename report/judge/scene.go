package judge

import (
	"slices"

	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// scene is a photo's result made ready for the rules.
type scene struct {
	s schedule.Schedule
	r *vision.Result

	rows map[int]*row // by Piece.ID
}

// row is one piece with its heads.
type row struct {
	piece vision.Piece
	heads []int // indexes into Result.Fasteners, left to right
	// hidden is set when heads may lack one of the piece's: some of its
	// nailing area is out of sight, or a head was not measured along the course.
	hidden bool
}

func newScene(s schedule.Schedule, r *vision.Result) *scene {
	c := &scene{s: s, r: r, rows: map[int]*row{}}
	for _, p := range r.Course.Pieces {
		c.rows[p.ID] = &row{piece: p, hidden: p.Covered}
	}
	for i, f := range r.Fasteners {
		w, ok := c.rows[f.Piece]
		switch {
		case !ok || f.Exposed:
		case f.Along == nil:
			w.hidden = true
		default:
			w.heads = append(w.heads, i)
		}
	}
	for _, w := range c.rows {
		slices.SortStableFunc(w.heads, func(a, b int) int {
			if r.Fasteners[a].Along.Value() < r.Fasteners[b].Along.Value() {
				return -1
			}
			return 1
		})
	}
	return c
}

// row gives the piece of a head that lies on the open course, and where the
// head stands among its heads; -1 when its place along the course is unknown.
func (c *scene) row(i int) (*row, int) {
	f := c.r.Fasteners[i]
	w, ok := c.rows[f.Piece]
	if !ok || f.Exposed {
		return nil, -1
	}
	return w, slices.Index(w.heads, i)
}

// seen tells whether an end of a piece is in the picture as an end.
func seen(e vision.End) bool {
	return e == vision.EndJoint || e == vision.EndRake || e == vision.EndCut
}

// full tells whether a piece counts as a whole one: within 1 % of the
// product's width and a margin.
func (c *scene) full(width length.Measured, margin length.MM) bool {
	product := c.s.Shingle.Width
	return width.Plus(-product).Abs().Value() <= product/100+margin
}

// answer makes a finding of a rule from a probability. When a person must look, the
// observation says that the limit is common practice if one of the rule's keys
// is a default, and the remedy is the rule's.
func (c *scene) answer(rule string, p float64, observation string) Finding {
	r, _ := Find(rule)
	return c.answerBy(rule, p, observation, r.Remedy, r.Keys...)
}

// answerBy is answer where the case has a remedy of its own, or looks at some
// of the rule's keys only.
func (c *scene) answerBy(rule string, p float64, observation, remedy string, keys ...string) Finding {
	f := Finding{Rule: rule, Result: decide(c.s.Decision, p), P: p, Observation: observation}
	if f.Result != Clear && slices.ContainsFunc(keys, c.s.IsDefault) {
		f.Observation += "; the limit is " + schedule.Practice
	}
	switch f.Result {
	case Suspect:
		f.Remedy = "common practice is " + remedy + ", and the product's instructions decide"
	case Unresolved:
		f.Remedy = "the photo cannot tell: look, or measure by hand"
	}
	return f
}

func notJudged(rule, why string) Finding {
	return Finding{Rule: rule, Result: NotJudged, Observation: "not judged: " + why}
}

func (f Finding) with(m *length.Measured, low, high *length.MM) Finding {
	f.Length, f.LimitLow, f.LimitHigh = m, low, high
	return f
}
