package judge

import (
	"fmt"
	"math"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "lower_joint", Order: 5, Keys: []string{"joints.clearance"}, Needs: []Need{LowerJoint, AboveButt},
		Remedy: "to seal it and set another fastener clear of the joint",
		head:   lowerJoint,
	})
}

// lowerJoint: nearer to a joint of the course below than joints.clearance,
// while the head is below the top edge of that course. Over the top edge there
// is no joint to leak through, and `height` speaks.
func lowerJoint(c *scene, i int) (Finding, bool) {
	f := c.r.Fasteners[i]
	switch {
	case f.Exposed:
		return Finding{}, false
	case f.LowerJoint == nil && len(c.r.Course.MaybeLower) > 0 && f.Along != nil:
		return c.maybeLower(f), true
	case f.LowerJoint == nil:
		return notJudged("lower_joint", "no joint of the course below was seen from this head"), true
	}
	d, limit := f.LowerJoint.Abs(), c.s.Joints.Clearance
	top := c.s.Shingle.Height - c.s.Shingle.Exposure
	p := below(d, limit)
	if f.AboveButt != nil {
		p = bothBelow(d, limit, *f.AboveButt, top)
	}
	if p <= c.s.Decision.Clear && c.jointOutOfSight(i, d) {
		return notJudged("lower_joint", fmt.Sprintf("the joint seen is %v away, and another one may lie out of sight on the other side", d)).with(&d, &limit, nil), true
	}
	text := jointText(d, limit, "a joint of the course below")
	if f.AboveButt != nil && f.AboveButt.Value() > top && d.Value() < limit {
		text += fmt.Sprintf(", but over the top edge of that course (%s above the butt edge)", length.Inches(top))
	}
	return c.answer("lower_joint", p, text).with(&d, &limit, nil), true
}

// mayHide is the probability that none of the listed hypotheses is right from which no
// head is called clear: what the list leaves out may lie anywhere (chosen, no source).
const mayHide = .1

// maybeLower judges a head where the joints of the course below could not be
// told from other lines: the probability that it is too near to one is the sum
// over the ways in which they may lie. Ways that nobody listed count as many
// joints as a course has, anywhere.
func (c *scene) maybeLower(f vision.Fastener) Finding {
	limit, p, told := c.s.Joints.Clearance, 0.0, 0.0
	for _, way := range c.r.Course.MaybeLower {
		worst := 0.0
		for _, x := range way.X {
			worst = max(worst, below(x.Sub(*f.Along).Abs(), limit))
		}
		p += way.P * worst
		told += way.P
	}
	p += max(0, 1-told) * min(1, 2*float64(limit/c.s.Shingle.Width))
	if f.AboveButt != nil {
		p *= below(*f.AboveButt, c.s.Shingle.Height-c.s.Shingle.Exposure)
	}
	switch open := 1 - told; {
	case p > c.s.Decision.Clear:
	case open > mayHide:
		p = math.Nextafter(c.s.Decision.Clear, 1) // what may be missing from the list clears nobody
	default:
		return c.answer("lower_joint", p, "clear of every line below that may be a joint")
	}
	p = min(p, c.s.Decision.Suspect*.98) // the ways are told apart too poorly to call a head suspect
	return c.answerBy("lower_joint", p, fmt.Sprintf("may lie too near to a joint of the course below (least %s): the joints could not be told from other lines", length.Inches(limit)),
		"to look where the joint below runs", "joints.clearance")
}

// jointOutOfSight tells whether a joint of the course below may lie within the
// clearance although another one was the nearest seen. The next joint on a
// seen one's other side is at most a piece's width from it, so the question
// stands only for a head that is nearly a width from the nearest, and not when
// the roof ends before that.
func (c *scene) jointOutOfSight(i int, nearest length.Measured) bool {
	beyond := c.s.Shingle.Width*1.01 - nearest.Value() // from the head to the joint not seen
	if beyond >= c.s.Joints.Clearance+nearest.U95() {
		return false
	}
	f := c.r.Fasteners[i]
	w, _ := c.row(i)
	roofEnds := func(kind vision.End, m *length.Measured) bool {
		return kind == vision.EndRake && m != nil && m.Value() <= beyond+nearest.U95()
	}
	return w == nil || !roofEnds(w.piece.Left, f.LeftEnd) && !roofEnds(w.piece.Right, f.RightEnd)
}

// jointText says how a head lies against a joint.
func jointText(d length.Measured, limit length.MM, joint string) string {
	if d.Value() < limit {
		return fmt.Sprintf("%s too near to %s (least %s; head at %v from it)", length.Inches(limit-d.Value()), joint, length.Inches(limit), d)
	}
	return fmt.Sprintf("clear of %s (least %s; head at %v from it)", joint, length.Inches(limit), d)
}
