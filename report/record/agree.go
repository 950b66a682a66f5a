package record

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
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

// differences are what a photo measured again tells otherwise than the record.
type differences struct {
	wrong   []string // what nothing explains
	version []string // what another version of the program explains
}

// sameFacts compares what the photo's own file tells. The device is passed over when
// the record leaves something out: names of crews are replaced in it.
func sameFacts(then, now inspection.Photo, leftOut bool, say func(format string, args ...any)) {
	for _, f := range []struct{ name, then, now string }{
		{"was taken", then.Taken, now.Taken}, {"was taken at", placeWords(then.Location), placeWords(now.Location)},
		{"comes from the device", then.Device, now.Device}, {"has the size", sizeWords(then.Image), sizeWords(now.Image)},
	} {
		if f.then != f.now && !(leftOut && f.name == "comes from the device") {
			say("%s %s in the record and %s by its own file", f.name, cmp.Or(f.then, "not given"), cmp.Or(f.now, "not given"))
		}
	}
}

func placeWords(l *inspection.Location) string {
	if l == nil {
		return ""
	}
	return fmt.Sprint(l.Lat, ", ", l.Lon)
}

func sizeWords(i *inspection.Image) string {
	if i == nil {
		return ""
	}
	return fmt.Sprintf("%d by %d px, orientation %d,", i.Width, i.Height, i.Orientation)
}

// disagreements compares a photo with itself measured again. By the same version of
// the program lengths agree to a twentieth of a millimetre and a thousandth (other
// processors round otherwise in the last bits), and all else is equal. By another
// version lengths may differ by as much as the uncertainty allows that is measured
// now: that of the record may have been written to hide something.
func disagreements(then, now inspection.Photo, sameVersion bool) (d differences) {
	say := func(format string, args ...any) { d.wrong = append(d.wrong, fmt.Sprintf(format, args...)) }
	explained := say
	if !sameVersion {
		explained = func(format string, args ...any) { d.version = append(d.version, fmt.Sprintf(format, args...)) }
	}
	switch {
	case then.Status != now.Status:
		say("is %s in the record and %s when measured again", then.Status, now.Status)
		return d
	case then.Refusal != nil && now.Refusal != nil && then.Refusal.Reason != now.Refusal.Reason:
		explained("was refused for %s, and is for %s when measured again", then.Refusal.Reason, now.Refusal.Reason)
		return d
	}
	found := map[int]bool{} // heads of now that the record has
	for _, h := range then.Heads {
		at := nearest(h, now.Heads)
		switch {
		case at < 0:
			explained("head %d is not found when measured again", h.ID)
			continue
		case found[at]:
			say("head %d is at the place of another one", h.ID)
			continue
		}
		found[at] = true
		sameHead(h, now.Heads[at], sameVersion, say, explained)
	}
	for i, h := range now.Heads {
		if !found[i] {
			explained("a head at %.0f, %.0f px, %s, is found when measured again and is not in the record", h.Px[0], h.Px[1], h.Verdict)
		}
	}
	sameFindings(then.Findings, now.Findings, explained)
	if a, b := checkWords(then.Checks), checkWords(now.Checks); a != b {
		explained("passes the checks %s in the record and %s when measured again", a, b)
	}
	return d
}

// checkWords names the checks, those that failed with a mark.
func checkWords(checks []inspection.Check) string {
	var out []string
	for _, c := range checks {
		if name := c.Name; c.OK {
			out = append(out, name)
		} else {
			out = append(out, name+" (failed)")
		}
	}
	return cmp.Or(strings.Join(out, ", "), "none")
}

// sameHead compares one head.
func sameHead(then, now inspection.Fastener, sameVersion bool, say, explained func(format string, args ...any)) {
	for _, w := range []struct{ name, then, now string }{
		{"is", then.Verdict, now.Verdict}, {"is driven", then.Drive.Class, now.Drive.Class}, {"lies exposed:", fmt.Sprint(then.Exposed), fmt.Sprint(now.Exposed)},
	} {
		if w.then != w.now {
			explained("head %d %s %s in the record and %s when measured again", then.ID, w.name, w.then, w.now)
		}
	}
	results := func(h inspection.Fastener) map[string]string {
		out := map[string]string{}
		for _, r := range h.Rules {
			out[r.Rule] = r.Result
		}
		return out
	}
	if a, b := results(then), results(now); !maps.Equal(a, b) {
		explained("head %d: its rules are answered otherwise when measured again", then.ID)
	}
	for _, l := range []struct {
		name      string
		then, now *inspection.Length
	}{
		{"height above the butt", then.AboveButt, now.AboveButt}, {"distance to the left end", then.LeftEnd, now.LeftEnd},
		{"distance to the right end", then.RightEnd, now.RightEnd}, {"distance to the joint below", then.LowerJoint, now.LowerJoint},
		{"distance to the next joint", then.NextJoint, now.NextJoint}, {"diameter", then.HeadDiameter, now.HeadDiameter},
	} {
		tell := say
		if l.then == nil || l.now == nil {
			tell = explained
		}
		if !agree(l.then, l.now, sameVersion) {
			tell("head %d: %s is %s in the record and %s when measured again", then.ID, l.name, lengthWords(l.then), lengthWords(l.now))
		}
	}
}

// sameFindings compares what is said of pieces and joints.
func sameFindings(then, now []inspection.Finding, explained func(format string, args ...any)) {
	results := func(all []inspection.Finding) map[string]string {
		out := map[string]string{}
		for i, target := range review.FindingTargets(all) {
			out[target] = all[i].Result
		}
		return out
	}
	a, b := results(then), results(now)
	for _, target := range slices.Sorted(maps.Keys(a)) {
		if b[target] == "" {
			explained("%s is %s in the record and is not found when measured again", where(target), a[target])
		} else if a[target] != b[target] {
			explained("%s is %s in the record and %s when measured again", where(target), a[target], b[target])
		}
		delete(b, target)
	}
	for _, target := range slices.Sorted(maps.Keys(b)) {
		explained("%s, %s, is found when measured again and is not in the record", where(target), b[target])
	}
}

// nearest is the index of the head at the same place, -1 without.
func nearest(h inspection.Fastener, among []inspection.Fastener) int {
	best, at := max(h.RadiusPx, 8)/2, -1
	for i, o := range among {
		if d := math.Hypot(h.Px[0]-o.Px[0], h.Px[1]-o.Px[1]); d <= best {
			best, at = d, i
		}
	}
	return at
}

// agree holds a length against the one that is measured now. By another version its
// uncertainty may be up to twice or half of the one measured now: methods get better,
// and one that is told much wider would agree with anything.
func agree(then, now *inspection.Length, sameVersion bool) bool {
	if then == nil || now == nil {
		return then == now
	}
	const last = 0.05
	limit := last + 1e-3*math.Abs(now.MM)
	lowU, highU := now.U-last, now.U+last
	if !sameVersion {
		limit = max(limit, length.K95*math.Sqrt2*now.U)
		lowU, highU = now.U/2-last, 2*now.U+last
	}
	return math.Abs(then.MM-now.MM) <= limit && then.U >= lowU && then.U <= highU
}

func lengthWords(l *inspection.Length) string {
	if l == nil {
		return "not given"
	}
	return fmt.Sprintf("%.2f mm (U95 %.2f mm)", l.MM, length.K95*l.U)
}
