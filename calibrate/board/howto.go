package board

import (
	"fmt"
	"math"
)

// drawHowTo is the second page: how to shoot an open course.
func (s *sheet) drawHowTo(o Options) {
	const margin, gap = 14.0, 7.0
	w := words[o.Lang]
	s.text(face(18), left, margin, margin+5, w.title)
	s.text(face(9), right, s.w-margin, margin+5, fmt.Sprintf("%s %d", w.card, o.Number))
	col := (s.w - 2*margin - 2*gap) / 3
	y := margin + 14
	s.fromWhere(w, margin, y, col)
	s.whereToLay(w, margin+col+gap, y, col)
	s.whatSpoils(w, margin+2*(col+gap), y, col)

	y += 92
	s.text(face(11), left, margin, y, w.stepsTitle)
	half := (s.w - 2*margin - gap) / 2
	at := y + 6
	for i, t := range w.howto {
		s.text(face(9), left, margin, at, fmt.Sprint(i+1))
		at = s.paragraph(9, margin+5, at, half-5, t) + 1
	}
	x := margin + half + gap
	s.text(face(11), left, x, y, w.cautionsTitle)
	at = y + 6
	for _, t := range w.cautions {
		at = s.paragraph(9, x, at, half, t) + 1.5
	}
	s.stroke(s.box(nil, x-3, y-6, half+6, at-y+3), .5, black)
}

// fromWhere shows a roof from the side, a phone and its view.
func (s *sheet) fromWhere(w text, x, y, wide float64) {
	s.text(face(11), left, x, y, w.distanceTitle)
	// roof: courses as steps up the slope
	x0, y0, x1, y1 := x+4, y+66, x+wide-6, y+42
	ux, uy := (x1-x0)/5, (y1-y0)/5
	for i := range 5 {
		a, b := x0+float64(i)*ux, y0+float64(i)*uy
		s.line(.5, a, b, a-.6, b-2.2, a+ux, b+uy-.6)
	}
	// the card on it, thick
	s.line(1.2, x0+2.3*ux, y0+2.3*uy-2.6, x0+3.1*ux, y0+3.1*uy-2.6)
	// phone square over the card
	cx, cy := x0+2.7*ux, y0+2.7*uy-2.6
	nx, ny := uy/5, -ux/5 // away from the roof
	if ny > 0 {
		nx, ny = -nx, -ny
	}
	k := 34 / math.Hypot(nx, ny)
	px, py := cx+nx*k, cy+ny*k
	tx, ty := ux/math.Hypot(ux, uy), uy/math.Hypot(ux, uy)
	s.stroke(s.path(s.path(nil, false, px, py, cx-16*tx, cy-16*ty), false, px, py, cx+16*tx, cy+16*ty), .2, grey)
	s.fill(s.path(nil, true, px-6*tx-.8*nx, py-6*ty-.8*ny, px+6*tx-.8*nx, py+6*ty-.8*ny, px+6*tx+.8*nx/math.Hypot(nx, ny), py+6*ty+.8*ny/math.Hypot(nx, ny), px-6*tx+.8*nx/math.Hypot(nx, ny), py-6*ty+.8*ny/math.Hypot(nx, ny)), black)
	s.arrow(.3, px, py, cx-.06*(cx-px), cy-.06*(cy-py))
	s.text(face(9), left, (px+cx)/2+2.5, (py+cy)/2, w.distance)
	s.text(face(8), left, (px+cx)/2+2.5, (py+cy)/2+4, w.metres)
	s.paragraph(9, x, y+75, wide, w.square)
}

