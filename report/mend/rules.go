package mend

import (
	"coursegauge/report/inspection"
	"coursegauge/report/judge"
)

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

// headLine says one broken rule of a head. What to do is common practice, no
// source; the list says so.
func (l list) headLine(it *item, h inspection.Fastener, r inspection.Rule) {
	t, _ := judge.TextsOf(r.Rule)
	l.line(it, t.Head, r.Compared, h.Drive.Class, 0)
}

// pieceLine says a broken rule of a piece or a joint.
func (l list) pieceLine(it *item, p inspection.Photo, f inspection.Finding) {
	n := 0
	for _, h := range p.Heads {
		if f.Piece != nil && h.Piece != nil && *h.Piece == *f.Piece && !h.Exposed {
			n++
		}
	}
	t, _ := judge.TextsOf(f.Rule)
	l.line(it, t.Piece, f.Compared, "", n)
}

// line says what the texts of a rule have for what was compared; a rule of
// another version has none.
func (l list) line(it *item, of judge.Lines, c inspection.Compared, class string, nails int) {
	var mm *float64
	if c.Length != nil {
		mm = &c.Length.MM
	}
	line, limit := of.Of(mm, c.LowMM, c.HighMM, class)
	do := ""
	if line.Do.English != "" {
		do = l.say(line.Do.English)
	}
	switch what := line.What.English; {
	case what == "":
		it.add(l.say("a rule may be broken"), "")
	case limit != nil:
		it.add(l.say(what, l.apart(*mm, *limit)...), do)
	case of.Counts:
		it.add(l.say(what, nails), do)
	default:
		it.add(l.say(what), do)
	}
}
