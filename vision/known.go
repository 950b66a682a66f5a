package vision

import (
	"fmt"
	"math"

	"coursegauge/vision/card"
	"coursegauge/vision/length"
	"coursegauge/vision/plane"
)

// Known is what the user knows of his card and his camera beyond the photo.
// The zero value knows nothing.
type Known struct {
	Cards map[int]Print // by the card's number
	// Lens is a learned lens that fits this photo, in the frame of the upright
	// picture; nil without. Whether it fits is for the caller to tell.
	Lens *plane.LensPrior
	// Checks are reported with those of the photo: why a lens was taken or not.
	Checks []Check
}

// Print is a card as it was printed and mounted.
type Print struct {
	ScaleX, ScaleY float64 // printed over nominal size, along the long and the short side
	U              float64 // standard uncertainty of either, relative
	Thickness      length.MM
	ThicknessU     length.MM // 0: the thickness is not known
}

// Limits of a print that can be measured with.
const (
	maxPrintOff    = .03 // printed over nominal size, less one
	maxPrintUneven = .01 // between x and y
	maxSeenUneven  = .03 // the same, from the picture
)

// usualThickU is the part of Prior.CardHeight that is due to the thickness of a
// card that nobody measured: 1 to 5 mm, as the card is described.
const usualThickU = 5.0 / 3.4641 // a uniform spread over ±2.5 mm

const printAgain = "print the card again at 100 %, without any fit to the page, on a printer that keeps both directions, and prove it with a steel rule"

// wholePhoto comes first where the picture alone speaks against the print: of a
// photo that was cropped unevenly the lens has its middle elsewhere than it is
// taken to be, which looks just like a print that was stretched.
const wholePhoto = "if the photo was cropped or straightened, send it as the phone made it; if it is whole, "

// Wrong says why a print cannot be measured with; nil when it can.
func (q Print) Wrong() *Refusal {
	off, uneven := q.ScaleX-1, q.ScaleX/q.ScaleY-1
	if math.Abs(q.ScaleY-1) > math.Abs(off) {
		off = q.ScaleY - 1
	}
	switch {
	case math.Abs(off) > maxPrintOff:
		return &Refusal{CardWrongSize, fmt.Sprintf("the card was measured %.1f %% %s; at most %.0f %% can be worked with", 100*math.Abs(off), largeSmall(off), 100*maxPrintOff), printAgain}
	case math.Abs(uneven) > maxPrintUneven:
		return &Refusal{CardWrongSize, fmt.Sprintf("the card was measured %.1f %% too %s for its height; at most %.0f %% can be worked with", 100*math.Abs(uneven), longShort(uneven), 100*maxPrintUneven), printAgain}
	}
	return nil
}

func largeSmall(off float64) string {
	if off > 0 {
		return "too large"
	}
	return "too small"
}

func longShort(uneven float64) string {
	if uneven > 0 {
		return "long"
	}
	return "short"
}

// printed is what is known of the card in the photo; the nominal size when nothing is.
func (p *pass) printed() Print {
	if q, ok := p.o.Known.Cards[p.sight.Number]; ok {
		p.r.Card.Proved = true
		return q
	}
	if len(p.o.Known.Cards) > 0 {
		p.r.Checks = append(p.r.Checks, Check{"card file", false, fmt.Sprintf("card %d is not in the card file; its nominal size was used", p.sight.Number)})
	}
	return Print{ScaleX: 1, ScaleY: 1}
}

// with puts what is known of the print into the prior of the adjustment.
func (q Print) with(prior plane.Prior) plane.Prior {
	if q.U > 0 {
		prior.CardScale = q.U
	}
	if q.ThicknessU > 0 {
		prior.CardThick = float64(q.Thickness)
		laid := prior.CardHeight*prior.CardHeight - usualThickU*usualThickU
		prior.CardHeight = math.Hypot(math.Sqrt(max(laid, 0)), float64(q.ThicknessU))
	}
	return prior
}

// corners are the card's corners as the adjustment takes them, at printed size.
func (q Print) corners(s card.Sight) []plane.Corner {
	b := card.Standard
	ox, oy := float64(b.Cols)*b.SquareMM/2, float64(b.Rows)*b.SquareMM/2
	out := make([]plane.Corner, len(s.Corners))
	for i, k := range s.Corners {
		out[i] = plane.Corner{X: (k.BoardX - ox) * q.ScaleX, Y: (oy - k.BoardY) * q.ScaleY, U: k.X, V: k.Y, Sigma: k.U}
	}
	return out
}

// Start values of a usual phone: .73 long sides are a diagonal field of view of
// about 81 degrees (common practice, no source).
const (
	usualFocal = .73 // long sides of the picture
	minZoom    = 1.02
	zoomFocalU = .05 // relative: two ways to write a zoomed focal length, both rounded
)

// startLens is the lens to begin with and what is known of it: the learned one,
// else the one of the file, else a usual phone's.
func (p *pass) startLens(corners []plane.Corner) (plane.Lens, plane.Prior) {
	w, h := float64(p.picture.Width()), float64(p.picture.Height())
	long := max(w, h)
	if l := p.o.Known.Lens; l != nil {
		p.r.Camera.Source = "profile"
		return l.Lens(), plane.DefaultPrior(true).With(l)
	}
	l := plane.Lens{F: usualFocal * long, Cx: (w - 1) / 2, Cy: (h - 1) / 2, K1: .009}
	f := p.picture.Facts
	if f.Focal35MM <= 10 {
		return l, plane.DefaultPrior(false)
	}
	prior := plane.DefaultPrior(true)
	l.F, prior.Focal = fromFilm(f.Focal35MM, w, h, prior.Focal)
	if f.DigitalZoom > minZoom {
		l.F = p.zoomed(l, corners)
		prior.Focal = zoomFocalU
	}
	p.r.Camera.Source, p.r.Camera.ExifPx = "exif", l.F
	return l, prior
}