// whereToLay shows an open course from above with good and bad places of the card.
func (s *sheet) whereToLay(w text, x, y, wide float64) {
	s.text(face(11), left, x, y, w.placeTitle)
	y += 5
	high := 60.0
	s.fill(s.box(nil, x, y, wide, 22), pale) // underlay over the open course
	lines := []float64{22, 42, 51, 60}       // top edge of the open course, its butt, the courses below
	for _, l := range lines {
		s.line(.4, x, y+l, x+wide, y+l)
	}
	s.line(.3, x+.34*wide, y+22, x+.34*wide, y+42)
	s.line(.3, x+.93*wide, y+42, x+.93*wide, y+51)
	s.line(.3, x+.5*wide, y+51, x+.5*wide, y+60)
	for _, h := range []float64{.05, .18, .31, .38, .54, .72, .9} {
		s.disc(x+h*wide, y+34, .9, black)
	}
	s.smallCard(x+.12*wide, y+6, 24, 16.8)
	s.text(face(8), left, x+.12*wide+26, y+14, w.above)
	s.smallCard(x+.08*wide, y+44, 24, 15)
	s.text(face(8), left, x+.08*wide+26, y+48.5, w.below)
	s.smallCard(x+.66*wide, y+25, 24, 16)
	s.cross(x+.66*wide+12, y+33, 10)
	s.text(face(7), right, x+wide, y+high+3.5, w.eav)
	s.arrow(.3, x+wide-12, y+high+1.5, x+wide-12, y+high+5)
	s.paragraph(9, x, y+70, wide, w.place)
}

// smallCard stands for the card: a few squares.
func (s *sheet) smallCard(x, y, w, h float64) {
	s.fill(s.box(nil, x, y, w, h), white)
	s.stroke(s.box(nil, x, y, w, h), .25, black)
	q := s.box(nil, x, y, 0, 0)
	for r := range 4 {
		for c := range 6 {
			if (r+c)%2 == 0 {
				q = s.box(q, x+w*(.08+.14*float64(c)), y+h*(.1+.2*float64(r)), .14*w, .2*h)
			}
		}
	}
	s.fill(q, black)
}

// whatSpoils shows six photos that are refused.
func (s *sheet) whatSpoils(w text, x, y, wide float64) {
	s.text(face(11), left, x, y, w.spoilsTitle)
	const cols = 2
	fw, fh := (wide-6)/cols, 19.0
	for i, t := range w.spoils {
		fx, fy := x+float64(i%cols)*(fw+6), y+5+float64(i/cols)*(fh+8)
		s.fill(s.box(nil, fx, fy, fw, fh), pale)
		s.spoiled(i, fx, fy, fw, fh)
		s.stroke(s.box(nil, fx, fy, fw, fh), .4, black)
		s.cross(fx+fw-2, fy+fh+2.6, 1.6)
		s.fitted(8, left, fx, fy+fh+3.6, fw-6, t)
	}
}

func (s *sheet) spoiled(kind int, x, y, w, h float64) {
	switch kind {
	case 0: // the card runs out of the frame
		s.smallCard(x+.55*w, y+.2*h, .45*w, .55*h)
		s.fill(s.box(nil, x+w, y, 12, h), white)
	case 1:
		s.smallCard(x+.08*w, y+.25*h, .3*w, .5*h)
		s.smallCard(x+.45*w, y+.35*h, .3*w, .5*h)
	case 2:
		s.smallCard(x+.45*w, y+.45*h, .1*w, .14*h)
	case 3: // seen flat
		s.fill(s.path(nil, true, x+.3*w, y+.55*h, x+.62*w, y+.55*h, x+.75*w, y+.72*h, x+.15*w, y+.72*h), white)
		s.stroke(s.path(nil, true, x+.3*w, y+.55*h, x+.62*w, y+.55*h, x+.75*w, y+.72*h, x+.15*w, y+.72*h), .25, black)
		s.fill(s.path(nil, true, x+.42*w, y+.55*h, x+.52*w, y+.55*h, x+.55*w, y+.72*h, x+.38*w, y+.72*h), black)
	case 4: // several outlines
		for k := range 4 {
			d := 1.1 * float64(k)
			s.stroke(s.box(nil, x+.2*w+d, y+.25*h+d/2, .4*w, .5*h), .2, grey)
		}
	case 5: // a white spot on the card
		s.smallCard(x+.2*w, y+.2*h, .45*w, .6*h)
		s.disc(x+.45*w, y+.42*h, 4, white)
	}
}
