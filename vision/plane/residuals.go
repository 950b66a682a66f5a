package plane

// residuals of the whole problem, each divided by its standard uncertainty:
// first the corners, then the lines, then the priors.
func (p *Problem) residuals(q *[nParams]float64, out []float64) (res []float64, corners, lines int) {
	f := p.frame(q)
	res = p.corners(q, &f, out[:0])
	corners = len(res)
	res = p.lines(&f, p.rays(&f.Lens), res)
	lines = len(res) - corners
	return p.priors(q, &f, res), corners, lines
}

// corners adds the board corners' distances from where q puts them.
func (p *Problem) corners(q *[nParams]float64, f *Frame, res []float64) []float64 {
	place := onRoof(q)
	for _, c := range p.Corners {
		u, v := f.Project(place(c.X, c.Y))
		s := hypot(c.Sigma, p.Prior.CornerPx)
		res = append(res, (u-c.U)/s, (v-c.V)/s)
	}
	return res
}

// rays are the lines of sight of the lines' points.
func (p *Problem) rays(l *Lens) [][]Vec {
	out := make([][]Vec, len(p.Lines))
	for i := range p.Lines {
		out[i] = p.Lines[i].rays(l)
	}
	return out
}

// lines adds how the lines, laid on their surfaces along the lines of sight,
// depart from one another and from what is known of the product.
func (p *Problem) lines(f *Frame, rays [][]Vec, res []float64) []float64 {
	k, E := p.Known, f.Stack.Exposure
	tr := make([]trend, len(p.Lines))
	for i := range p.Lines {
		tr[i] = trendOf(f, &p.Lines[i], rays[i])
	}
	for i := range p.Lines {
		l, t := &p.Lines[i], tr[i]
		length := max(t.length, 5)
		if l.Kind != Joint { // 0 for a short one: the number of residuals must not change on the way
			res = append(res, t.sagitta/hypot(k.StraightU, l.U))
		}
		switch l.Kind {
		case Butt:
			res = append(res, (t.at-float64(l.Course)*E)/hypot(k.CourseU, l.U), t.slope/hypot(k.SlopeU, 2*l.U/length))
		case Top:
			if l.Mate >= 0 {
				res = append(res, (t.at-tr[l.Mate].At(t.mid)-f.Stack.Height)/hypot(k.HeightU, hypot(l.U, p.Lines[l.Mate].U)))
			} else {
				res = append(res, (t.at-f.Stack.Height)/hypot(hypot(k.HeightU, k.CourseU), l.U))
			}
		case Joint:
			res = append(res, t.slope/hypot(k.SquareU, 2*l.U/length))
			if l.Mate >= 0 && l.Full {
				m := tr[l.Mate]
				mid := .5 * (t.mid + m.mid)
				res = append(res, (t.At(mid)-m.At(mid)-k.Width)/hypot(k.WidthU, hypot(l.U, p.Lines[l.Mate].U)))
			}
		}
	}
	return res
}

// priors adds what is known of each unknown before the photo was taken.
func (p *Problem) priors(q *[nParams]float64, f *Frame, res []float64) []float64 {
	r := p.Prior
	lens := r.lens(q, &f.Lens)
	return append(append(res, lens[:]...),
		q[iCardTiltX]/r.CardTilt, q[iCardTiltY]/r.CardTilt, (q[iCardZ]-p.CardOn*q[iThick]-r.CardThick)/r.CardHeight,
		q[iCardBend]/r.CardBend, q[iCardBow]/r.CardBow, q[iCardTwist]/r.CardBow, q[iCardScale]/r.CardScale,
		(q[iThick]-1)/r.Surface.Thick, (q[iStep]-usualStep)/r.Surface.Step, (q[iBridge]-usualBridge)/r.Surface.Bridge, q[iSag]/r.Surface.Sag)
}
