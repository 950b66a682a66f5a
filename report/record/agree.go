package record

import (
	"context"
	"fmt"
	"math"

	"coursegauge/report/inspection"
	"coursegauge/vision/length"
)

// MeasuringSettings are what a photo was measured by, as bytes of their files, by name.
type MeasuringSettings struct {
	Schedule NamedFile
	Cards    *NamedFile
	Profiles []NamedFile
}

// NamedFile is a file's name and its bytes.
type NamedFile struct {
	Name string
	Data []byte
}

// Measurer measures one photo by the settings that it was made for. The error is
// that of an ended context or an internal fault.
type Measurer func(ctx context.Context, file string, data []byte) (inspection.Photo, error)

// disagreements names what a photo measured again tells otherwise than the
// record. By the same version of the program lengths agree to a twentieth of a
// millimetre and a thousandth (other processors round otherwise in the last bits);
// by another version they may differ by as much as both uncertainties allow.
func disagreements(then, now inspection.Photo, sameVersion bool) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch {
	case then.Status != now.Status:
		say("is %s in the record and %s when measured again", then.Status, now.Status)
		return out
	case then.Refusal != nil && now.Refusal != nil && then.Refusal.Reason != now.Refusal.Reason:
		say("was refused for %s, and is for %s when measured again", then.Refusal.Reason, now.Refusal.Reason)
		return out
	case len(then.Heads) != len(now.Heads) && sameVersion:
		say("has %d heads in the record and %d when measured again", len(then.Heads), len(now.Heads))
	}
	for _, h := range then.Heads {
		again := nearest(h, now.Heads)
		if again == nil {
			say("head %d is not found when measured again", h.ID)
			continue
		}
		if h.Verdict != again.Verdict && sameVersion {
			say("head %d is %s in the record and %s when measured again", h.ID, h.Verdict, again.Verdict)
		}
		for _, l := range []struct {
			name      string
			then, now *inspection.Length
		}{
			{"height above the butt", h.AboveButt, again.AboveButt}, {"distance to the left end", h.LeftEnd, again.LeftEnd},
			{"distance to the right end", h.RightEnd, again.RightEnd}, {"distance to the joint below", h.LowerJoint, again.LowerJoint},
			{"distance to the next joint", h.NextJoint, again.NextJoint}, {"diameter", h.HeadDiameter, again.HeadDiameter},
		} {
			if !agree(l.then, l.now, sameVersion) {
				say("head %d: %s is %s in the record and %s when measured again", h.ID, l.name, lengthWords(l.then), lengthWords(l.now))
			}
		}
	}
	return out
}

// nearest is the head at the same place, nil without.
func nearest(h inspection.Fastener, among []inspection.Fastener) *inspection.Fastener {
	best, at := max(h.RadiusPx, 8)/2, -1
	for i, o := range among {
		if d := math.Hypot(h.Px[0]-o.Px[0], h.Px[1]-o.Px[1]); d <= best {
			best, at = d, i
		}
	}
	if at < 0 {
		return nil
	}
	return &among[at]
}

func agree(a, b *inspection.Length, sameVersion bool) bool {
	if a == nil || b == nil {
		return a == b || !sameVersion
	}
	limit := 0.05 + 1e-3*math.Abs(a.MM)
	if !sameVersion {
		limit = max(limit, length.K95*math.Hypot(a.U, b.U))
	}
	return math.Abs(a.MM-b.MM) <= limit && (!sameVersion || math.Abs(a.U-b.U) <= limit)
}

func lengthWords(l *inspection.Length) string {
	if l == nil {
		return "not given"
	}
	return fmt.Sprintf("%.2f mm (U95 %.2f mm)", l.MM, length.K95*l.U)
}
