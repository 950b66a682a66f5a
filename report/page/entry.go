package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/review"
	"coursegauge/report/schedule"
	"coursegauge/vision"
)

// entry is one thing to decide: a head, several heads of one piece that show
// the same, or a finding about a piece or a joint.
type entry struct {
	ID, Verdict, Word string
	Title             string
	File, Photo, Crew string
	PhotoID, SHA      string
	Views             []closeup
	Lines             []findingLine
	Remedies          []string
	Group             bool   // of several heads
	Spots             []spot // in the whole photo
	ViewBox           string
	Thumb             bool
	order             entryOrder
}

// spot is a place in the whole photo, its radius for drawing.
type spot struct{ X, Y, R string }

// entryOrder is what the work list is sorted by, worst first: suspects before
// unresolved ones, then by the word for the probability, by the number of rules
// that look broken, and by how far the length lies beyond its limit.
type entryOrder struct {
	verdict, chance, rules int
	beyond                 float64 // mm
	file                   string
	n                      int // in the photo
}

func (a entryOrder) compare(b entryOrder) int {
	return cmp.Or(cmp.Compare(a.verdict, b.verdict), cmp.Compare(a.chance, b.chance), cmp.Compare(b.rules, a.rules),
		cmp.Compare(b.beyond, a.beyond), cmp.Compare(a.file, b.file), cmp.Compare(a.n, b.n))
}

// orderOf ranks the findings of one entry.
func orderOf(file string, n int, verdict string, findings []judge.Finding) entryOrder {
	o := entryOrder{verdict: rank(verdict), chance: len(chanceWords), file: file, n: n}
	for _, f := range findings {
		if string(f.Result) != verdict {
			continue
		}
		o.rules++
		o.chance = min(o.chance, chanceStep(f.P))
		o.beyond = max(o.beyond, beyond(f))
	}
	return o
}

// beyond is how far a length lies beyond its limit, mm; not under 0.
func beyond(f judge.Finding) float64 {
	if f.Length == nil {
		return 0
	}
	d := 0.0
	if f.LimitLow != nil {
		d = max(d, float64(*f.LimitLow-f.Length.Value()))
	}
	if f.LimitHigh != nil {
		d = max(d, float64(f.Length.Value()-*f.LimitHigh))
	}
	return d
}

// subject is what entries of one photo are made from.
type subject struct {
	p      inspection.Photo
	r      *vision.Result
	cut    *Cuttings // nil when there was no picture
	shrink func(View) ([]byte, error)
	s      schedule.Schedule
}

// newEntries are the entries of one photo.
func newEntries(in subject, j judge.Photo) ([]entry, error) {
	groups := groupHeads(j.Heads)
	var findings []int
	targets := review.FindingTargets(in.p.Findings)
	for i, f := range j.Pieces {
		if needsLook(string(f.Result)) {
			findings = append(findings, i)
		}
	}
	views := len(findings)
	for _, g := range groups {
		views += len(g)
	}
	if views == 0 {
		return nil, nil
	}
	most := min(viewMost, max(viewLeast, viewsBytes/views))
	var out []entry
	for _, g := range groups {
		e, err := in.headEntry(g, most)
		if err != nil {
			return nil, err
		}
		e.order.n = len(out)
		out = append(out, e)
	}
	for _, i := range findings {
		e, err := in.pieceEntry(j.Pieces[i], targets[i], most)
		if err != nil {
			return nil, err
		}
		e.order.n = len(out)
		out = append(out, e)
	}
	return out, nil
}

// groupHeads puts heads of one piece together that show the same: the same
// rules, with the same result, broken to the same side and about as far.
func groupHeads(heads []judge.Head) (out [][]judge.Head) {
	at := map[string]int{}
	for _, h := range heads {
		if !needsLook(string(h.Verdict)) {
			continue
		}
		key := likeness(h)
		k, ok := at[key]
		if h.Fastener.Piece < 0 || !ok {
			at[key] = len(out)
			out = append(out, []judge.Head{h})
			continue
		}
		out[k] = append(out[k], h)
	}
	return out
}

// alike is the step, mm, by which lengths beyond their limit may differ in one
// entry: half an inch.
const alike = 12.7

