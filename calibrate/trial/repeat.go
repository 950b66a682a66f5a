package trial

import (
	"cmp"
	"fmt"
	"maps"
	"path"
	"slices"
)

// part is one real head with what each photo tells of it, in order of the photos.
type part struct {
	side Side // of End, the same in every photo
	seen []sighting
}

type sighting struct {
	photo Photo
	head  Head
}

// Repeats is what photos of the same heads tell without a tape.
type Repeats struct {
	By      string // what reproducibility is between: "crews", "phones", or "" with only one
	How     string // how heads were told to be the same, a sentence
	Studies []RepeatStudy
	Notes   []string // what was left out, and why
}

// RepeatStudy is the gauge study of one kind of length, in mm.
type RepeatStudy struct {
	Kind Kind
	Gauge
}

// RepeatByName compares heads to which a person gave the same name in rows of
// several photos.
func RepeatByName(photos []Photo, rows []Row) Repeats {
	r := Repeats{How: "Heads with the same name in the sheet were taken as one."}
	named := map[string]*part{}
	for _, row := range rows {
		p, h := find(photos, row)
		if row.Name == "" || h == nil {
			continue
		}
		n := named[row.Name]
		if n == nil {
			n = &part{side: cmp.Or(row.Side, h.Side)}
			named[row.Name] = n
		}
		if slices.ContainsFunc(n.seen, func(s sighting) bool { return s.photo.File == p.File }) {
			r.Notes = append(r.Notes, fmt.Sprintf("name %s stands twice for photo %s; the first row counts", row.Name, p.File))
			continue
		}
		n.seen = append(n.seen, sighting{*p, *h})
	}
	var parts []part
	for _, name := range slices.Sorted(maps.Keys(named)) {
		if len(named[name].seen) > 1 {
			parts = append(parts, *named[name])
		}
	}
	r.study(parts)
	return r
}

// RepeatByPlace compares photos of one course: all photos of a folder are taken
// to show the same open course, and a head is known again by its place against
// the joints.
func RepeatByPlace(photos []Photo) Repeats {
	r := Repeats{How: "The photos of each folder were taken to show one course. They were laid over each other joint by joint; heads within 1/4 in of each other, along the course and up, were taken as one."}
	folders := map[string][]Photo{}
	for _, p := range photos {
		folders[path.Dir(p.File)] = append(folders[path.Dir(p.File)], p)
	}
	var parts []part
	for _, f := range slices.Sorted(maps.Keys(folders)) {
		parts = append(parts, r.laidOver(folders[f])...)
	}
	r.study(parts)
	return r
}

// laidOver finds the heads of the photo with the most of them again in the others.
func (r *Repeats) laidOver(photos []Photo) (parts []part) {
	if len(photos) < 2 {
		r.Notes = append(r.Notes, fmt.Sprintf("%s is the only measured photo of its folder", photos[0].File))
		return nil
	}
	first := slices.MaxFunc(photos, func(a, b Photo) int { return cmp.Compare(len(a.Heads), len(b.Heads)) })
	byHead := make([]part, len(first.Heads))
	for _, p := range photos {
		match, ok := map[int]int{}, true
		if p.File == first.File {
			for i := range p.Heads {
				match[i] = i
			}
		} else if match, ok = overlay(first, p); !ok {
			r.Notes = append(r.Notes, fmt.Sprintf("%s cannot be laid over %s: too few heads agree, or they agree at several joints; type names in the sheet instead", p.File, first.File))
			continue
		}
		for of, in := range match {
			byHead[in].seen = append(byHead[in].seen, sighting{p, p.Heads[of]})
		}
	}
	for i, q := range byHead {
		if len(q.seen) > 1 {
			q.side = first.Heads[i].Side
			parts = append(parts, q)
		}
	}
	return parts
}

// study makes the gauge study of each kind that the parts give values of.
func (r *Repeats) study(parts []part) {
	if len(parts) == 0 {
		r.Notes = append(r.Notes, "no head is seen in two photos")
		return
	}
	by := r.operator(parts)
	for _, k := range kinds {
		if !slices.ContainsFunc(parts, func(q part) bool { _, ok := q.seen[0].head.to(k, q.side); return ok }) {
			continue
		}
		if g, err := Study(balanced(parts, k, by)); err == nil {
			r.Studies = append(r.Studies, RepeatStudy{k, g})
		} else {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %s", k.Words(), err))
		}
	}
}

// operator says what tells one operator from another: the crew, where every
// photo names one and there are several; else the phone; else nothing.
func (r *Repeats) operator(parts []part) func(Photo) string {
	crews, devices := map[string]bool{}, map[string]bool{}
	for _, q := range parts {
		for _, s := range q.seen {
			crews[s.photo.Crew], devices[s.photo.Device] = true, true
		}
	}
	switch {
	case len(crews) > 1 && !crews[""]:
		r.By = "crews"
		return func(p Photo) string { return p.Crew }
	case len(devices) > 1:
		r.By = "phones"
		return func(p Photo) string { return p.Device }
	}
	return func(Photo) string { return "" }
}

// balanced makes the largest balanced study of the values: as many trials of
// each operator as leave the most to learn about repeatability. Parts with
// fewer are left out, later photos of those with more as well.
func balanced(parts []part, k Kind, by func(Photo) string) (best [][][]float64) {
	var all []map[string][]float64
	operators := map[string]bool{}
	most := 0
	for _, q := range parts {
		cells := map[string][]float64{}
		for _, s := range q.seen {
			if m, ok := s.head.to(k, q.side); ok {
				o := by(s.photo)
				cells[o] = append(cells[o], float64(m.Value()))
				operators[o], most = true, max(most, len(cells[o]))
			}
		}
		all = append(all, cells)
	}
	gain := -1
	for trials := 1; trials <= most; trials++ {
		var values [][][]float64
		for _, cells := range all {
			if row := enough(cells, sorted(operators), trials); row != nil {
				values = append(values, row)
			}
		}
		// degrees of freedom of repeatability, the interaction with it
		if g := (len(values) - 1) * (len(operators)*trials - 1); len(values) > 1 && g > gain {
			best, gain = values, g
		}
	}
	return best
}

// enough is the first so many trials of each operator, nil when one has fewer.
func enough(cells map[string][]float64, operators []string, trials int) (row [][]float64) {
	for _, o := range operators {
		if len(cells[o]) < trials {
			return nil
		}
		row = append(row, cells[o][:trials])
	}
	return row
}
