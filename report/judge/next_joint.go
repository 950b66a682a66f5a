package judge

func init() {
	register(Rule{
		ID: "next_joint", Order: 6, Keys: []string{"joints.clearance"}, Needs: []Need{NextJoint},
		Remedy: "to shift that joint or to seal this head and set another one",
		head:   nextJoint,
	})
}

// nextJoint: nearer to a predicted joint of the course above than the
// clearance. That course will cover any head of the band, so the height does
// not matter here.
func nextJoint(c *scene, i int) (Finding, bool) {
	f := c.r.Fasteners[i]
	switch {
	case f.Exposed:
		return Finding{}, false
	case c.s.NextCourse.Unknown:
		return notJudged("next_joint", "the schedule does not say how the next course will lie (next_course.stagger)"), true
	case f.NextJoint == nil:
		return notJudged("next_joint", "where the joints of the next course will be cannot be told from this photo"), true
	}
	d, limit := f.NextJoint.Abs(), c.s.Joints.Clearance
	text := jointText(d, limit, "where a joint of the next course is expected")
	return c.answer("next_joint", below(d, limit), text).with(&d, &limit, nil), true
}
