package vision

import (
	"coursegauge/vision/card"
	"coursegauge/vision/plane"
)

// Gauge is one figure that a photo must keep to be measured, beside its limit.
type Gauge struct {
	Reason Reason // of the refusal when it is not kept
	Name   string
	Unit   string
	Value  float64
	Limit  float64
	Least  bool // Value must not be under Limit; else not over it
}

// Kept tells whether the photo keeps the limit.
func (g Gauge) Kept() bool {
	if g.Least {
		return g.Value >= g.Limit
	}
	return g.Value <= g.Limit
}

// CornerSight is one inner corner of the card.
type CornerSight struct {
	ID  int     // row by row from the upper left as printed
	Px  Point   // where it is seen
	Off Point   // seen less where card, camera and pose have it, px
	U   float64 // standard uncertainty of each coordinate, px
}

// CardAngle names the gauge of the line of sight to the middle of the card
// against the card's normal.
const CardAngle = "angle off square to the card"

// atLeast and atMost note a figure beside its limit.
func (p *pass) atLeast(r Reason, name, unit string, value, limit float64) {
	p.r.Gauges = append(p.r.Gauges, Gauge{r, name, unit, value, limit, true})
}

func (p *pass) atMost(r Reason, name, unit string, value, limit float64) {
	p.r.Gauges = append(p.r.Gauges, Gauge{r, name, unit, value, limit, false})
}

// cornersFlat keeps the card's corners as seen, with what a flat card and a
// lens without distortion leave of them.
func (p *pass) cornersFlat(s card.Sight) {
	p.r.Corners = nil
	for _, c := range s.Corners {
		u, v := plane.Homography{H: s.H}.ToPicture(c.BoardX, c.BoardY)
		p.r.Corners = append(p.r.Corners, CornerSight{c.ID, Point{c.X, c.Y}, Point{c.X - u, c.Y - v}, c.U})
	}
}

// cornersAdjusted puts in what the adjustment leaves, lens and bend included.
func (p *pass) cornersAdjusted(s *plane.Solution) {
	for i, off := range s.CornerMisfits() {
		p.r.Corners[i].Off = Point{off[0], off[1]}
	}
}
