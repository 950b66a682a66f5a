package review

import (
	"cmp"
	"slices"

	"coursegauge/report/inspection"
)

// Answers are what stands about each target, by Decision.Key. A decision
// stands until another one follows it, that is, names it as seen. So two people
// who decide without seeing each other both stand, and neither is overwritten.
type Answers map[string][]Decision

// Fold makes answers of decisions, whatever their order: merged files give the
// same as the files merged the other way round.
func Fold(decisions []Decision) Answers {
	followed := map[string]map[string]bool{} // by key, so that a decision follows its own target alone
	for _, d := range decisions {
		if followed[d.Key()] == nil {
			followed[d.Key()] = map[string]bool{}
		}
		for _, id := range d.Seen {
			if id != d.ID {
				followed[d.Key()][id] = true
			}
		}
	}
	out, have := Answers{}, map[string]bool{}
	for _, d := range decisions {
		if !followed[d.Key()][d.ID] && !have[d.ID] {
			have[d.ID] = true
			out[d.Key()] = append(out[d.Key()], d)
		}
	}
	for _, standing := range out {
		slices.SortFunc(standing, func(a, b Decision) int { return cmp.Or(cmp.Compare(a.When, b.When), cmp.Compare(a.ID, b.ID)) })
	}
	return out
}

// Answer is what stands about a target of a photo: one of the words of
// Decision.What, "" while undecided, or Conflict. The decision is the latest
// that says so; it is nil while undecided.
func (a Answers) Answer(photo, target string) (string, *Decision) {
	standing := a[photo+"/"+target]
	what, by := "", (*Decision)(nil)
	for i, d := range standing {
		switch {
		case d.What == Undecided:
		case what == "" || what == d.What:
			what, by = d.What, &standing[i]
		default:
			return Conflict, &standing[i]
		}
	}
	return what, by
}

// Conflict is the answer where people disagree.
const Conflict = "conflict"

// Conflicts are the keys about which people disagree, in order.
func (a Answers) Conflicts() (keys []string) {
	for key, standing := range a {
		if what, _ := a.Answer(standing[0].Photo, standing[0].Target); what == Conflict {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	return keys
}

// Missed are the places of a photo where people saw a head that was not found.
func (a Answers) Missed(photo string) (out []Decision) {
	for _, standing := range a {
		if standing[0].Photo != photo {
			continue
		}
		if what, by := a.Answer(photo, standing[0].Target); what == Missed {
			out = append(out, *by)
		}
	}
	slices.SortFunc(out, func(x, y Decision) int { return cmp.Compare(x.Target, y.Target) })
	return out
}

// Stand counts the decisions that stand, people who disagree each for
// themselves: what was undone, or followed by another decision, counts no more.
func (a Answers) Stand() (n int) {
	for _, standing := range a {
		for _, d := range standing {
			if d.What != Undecided {
				n++
			}
		}
	}
	return n
}

// Strangers counts the decisions that stand and speak of nothing in the
// document: of a photo that is not in it, or of a head that lies elsewhere now.
func Strangers(doc inspection.Document, decisions []Decision) (n int) {
	known := NewKnown(doc)
	strange := slices.DeleteFunc(slices.Clone(decisions), func(d Decision) bool { return known.Check(d) == nil })
	return Fold(strange).Stand()
}

// Decider is the answers as a table of fasteners takes them.
func (a Answers) Decider() inspection.Decider { return decider{a} }

type decider struct{ answers Answers }

func (d decider) Head(p inspection.Photo, id int) inspection.Decided {
	what, by := d.answers.Answer(p.SHA256, HeadTarget(id))
	if by == nil {
		return inspection.Decided{}
	}
	return inspection.Decided{Answer: what, Who: by.Who, When: by.When, Note: by.Note}
}

func (d decider) Missed(p inspection.Photo) (out []inspection.Decided) {
	for _, m := range d.answers.Missed(p.SHA256) {
		at, _ := m.Place()
		out = append(out, inspection.Decided{Answer: Missed, Who: m.Who, When: m.When, Note: m.Note, Px: at})
	}
	return out
}