// fromFilm is the focal length in px that a 35 mm equivalent stands for, with
// its relative standard uncertainty; rounded is that of the number itself. The
// equivalent is usually read as having the same diagonal of view on 36 x 24 mm (CIPA DC-008,
// tag 0xA405), yet some phones tell the one with the same width,
// and the two differ by 4 % for a picture of 4:3. The middle is taken, and half
// the difference is uncertain: card and edges tell the rest.
func fromFilm(mm, w, h, rounded float64) (px, u float64) {
	byWidth, byDiagonal := mm/36*max(w, h), mm/math.Hypot(36, 24)*math.Hypot(w, h)
	px = (byWidth + byDiagonal) / 2
	return px, math.Hypot(rounded, (byWidth-byDiagonal)/2/px)
}

// zoomed tells which focal length the file means. Some cameras write the
// focal length that the zoomed picture has, others that of the lens alone
// (CIPA DC-008 leaves it open): the one that the card fits better counts.
func (p *pass) zoomed(l plane.Lens, corners []plane.Corner) float64 {
	z := p.picture.Facts.DigitalZoom
	p.r.Checks = append(p.r.Checks, Check{"digital zoom", false, fmt.Sprintf("the photo was taken at digital zoom %.1f, so its focal length is known less well; take photos without zoom", z)})
	long := l
	long.F *= z
	if fitOf(long, corners) < fitOf(l, corners) {
		return long.F
	}
	return l.F
}

// fitOf is how badly the card's corners fit a lens, px.
func fitOf(l plane.Lens, corners []plane.Corner) float64 {
	flat, err := plane.FitHomography(corners)
	if err != nil {
		return math.Inf(1)
	}
	prior := plane.DefaultPrior(true)
	prior.Focal = zoomFocalU
	q := plane.Problem{Start: plane.FrameFrom(plane.PoseFrom(flat.H, l), l, plane.CardPlace{}, plane.Stack{}), Corners: corners, Prior: prior}
	return q.Solve().ResidualPx
}

// unevenSeen refuses a card that the picture shows stretched in one direction
// by more than lens and tilt can do: off is what the focal length leaves of the
// stretch, slack the most that passes, both relative.
func unevenSeen(h [9]float64, l plane.Lens, prior plane.Prior) (off, slack float64, r *Refusal) {
	focalU, k1U := prior.Focal, prior.K1U
	if prior.Lens != nil {
		u := prior.Lens.U()
		focalU, k1U = u[0], u[1]
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, k := range []float64{-2, 0, 2} {
		m := l
		m.F *= 1 + k*focalU
		s := stretch(h, m)
		lo, hi = min(lo, s), max(hi, s)
	}
	// a radial term stretches outwards by 2 k r² more than round about
	u, v := h[2]/h[8]-l.Cx, h[5]/h[8]-l.Cy
	r2 := (u*u + v*v) / (l.F * l.F)
	slack = maxSeenUneven + 2*r2*(math.Abs(l.K1)+2*k1U)
	off = max(lo-1, 1-hi, 0)
	if off <= slack {
		return off, slack, nil
	}
	return off, slack, &Refusal{CardWrongSize, fmt.Sprintf("the picture shows the card %.0f %% too %s for its height", 100*off, longShort(lo-1)),
		wholePhoto + printAgain}
}

// stretch is the length of the card's x axis over that of its y axis, for a
// lens without distortion: 1 for an even print (Zhang 2000, section 3.1).
func stretch(h [9]float64, l plane.Lens) float64 {
	var n [2]float64
	for j := range 2 {
		w := h[6+j]
		n[j] = math.Hypot(math.Hypot((h[j]-l.Cx*w)/l.F, (h[3+j]-l.Cy*w)/l.F), w)
	}
	return n[0] / n[1]
}

// When the product's own lengths say that a card is not of its nominal size: a
// print of unknown scale must be well determined, far off, and explain the
// edges better. On twelve rendered photos true prints came out within .6 %,
// prints 5 % off at 4 to 6.3 %, 3.3 to 14 standard uncertainties.
const (
	looseScale = .1
	sureOff    = 3   // standard uncertainties
	explains   = .75 // of the mean square of the edges' residuals
)

const cardAgainstProduct = "size of the card against the product's lengths, off by"

// wrongSize refuses a card of nominal size when the product's own lengths say
// that it is not: the print that was fitted to the page.
func (p *pass) wrongSize() *Refusal {
	if p.r.Card.Proved {
		return nil
	}
	q := *p.problem
	q.Prior.CardScale, q.Near = looseScale, p.solution
	s := q.Solve()
	off, u := s.Scale()
	off--
	p.atMost(CardWrongSize, cardAgainstProduct, "%", 100*math.Abs(off), 100*max(maxPrintOff, sureOff*u))
	if math.Abs(off) < max(maxPrintOff, sureOff*u) || s.LineChi > explains*p.solution.LineChi {
		return nil
	}
	return &Refusal{CardWrongSize, fmt.Sprintf("against the width, height and exposure of the product the card is %.1f %% %s; at most %.0f %% can be worked with", 100*math.Abs(off), largeSmall(off), 100*maxPrintOff),
		wholePhoto + "measure the long side of the board, 10 in, with a steel rule; if it is right, check the lengths of the product in the schedule, else " + printAgain}
}