// likeness is the same for heads that belong into one entry.
func likeness(h judge.Head) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %s", h.Fastener.Piece, h.Verdict)
	for _, f := range h.Findings {
		if needsLook(string(f.Result)) {
			side := 0
			if f.Length != nil && f.LimitHigh != nil && f.Length.Value() > *f.LimitHigh {
				side = 1
			}
			fmt.Fprintf(&b, " %s %s %d %d", f.Rule, f.Result, side, int(beyond(f)/alike))
		}
	}
	if len(h.Findings) == 0 {
		fmt.Fprintf(&b, " %d", h.Fastener.ID)
	}
	return b.String()
}

func (in subject) headEntry(group []judge.Head, most int) (entry, error) {
	worst := group[0]
	best := orderOf(in.p.File, 0, string(worst.Verdict), worst.Findings)
	for _, h := range group[1:] {
		if o := orderOf(in.p.File, 0, string(h.Verdict), h.Findings); o.compare(best) < 0 {
			worst, best = h, o
		}
	}
	e := in.newEntry(headID(in.p.File, group[0].Fastener.ID)+"-e", string(worst.Verdict))
	e.order = best
	var ids []string
	for _, h := range group {
		v, err := in.newCloseup(h, most)
		if err != nil {
			return e, err
		}
		v.Target, v.Px = review.HeadTarget(h.Fastener.ID), fmt.Sprintf("%.2f,%.2f", h.Fastener.Px.X, h.Fastener.Px.Y)
		if len(group) > 1 {
			v.Caption = sayings(findingLines(h.Findings))
		}
		e.Views = append(e.Views, v)
		e.addSpot(in.p, h.Fastener.Px)
		ids = append(ids, fmt.Sprint(h.Fastener.ID))
	}
	e.Group = len(group) > 1
	e.Title = "Head " + ids[0]
	if n := len(ids); n > 1 {
		e.Title = "Heads " + strings.Join(ids[:n-1], ", ") + " and " + ids[n-1]
	}
	if worst.Fastener.Piece >= 0 {
		e.Title += fmt.Sprintf(", piece %d", worst.Fastener.Piece)
	}
	e.Lines = findingLines(worst.Findings)
	if len(e.Lines) == 0 { // unresolved for want of its height
		e.Lines = []findingLine{{Rule: capital(RuleWords("height")), Result: "not judged", Text: "Where this head lies was not measured."}}
	}
	e.Remedies = remedies(e.Lines)
	return e, nil
}

func sayings(lines []findingLine) (out []string) {
	for _, l := range lines {
		out = append(out, l.Text)
	}
	return out
}

func (in subject) pieceEntry(f judge.PieceFinding, target string, most int) (entry, error) {
	e := in.newEntry(sectionID(in.p.File)+"-"+strings.ReplaceAll(target, "/", "-"), string(f.Result))
	e.order = orderOf(in.p.File, 0, string(f.Result), []judge.Finding{f.Finding})
	v, err := in.newPieceView(f, most)
	if err != nil {
		return e, err
	}
	v.ID, v.Target, v.Verdict = e.ID+"-v", target, e.Verdict
	e.Views = []closeup{v}
	if at, ok := placeOf(f, in.r.Course); ok {
		e.addSpot(in.p, at)
	}
	switch {
	case f.Piece >= 0:
		e.Title = fmt.Sprintf("Piece %d", f.Piece)
	case f.Joint >= 0:
		e.Title = fmt.Sprintf("Lower joint %d", f.Joint+1) // an index; people count from 1, as pieces do
	}
	e.Lines = findingLines([]judge.Finding{f.Finding})
	e.Remedies = remedies(e.Lines)
	return e, nil
}

func (in subject) newEntry(id, verdict string) entry {
	e := entry{ID: id, Verdict: verdict, Word: say(resultWords, verdict), File: in.p.Shown(), PhotoID: sectionID(in.p.File), SHA: in.p.SHA256, Crew: in.p.Crew}
	if in.p.Image != nil {
		e.ViewBox, e.Thumb = fmt.Sprintf("0 0 %d %d", in.p.Image.Width, in.p.Image.Height), in.cut != nil
	}
	return e
}

// addSpot rings a place in the small photo.
func (e *entry) addSpot(p inspection.Photo, at vision.Point) {
	if p.Image != nil {
		e.Spots = append(e.Spots, spot{num(at.X + 0.5), num(at.Y + 0.5), num(float64(p.Image.Width) / 32)})
	}
}

// remedies are what to do, each once.
func remedies(lines []findingLine) (out []string) {
	for _, l := range lines {
		if l.Do != "" && !slices.Contains(out, l.Do) {
			out = append(out, l.Do)
		}
	}
	return out
}
