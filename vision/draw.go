package vision

import (
	"image"
	"image/color"

	"gocv.io/x/gocv"
)

var (
	inkLine = color.RGBA{R: 230, G: 60, B: 40}
	inkSide = color.RGBA{R: 20, G: 160, B: 230}
	inkHead = color.RGBA{R: 250, G: 220, B: 30}
)

func pt(x, y float64) image.Point { return image.Pt(int(x+.5), int(y+.5)) }

// drawCard shows the corners that were used.
func (p *pass) drawCard() (gocv.Mat, error) {
	m, err := p.picture.BGR()
	if err != nil {
		return m, err
	}
	for _, c := range p.sight.Corners {
		if err := gocv.Circle(&m, pt(c.X, c.Y), 6, inkHead, 2); err != nil {
			return m, err
		}
	}
	return m, nil
}

// drawEdges shows the points that the lines were fitted through.
func (p *pass) drawEdges() (gocv.Mat, error) {
	m, err := p.picture.BGR()
	if err != nil {
		return m, err
	}
	dots := func(pts [][2]float64, c color.RGBA) {
		for _, q := range pts {
			_ = gocv.Circle(&m, pt(q[0], q[1]), 5, c, -1)
		}
	}
	for _, k := range p.sketch.Pieces {
		dots(k.Butt.Pts, inkLine)
		dots(k.Top.Pts, inkLine)
		dots(k.Left.Edge.Pts, inkSide)
		dots(k.Right.Edge.Pts, inkSide)
	}
	for _, e := range p.sketch.LowerButts {
		for _, l := range e {
			dots(l.Pts, inkLine)
		}
	}
	if len(p.sketch.Lower) > 0 {
		for _, j := range p.sketch.Lower[0].Joints {
			dots(j.Edge.Pts, inkSide)
		}
	}
	return m, nil
}

// drawHeads shows the spots that were looked at and the heads that were found.
func (p *pass) drawHeads() (gocv.Mat, error) {
	m, err := p.picture.BGR()
	if err != nil {
		return m, err
	}
	for _, s := range p.maps.Spots(spotFloor, maxSpots) {
		_ = gocv.Circle(&m, pt(s.U, s.V), 5, inkSide, 1)
	}
	for _, h := range p.found {
		_ = gocv.Circle(&m, pt(h.U, h.V), 18, inkHead, 3)
	}
	return m, nil
}
