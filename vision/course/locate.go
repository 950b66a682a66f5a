package course

import "math"

// Place is where a view shows the open course.
type Place struct {
	Y0    float64 // its butt line, mm up the view's frame
	Score float64 // about 3 when all fits, below 1 when nothing does
	Top   float64 // share of the columns that show a top edge where it must lie
	TopIn bool    // the view reaches up to there
	Butts float64 // the same for the butts of the open course and two below
	Open  float64 // mean log probability of the regions: underlay, open course, finished courses
	Lap   float64 // mean probability of the region "open course" where it must lie
}

// Locate finds the open course of the given height and exposure (mm) in a view
// whose rows run down the slope.
func (m *Maps) Locate(height, exposure float64) Place {
	rows := m.rowSums()
	best := Place{Score: math.Inf(-1)}
	yTop, yBottom := m.View.Y1, m.View.Y1-float64(m.View.H)/m.View.PPM
	for y0 := yBottom + 20; y0 < yTop-exposure-20; y0 += 2 {
		if p := rows.score(y0, height, exposure); p.Score > best.Score {
			best = p
		}
	}
	return best
}

// rowSums holds, a row of cells, the evidence summed over the columns.
type rowSums struct {
	y               []float64 // mm
	n               []float64 // cells seen that are likely on the roof
	butt, top       []float64 // summed probability, put down at the row that the offset names
	under, open, fi []float64 // summed log probability of a region, of what is on the roof
	openP           []float64 // summed probability of the open course
}

func (m *Maps) rowSums() *rowSums {
	r := &rowSums{}
	for _, p := range []*[]float64{&r.y, &r.n, &r.butt, &r.top, &r.under, &r.open, &r.fi, &r.openP} {
		*p = make([]float64, m.H)
	}
	for i := range m.H {
		_, r.y[i] = m.at(i, 0)
		for j := range m.W {
			k := i*m.W + j
			if !m.seen[k] {
				continue
			}
			put(r.butt, i, float64(m.ch[cButtD][k]), sigmoid(m.ch[cButt][k]))
			put(r.top, i, float64(m.ch[cTopD][k]), sigmoid(m.ch[cTop][k]))
			p, on := m.regions(k)
			r.n[i] += on
			r.under[i] += on * math.Log(p[0]+1e-3)
			r.open[i] += on * math.Log(p[1]+1e-3)
			r.fi[i] += on * math.Log(p[2]+1e-3)
			r.openP[i] += on * p[1]
		}
	}
	return r
}

// put adds evidence at the row that lies d view pixels below row i.
func put(rows []float64, i int, d, p float64) {
	if k := i + int(math.Round(d/Cell)); k >= 0 && k < len(rows) {
		rows[k] += p
	}
}

// regions are the probabilities of underlay, open course and finished courses
// among what lies on the roof, and of lying on it.
func (m *Maps) regions(k int) (p [3]float64, on float64) {
	var e [4]float64
	top := float64(max(m.ch[cUnderlay][k], m.ch[cOpen][k], m.ch[cFinished][k], m.ch[cOff][k]))
	for c := range 4 {
		e[c] = math.Exp(float64(m.ch[cUnderlay+c][k]) - top)
	}
	roof := e[0] + e[1] + e[2]
	for c := range p {
		p[c] = e[c] / max(roof, 1e-9)
	}
	return p, roof / (roof + e[3])
}

func (r *rowSums) score(y0, height, exposure float64) Place {
	p := Place{Y0: y0}
	var ll, n, lap, lapN float64
	for i, y := range r.y {
		switch {
		case y > y0+height:
			ll += r.under[i]
		case y > y0:
			ll += r.open[i]
			lap += r.openP[i]
			lapN += r.n[i]
		default:
			ll += r.fi[i]
		}
		n += r.n[i]
	}
	p.Open, p.Lap = ll/max(n, 1), lap/max(lapN, 1)
	got, rows := 0.0, 0.0
	for c := range 3 {
		if s, ok := r.near(r.butt, y0-float64(c)*exposure); ok {
			got += s
			rows++
		}
	}
	if rows > 0 {
		p.Butts = got / rows
	}
	p.Top, p.TopIn = r.near(r.top, y0+height)
	p.Score = p.Butts + math.Exp(p.Open)
	if p.TopIn {
		p.Score += p.Top
	} else {
		p.Score += p.Lap - .3 // without the top edge in sight the lap itself must tell
	}
	return p
}

// near is the share of columns with evidence within 8 mm of y, if the view reaches there.
func (r *rowSums) near(e []float64, y float64) (float64, bool) {
	s, n, hits := 0.0, 0.0, 0
	for i, v := range r.y {
		if math.Abs(v-y) <= 8 {
			s += e[i]
			n = max(n, r.n[i])
			hits++
		}
	}
	if hits < 2 || n < 10 {
		return 0, false
	}
	return min(s/n, 1), true
}
