package judge

import (
	"fmt"

	"coursegauge/vision"
	"coursegauge/vision/length"
)

func init() {
	register(Rule{
		ID: "offset", Order: 11, Keys: []string{"joints.offset"}, Needs: []Need{LowerJoint, Pieces},
		Remedy: "to lay the open course anew with a wider offset",
		pieces: offset,
	})
}

// offset: a joint of the course below is nearer to a joint of the open course
// than joints.offset. One finding a joint of the course below.
func offset(c *scene) []PieceFinding {
	var out []PieceFinding
	for k, joint := range c.r.Course.LowerJoints {
		out = append(out, PieceFinding{c.offsetOf(joint), -1, k})
	}
	return out
}

// offsetOf compares one lower joint with the nearest open joint whose place is
// known from the heads beside it; without any, with the offset of the photo.
func (c *scene) offsetOf(joint vision.LowerJoint) Finding {
	limit := c.s.Joints.Offset
	var nearest *length.Measured
	for _, x := range c.openJoints() {
		if d := joint.X.Sub(x).Abs(); nearest == nil || d.Value() < nearest.Value() {
			nearest = &d
		}
	}
	if nearest == nil && c.r.Course.Offset != nil {
		d := c.r.Course.Offset.Abs()
		nearest = &d
	}
	if nearest == nil {
		return notJudged("offset", "no joint of the open course was measured beside it")
	}
	p := below(*nearest, limit)
	// The next open joint lies at most a width from this one; when it would
	// come that near, the one seen does not settle the matter.
	if p <= c.s.Decision.Clear && c.s.Shingle.Width*1.01-nearest.Value() < limit+nearest.U95() {
		return notJudged("offset", fmt.Sprintf("the open joint seen is %v away, and another one may lie out of sight on the other side", *nearest)).with(nearest, &limit, nil)
	}
	text := fmt.Sprintf("joints of the two courses far enough apart (least %s; measured %v)", length.Inches(limit), *nearest)
	if nearest.Value() < limit {
		text = fmt.Sprintf("joints of the two courses %s too near to each other (least %s; measured %v)", length.Inches(limit-nearest.Value()), length.Inches(limit), *nearest)
	}
	return c.answer("offset", p, text).with(nearest, &limit, nil)
}

// openJoints gives the joints of the open course along the butt line. A joint
// is placed by the outermost head beside it and that head's distance to it;
// what the head's own place adds to the uncertainty is left in, which errs to
// the wide side.
func (c *scene) openJoints() []length.Measured {
	var out []length.Measured
	for _, p := range c.r.Course.Pieces {
		w := c.rows[p.ID]
		if len(w.heads) == 0 {
			continue
		}
		first, last := c.r.Fasteners[w.heads[0]], c.r.Fasteners[w.heads[len(w.heads)-1]]
		if p.Left == vision.EndJoint && first.LeftEnd != nil {
			out = append(out, first.Along.Sub(*first.LeftEnd))
		}
		if p.Right == vision.EndJoint && last.RightEnd != nil {
			out = append(out, last.Along.Add(*last.RightEnd))
		}
	}
	return out
}
