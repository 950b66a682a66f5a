package mend

import "coursegauge/report/inspection"

// add puts a line and what to do on an item, each once.
func (it *item) add(what, do string) {
	it.What = append(it.What, what)
	for _, d := range it.Do {
		if d == do {
			return
		}
	}
	if do != "" {
		it.Do = append(it.Do, do)
	}
}

// under and over say a length that breaks its least or its most, or else that
// it is not certain.
func (l list) under(c inspection.Compared, broken, unsure string) string {
	if c.Length == nil || c.LowMM == nil || c.Length.MM >= *c.LowMM {
		return l.say(unsure)
	}
	return l.say(broken, l.apart(c.Length.MM, *c.LowMM)...)
}

func (l list) over(c inspection.Compared, broken, unsure string) string {
	if c.Length == nil || c.HighMM == nil || c.Length.MM <= *c.HighMM {
		return l.say(unsure)
	}
	return l.say(broken, l.apart(c.Length.MM, *c.HighMM)...)
}

func isOver(c inspection.Compared) bool {
	return c.Length != nil && c.HighMM != nil && c.Length.MM > *c.HighMM
}

// headLine says one broken rule of a head. What to do is common practice, no
// source; the list says so.
func (l list) headLine(it *item, h inspection.Fastener, r inspection.Rule) {
	switch r.Rule {
	case "height":
		l.heightLine(it, r.Compared)
	case "end":
		do := l.say("Set a further nail at the right distance from the end.")
		if isOver(r.Compared) {
			it.add(l.over(r.Compared, "too far from the end of the piece: %s, at most %s", "distance to the end of the piece not certain"), do)
			return
		}
		it.add(l.under(r.Compared, "too near to the end of the piece: %s, at least %s", "distance to the end of the piece not certain"), do)
	case "lower_joint":
		it.add(l.under(r.Compared, "too near to a joint of the course below: %s, at least %s", "distance to a joint of the course below not certain"),
			l.say("Seal it and set another nail clear of the joint."))
	case "next_joint":
		it.add(l.under(r.Compared, "too near to a joint of the next course: %s, at least %s", "distance to a joint of the next course not certain"),
			l.say("Shift that joint, or seal this nail and set another one."))
	case "drive":
		l.driveLine(it, h.Drive.Class)
	case "head_size":
		it.add(l.under(r.Compared, "head too small: %s, at least %s", "size of the head not certain"), l.say("Check one from the same box with a caliper."))
	case "exposed":
		it.add(l.say("below the butt edge, left to the weather"), l.say("Take it out and seal the hole."))
	default:
		it.add(l.say("a rule may be broken"), "")
	}
}

func (l list) heightLine(it *item, c inspection.Compared) {
	const unsure = "height above the butt edge not certain"
	if isOver(c) {
		it.add(l.over(c, "too high: %s above the butt edge, at most %s", unsure), l.say("Set a further nail inside the band of the same piece."))
		return
	}
	it.add(l.under(c, "too low: %s above the butt edge, at least %s", unsure), l.say("Take it out, seal the hole and set one inside the band."))
}

func (l list) driveLine(it *item, class string) {
	switch class {
	case "overdriven":
		it.add(l.say("driven too deep"), l.say("Seal it and set a sound nail beside it."))
	case "underdriven":
		it.add(l.say("stands proud"), l.say("Drive it flush."))
	case "cocked":
		it.add(l.say("driven at a slant"), l.say("Take it out, seal the hole and set a straight one beside it."))
	default:
		it.add(l.say("how it is driven is not certain"), "")
	}
}

// pieceLine says a broken rule of a piece or a joint.
func (l list) pieceLine(it *item, p inspection.Photo, f inspection.Finding) {
	switch f.Rule {
	case "gap":
		it.add(l.over(f.Compared, "two neighbours too far apart: %s, at most %s", "spacing of the nails not certain"), l.say("Set a further nail between the two."))
	case "count":
		n := 0
		for _, h := range p.Heads {
			if f.Piece != nil && h.Piece != nil && *h.Piece == *f.Piece && !h.Exposed {
				n++
			}
		}
		it.add(l.say("too few nails: %d seen", n), l.say("Add what is missing, evenly spaced in the band."))
	case "end":
		it.add(l.over(f.Compared, "no nail near one end of the piece: the nearest at %s, at most %s", "distance to the end of the piece not certain"),
			l.say("Set a further nail at the right distance from the end."))
	case "offset":
		it.add(l.under(f.Compared, "joint too near to a joint of the course above: %s, at least %s", "offset of the joints not certain"),
			l.say("Ask the supervisor before the next course is laid."))
	case "narrow":
		it.add(l.under(f.Compared, "too narrow: %s, at least %s", "width of the piece not certain"), l.say("Ask the supervisor before the next course is laid."))
	default:
		it.add(l.say("a rule may be broken"), "")
	}
}
