package trial

import (
	"math"
	"slices"
)

// Limits of matching, mm and heads.
const (
	alike     = 6.35 // a head seen twice lies so near to itself, along and up
	leastSeen = 3    // heads that must agree before two photos are laid over each other
)

// spot is a head on an axis along the course that begins at some joint of its photo.
type spot struct {
	head int     // index in Photo.Heads
	x, y float64 // mm
}

// layout lays a photo's heads on one axis by the ends of their pieces: joints
// are as far apart as the pieces between them are wide. Where a width is not
// known the axis breaks; the stretch with the most heads counts.
func layout(p Photo) (spots []spot, joints []float64) {
	for from := 0; from <= len(p.Pieces); {
		to := from // the stretch runs from the joint left of piece `from` to that left of piece `to`
		at := []float64{0}
		for to < len(p.Pieces) && p.Pieces[to].Width != nil {
			at = append(at, at[len(at)-1]+float64(*p.Pieces[to].Width))
			to++
		}
		if s := onStretch(p, from, at); len(s) > len(spots) {
			spots, joints = s, at
		}
		from = to + 1
	}
	return spots, joints
}

// onStretch places the heads that lie in or beside a stretch of joints.
func onStretch(p Photo, from int, at []float64) (out []spot) {
	index := map[int]int{}
	for i, q := range p.Pieces {
		index[q.ID] = i
	}
	for i, h := range p.Heads {
		above, ok := h.Lengths[AboveButt]
		piece, on := index[h.Piece]
		if !ok || !on {
			continue
		}
		y := float64(above.Value())
		if l, ok := h.Ends[Left]; ok && piece >= from && piece-from < len(at) {
			out = append(out, spot{i, at[piece-from] + float64(l.Value()), y})
		} else if r, ok := h.Ends[Right]; ok && piece+1 >= from && piece+1-from < len(at) {
			out = append(out, spot{i, at[piece+1-from] - float64(r.Value()), y})
		}
	}
	return out
}

// overlay finds which heads of b are which of a: b is laid over a joint by
// joint, and the place where the most heads come to lie on each other counts,
// if it stands out. The answer maps indices of b's heads to those of a's.
func overlay(a, b Photo) (map[int]int, bool) {
	sa, ja := layout(a)
	sb, jb := layout(b)
	type try struct {
		shift float64
		match map[int]int
	}
	var tries []try
	for _, x := range ja {
		for _, y := range jb {
			tries = append(tries, try{x - y, matches(sa, sb, x-y)})
		}
	}
	if len(tries) == 0 {
		return nil, false
	}
	slices.SortStableFunc(tries, func(p, q try) int { return len(q.match) - len(p.match) })
	best := tries[0]
	if len(best.match) < leastSeen {
		return nil, false
	}
	for _, t := range tries[1:] {
		if math.Abs(t.shift-best.shift) > 2*alike && 2*len(t.match) > len(best.match) {
			return nil, false
		}
	}
	return best.match, true
}

// matches pairs each spot of b, moved by shift, with the nearest of a within
// reach; a spot of a is given once.
func matches(a, b []spot, shift float64) map[int]int {
	out, taken := map[int]int{}, map[int]bool{}
	for _, q := range b {
		best, near := -1, math.Inf(1)
		for i, p := range a {
			dx, dy := math.Abs(q.x+shift-p.x), math.Abs(q.y-p.y)
			if d := math.Hypot(dx, dy); dx <= alike && dy <= alike && d < near && !taken[i] {
				best, near = i, d
			}
		}
		if best >= 0 {
			taken[best] = true
			out[q.head] = a[best].head
		}
	}
	return out
}
