package inspection

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
)

// New gathers photos into a document: ordered by file name, with totals.
// made is an RFC 3339 time.
func New(tool Tool, s Schedule, made string, photos []Photo) Document {
	d := Document{Format: Format, Made: made, Tool: tool, Schedule: s, Photos: photos}
	if d.Photos == nil {
		d.Photos = []Photo{}
	}
	byFile(d.Photos)
	d.Totals = total(d.Photos)
	return d
}

// Merge makes one document of the parts of a job. They must have been made by
// the same version with the same schedule; a photo in two parts must be the
// same in both, stage times aside. The latest part gives `made`. What one part was
// stopped before and no other has done stays not done.
func Merge(parts ...Document) (Document, error) {
	if len(parts) == 0 {
		return Document{}, errors.New("merge: no inspection given")
	}
	first := parts[0]
	made := first.Made
	at := map[string]int{}
	var photos []Photo
	var asked []string
	for i, part := range parts {
		if part.Tool != first.Tool {
			return Document{}, fmt.Errorf("merge: part %d was made by version %q with opencv %q, part 1 by %q with %q; inspect again with one version",
				i+1, part.Tool.Version, part.Tool.OpenCV, first.Tool.Version, first.Tool.OpenCV)
		}
		if part.Schedule.SHA256 != first.Schedule.SHA256 {
			return Document{}, fmt.Errorf("merge: part %d was judged by another schedule (%q) than part 1 (%q)", i+1, part.Schedule.File, first.Schedule.File)
		}
		made = max(made, part.Made)
		asked = append(asked, part.NotDone...)
		for _, p := range part.Photos {
			if k, ok := at[p.File]; !ok {
				at[p.File] = len(photos)
				photos = append(photos, p)
			} else if !same(photos[k], p) {
				return Document{}, fmt.Errorf("merge: photo %q differs between the parts", p.File)
			} else {
				photos[k].AlsoAs = append(slices.Clone(photos[k].AlsoAs), p.AlsoAs...)
			}
		}
	}
	d := New(first.Tool, first.Schedule, made, Once(photos))
	d.NotDone = Left(asked, d.Photos)
	return d, nil
}

func same(a, b Photo) bool {
	a.AlsoAs, b.AlsoAs = nil, nil // which depends on what else was in the part
	d := Timeless(Document{Photos: []Photo{a, b}})
	return reflect.DeepEqual(d.Photos[0], d.Photos[1])
}

func total(photos []Photo) Totals {
	t := Totals{
		Photos:          len(photos),
		RefusedByReason: map[string]int{}, Verdicts: map[string]int{},
		SuspectsByRule: map[string]int{}, Unresolved: map[string]int{},
	}
	for _, p := range photos {
		if p.Status == Refused {
			t.Refused++
			t.RefusedByReason[p.Refusal.Reason]++
			continue
		}
		t.Measured++
		t.Fasteners += len(p.Heads)
		for _, h := range p.Heads {
			t.Verdicts[h.Verdict]++
			for _, r := range h.Rules {
				t.count(r.Rule, r.Result)
			}
		}
		for _, f := range p.Findings {
			t.count(f.Rule, f.Result)
		}
	}
	return t
}

func (t *Totals) count(rule, result string) {
	switch result {
	case "suspect":
		t.SuspectsByRule[rule]++
	case "unresolved":
		t.Unresolved[rule]++
	}
}
