package inspection

import (
	"fmt"
	"math"
	"slices"

	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

// Contradictions names what the verdicts of a photo have against its own lengths and the
// schedule. It needs no picture: whoever changes a verdict must change the lengths
// too, and those are measured again. Rules about places that an inspection does not
// keep (the ends of a piece, gaps, counts) are left to measuring again.
func Contradictions(p Photo, s schedule.Schedule) (out []string) {
	if p.Status != Measured {
		return nil
	}
	for i, h := range judge.Judge(s, seenAs(p)).Heads {
		then := p.Heads[i]
		say := func(format string, args ...any) {
			out = append(out, fmt.Sprintf("head %d: ", then.ID)+fmt.Sprintf(format, args...))
		}
		var all []judge.Finding
		for _, r := range then.Rules {
			all = append(all, judge.Finding{Rule: r.Rule, Result: judge.Result(r.Result)})
		}
		if got := judge.Verdict(all); string(got) != then.Verdict {
			say("is %s, and its rules make it %s", then.Verdict, got)
		}
		for _, f := range h.Findings {
			if rule, _ := judge.Find(f.Rule); rule.Requires(judge.Along) || rule.Requires(judge.LowerJoint) && then.LowerJoint == nil {
				continue // depends on where the head lies along the course
			}
			at := slices.IndexFunc(then.Rules, func(r Rule) bool { return r.Rule == f.Rule })
			switch {
			case at < 0:
				say("nothing is said of the rule %s", f.Rule)
			case then.Rules[at].Result != string(f.Result) && !nearLimit(f, s.Decision):
				say("the rule %s is %s, and its lengths and the schedule make it %s", f.Rule, then.Rules[at].Result, f.Result)
			case !sameLimits(then.Rules[at].Compared, f):
				say("the rule %s names other lengths or limits than the head and the schedule have", f.Rule)
			}
		}
		for _, r := range then.Rules {
			if why := endAgainst(r, then, s); why != "" {
				say("%s", why)
			}
		}
	}
	return out
}

// seenAs is what a photo told, as far as an inspection keeps it.
func seenAs(p Photo) *vision.Result {
	r := &vision.Result{Course: &vision.Course{}}
	if p.Course != nil {
		for _, q := range p.Course.Pieces {
			r.Course.Pieces = append(r.Course.Pieces, vision.Piece{ID: q.ID, Left: vision.End(q.Left), Right: vision.End(q.Right), Width: measuredAs(q.Width)})
		}
	}
	for _, h := range p.Heads {
		f := vision.Fastener{
			ID: h.ID, Piece: -1, Exposed: h.Exposed, AboveButt: measuredAs(h.AboveButt), LeftEnd: measuredAs(h.LeftEnd), RightEnd: measuredAs(h.RightEnd),
			End: measuredAs(h.End), LowerJoint: measuredAs(h.LowerJoint), NextJoint: measuredAs(h.NextJoint), HeadDiameter: measuredAs(h.HeadDiameter),
			Drive: vision.Drive{Class: vision.DriveClass(h.Drive.Class), P: map[vision.DriveClass]float64{}},
		}
		if h.Piece != nil {
			f.Piece = *h.Piece
		}
		for class, p := range h.Drive.P {
			f.Drive.P[vision.DriveClass(class)] = p
		}
		r.Fasteners = append(r.Fasteners, f)
	}
	return r
}

func measuredAs(l *Length) *length.Measured {
	if l == nil {
		return nil
	}
	m := length.New(length.MM(l.MM), length.MM(l.U))
	return &m
}

// rounding is half of the last digit that an inspection keeps of a length, mm.
const rounding = 0.0005

// nearLimit tells whether a result may be another for what rounding took from the
// lengths: a shift of so much moves a probability by at most the density of the
// normal distribution, 0.4, times the shift in uncertainties. The probability of two
// lengths together also depends on what they share, which an inspection does not keep.
func nearLimit(f judge.Finding, d schedule.Decision) bool {
	if f.Result == judge.NotJudged {
		return false
	}
	near := 0.001
	if f.Length != nil {
		near += 0.4 * 4 * rounding / max(float64(f.Length.U()), rounding)
	}
	if rule, _ := judge.Find(f.Rule); rule.Requires(judge.LowerJoint) && rule.Requires(judge.AboveButt) {
		near = max(near, 0.25)
	}
	return math.Abs(f.P-d.Suspect) < near || math.Abs(f.P-d.Clear) < near
}

// sameLimits tells whether a rule was held against the length and the limits that the
// head and the schedule have.
func sameLimits(then Compared, f judge.Finding) bool {
	limit := func(a *float64, b *length.MM) bool {
		return (a == nil) == (b == nil) && (a == nil || math.Abs(*a-float64(*b)) <= 2*rounding)
	}
	if (then.Length == nil) != (f.Length == nil) || !limit(then.LowMM, f.LimitLow) || !limit(then.HighMM, f.LimitHigh) {
		return false
	}
	return then.Length == nil || math.Abs(then.Length.MM-float64(f.Length.Value())) <= 2*rounding && math.Abs(then.Length.U-float64(f.Length.U())) <= 2*rounding
}

// endAgainst says what is wrong with what the rule of the ends compared, "" for nothing.
func endAgainst(r Rule, h Fastener, s schedule.Schedule) string {
	if r.Rule != "end" || r.Length == nil {
		return ""
	}
	same := func(l *Length) bool { return l != nil && *l == *r.Length }
	limit := func(a *float64, b length.MM) bool { return a == nil || math.Abs(*a-float64(b)) <= 2*rounding }
	if !same(h.LeftEnd) && !same(h.RightEnd) || !limit(r.LowMM, s.Ends.Min) || !limit(r.HighMM, s.Ends.Max) {
		return "the rule end names other lengths or limits than the head and the schedule have"
	}
	m := *measuredAs(r.Length)
	beyond := r.LowMM != nil && m.Value() < s.Ends.Min-m.U95() || r.HighMM != nil && m.Value() > s.Ends.Max+m.U95()
	if r.Result == string(judge.Clear) && beyond {
		return "the rule end is clear, and its length is beyond the limits"
	}
	return ""
}
