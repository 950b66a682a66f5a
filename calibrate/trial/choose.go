package trial

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"coursegauge/vision/length"
)

// Choose picks up to n heads to be taped, spread over the range: the heads are
// put in order of their height above the butt and cut into as many groups of
// equal size as rows are wanted; from each group one is drawn by the seed, out
// of the photos that have given the fewest so far and, among those, of
// the near, middle or far distances to the end that have. So low, middle and high heads
// come in the shares that the photos show, and no photo rules the trial.
//
// Rows that a person has touched are kept, whatever n is, and count. What comes
// back is in the order in which one walks the photos, numbered on.
func Choose(photos []Photo, kept []Row, n int, seed uint64) []Row {
	var rows []Row
	for _, r := range kept {
		if r.touched() {
			rows = append(rows, r)
		}
	}
	d := draw{photos: map[string]int{}, classes: map[int]int{}, random: rand.New(rand.NewPCG(seed, 0x7472_6961_6c))}
	var pool []candidate
	for _, p := range photos {
		for _, h := range p.Heads {
			if h.Lengths[AboveButt].U() == 0 {
				continue
			}
			c := candidate{p.File, h, classOf(h)}
			if slices.ContainsFunc(rows, func(r Row) bool { return r.Photo == p.File && r.near(h) }) {
				d.count(c)
			} else {
				pool = append(pool, c)
			}
		}
	}
	slices.SortStableFunc(pool, func(a, b candidate) int {
		return cmp.Compare(a.head.Lengths[AboveButt].Value(), b.head.Lengths[AboveButt].Value())
	})
	want := min(n-len(rows), len(pool))
	var fresh []candidate
	for i := range want {
		fresh = append(fresh, d.from(pool[i*len(pool)/want:(i+1)*len(pool)/want]))
	}
	slices.SortStableFunc(fresh, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.photo, b.photo), cmp.Compare(a.head.ID, b.head.ID))
	})
	next := 1
	for _, r := range rows {
		next = max(next, r.No+1)
	}
	for i, c := range fresh {
		rows = append(rows, rowOf(next+i, c))
	}
	return rows
}

// candidate is a head that can be taped.
type candidate struct {
	photo string
	head  Head
	class int // of the distance to the end
}

// classOf sorts the distance to the end: near, middle, far, or none.
func classOf(h Head) int {
	e, ok := h.Lengths[End]
	switch {
	case !ok:
		return 3
	case e.Value() < 2*length.Inch:
		return 0
	case e.Value() < 10*length.Inch:
		return 1
	}
	return 2
}

// draw counts what was drawn.
type draw struct {
	photos  map[string]int
	classes map[int]int
	random  *rand.Rand
}

func (d *draw) count(c candidate) {
	d.photos[c.photo]++
	d.classes[c.class]++
}

// from draws one of a group.
func (d *draw) from(group []candidate) candidate {
	fewest := slices.MinFunc(group, d.rarer)
	var best []candidate
	for _, c := range group {
		if d.rarer(c, fewest) == 0 {
			best = append(best, c)
		}
	}
	c := best[d.random.IntN(len(best))]
	d.count(c)
	return c
}

func (d *draw) rarer(a, b candidate) int {
	return cmp.Or(cmp.Compare(d.photos[a.photo], d.photos[b.photo]), cmp.Compare(d.classes[a.class], d.classes[b.class]))
}

// rowOf is the blank row of a head; what the photo does not tell is not asked.
func rowOf(no int, c candidate) Row {
	r := Row{No: no, Photo: c.photo, Head: c.head.ID, X: c.head.X, Y: c.head.Y, Side: c.head.Side, Typed: map[Kind]string{}}
	for _, k := range kinds {
		if _, ok := c.head.Lengths[k]; !ok {
			r.Typed[k] = notTaped
		}
	}
	return r
}

// near tells whether the row was made for this head: within its radius.
func (r Row) near(h Head) bool {
	dx, dy, reach := r.X-h.X, r.Y-h.Y, max(h.Radius, 3)
	return dx*dx+dy*dy <= reach*reach
}
