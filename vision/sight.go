package vision

import (
	"errors"
	"fmt"
	"math"

	"coursegauge/vision/card"
	"coursegauge/vision/plane"
)

// Limits of what can be measured. A photo is worth measuring while the height of
// a head above the butt is known to 1.25 mm (k = 1): a measurement capability
// index T/(4u) of 4 (JCGM 106:2012, 7.6.3) for a band of 20 mm. Which limit
// keeps that, and which lies where something else fails first, is said beside
// each; limits_test.go and plane/tilt_test.go work it out, DEVELOPERS.md lists it.
const (
	minSide   = 200 // px: ten card squares hardly fit in
	maxBurnt  = .20 // share of pixels at white: heads and butts lie in what is lost
	minMedian = 15  // of the grey picture, 0 to 255: below, the steps of 8 bits show
	minDetail = .70 // fine over coarse contrast; asked only when no card is found

	// px, standard deviation of the blur at the card's edges. On rendered photos
	// softened to 3.1 px, heights err by .73 mm and are told to .63 mm; at 4.1 px
	// they err by 2 mm and are told to .6 mm.
	maxSoft = 3.5
	// degrees. The surface of the shingles is known to about half a millimetre in
	// height, near the end of a second ply to .7, which the tangent turns into
	// height above the butt: 1.1 to 1.3 mm at 52 degrees, three times that square
	// on. The networks have seen no flatter views.
	maxTilt = 52.0
	// px a card square, and the share of the picture's long side. At 14 px heights
	// are told to .5 to .8 mm, so it is not the uncertainty that ends here: markers
	// of 5 by 5 modules no longer decode.
	minSquare = 9.0
	minShare  = .0053
	// mm at 140 mm from the middle. The adjustment follows bends of 5 mm in any
	// direction, with errors as told; past 10 mm they are told too small.
	maxBend = 5.0
	anyBend = 15 // mm, standard uncertainty of a bend that nothing is known of

	maxReachU  = 5.0 // mm: beyond it the card lies far from what it carries
	whiteShort = 90  // px: a white sheet with a shorter side counts as a scrap

	whiteSquare = 25.0 // px a card square, when no marker can be decoded
)

// light refuses what is burnt out or black.
func (p *pass) light() (*Refusal, error) {
	w, h := p.picture.Width(), p.picture.Height()
	p.atLeast(NoCard, "shorter side of the picture", "px", float64(min(w, h)), minSide)
	if min(w, h) < minSide {
		return &Refusal{NoCard, fmt.Sprintf("a picture of %d x %d px cannot show a card; %d px a side are needed at least", w, h, minSide), "send the original photo"}, nil
	}
	b, err := p.picture.Gray.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	var hist [256]int
	n := 0
	for i := 0; i < len(b); i += 7 {
		hist[b[i]]++
		n++
	}
	burnt, median, below := float64(hist[253]+hist[254]+hist[255])/float64(n), 0, 0
	for below += hist[0]; below < n/2; below += hist[median] {
		median++
	}
	p.atMost(Exposure, "share of the picture that is burnt out", "%", 100*burnt, 100*maxBurnt)
	p.atLeast(Exposure, "middle tone of the picture, 0 to 255", "", float64(median), minMedian)
	if burnt > maxBurnt {
		return &Refusal{Exposure, fmt.Sprintf("%.0f %% of the picture is burnt out; at most %.0f %% can be", 100*burnt, 100*maxBurnt),
			"tap the shingles on the screen so that the phone meters them, and take the photo again"}, nil
	}
	if median < minMedian {
		return &Refusal{Exposure, fmt.Sprintf("the picture is too dark: its middle tone is %d of 255, %d is needed", median, minMedian),
			"take the photo in more light, or tap the shingles on the screen so that the phone meters them"}, nil
	}
	return nil, nil
}

// findCard finds the card, or says what is wrong with it.
func (p *pass) findCard() (*Refusal, error) {
	s, err := card.Find(p.picture.Gray, card.Standard)
	var unseen *card.Unseen
	if errors.As(err, &unseen) {
		return p.noCard(unseen)
	}
	if err != nil {
		return nil, err
	}
	p.sight = s
	p.kept, p.dropped = len(s.Corners), card.Standard.Corners()-len(s.Corners)
	p.r.Card = &CardSight{Number: s.Number, Corners: len(s.Corners), ResidualPx: s.ResidualPx}
	for i, q := range s.Outline {
		p.r.Card.OutlinePx[i] = Point{q[0], q[1]}
	}
	p.cornersFlat(s)
	p.atLeast(NoCard, "corners of the card, of 54", "", float64(len(s.Corners)), card.MinCorners)
	soft := card.Blur(p.picture.Gray, card.Standard, s)
	p.atMost(Blurred, "softness of the card's edges", "px", soft, maxSoft)
	if soft > maxSoft {
		return blurred(fmt.Sprintf("the card's edges are %.1f px soft; at most %.1f px can be measured", soft, maxSoft)), nil
	}
	p.show("card", p.drawCard)
	return nil, nil
}

// noCard explains why no card can be used.
func (p *pass) noCard(u *card.Unseen) (*Refusal, error) {
	detail := u.Error()
	p.cornersFlat(u.Sight)
	p.atMost(TwoCards, fmt.Sprintf("cards with %d or more markers in sight", card.TwoMarkers), "", float64(u.Cards()), 1)
	switch u.Kind {
	case card.ErrTwo:
		return &Refusal{TwoCards, detail, "leave one card in the picture and take the photo again"}, nil
	case card.ErrOutside:
		return &Refusal{NoCard, detail, "use a card with a number from 0 to 27"}, nil
	}
	sharp, err := detail4(p.picture.Gray)
	if err != nil {
		return nil, err
	}
	p.atLeast(Blurred, "fine detail over coarse detail", "", sharp, minDetail)
	p.atLeast(NoCard, "markers decoded", "", float64(u.Markers), card.MinMarkers)
	if u.Kind == card.ErrSpread {
		p.atLeast(NoCard, "corners of the card, of 54", "", float64(len(u.Sight.Corners)), card.MinCorners)
		p.atLeast(NoCard, "share of the card that they span", "%", 100*u.Spread, 100*card.MinSpread)
		p.atMost(CardCropped, "corners of the card out of the picture", "", float64(u.Sight.Cropped), 0)
	}
	if sharp < minDetail {
		return blurred(fmt.Sprintf("fine detail is %.2f of coarse detail; %.2f is needed", sharp, minDetail)), nil
	}
	if u.Kind == card.ErrSpread {
		if u.Sight.Cropped > 0 {
			return &Refusal{CardCropped, fmt.Sprintf("%d of the card's 54 corners lie outside the picture; %s", u.Sight.Cropped, detail), "frame the whole card and take the photo again"}, nil
		}
		return &Refusal{NoCard, detail, "clear what lies on the card, and take the photo again"}, nil
	}
	if found, side := card.White(p.picture.Gray); found && side >= whiteShort && side/11 < whiteSquare {
		p.atLeast(Far, "side of a square, from the white sheet", "px", side/11, whiteSquare)
		return far(side / 11), nil
	}
	return &Refusal{NoCard, detail, "lay the printed card flat near the open course, whole and face up, and take the photo again"}, nil
}

func blurred(detail string) *Refusal {
	return &Refusal{Blurred, detail, "hold the phone still, tap the shingles to focus, and take the photo again"}
}

func far(square float64) *Refusal {
	return &Refusal{Far, fmt.Sprintf("a square of the card is only about %.0f px wide", square), "go nearer, about 1.2 m from the shingles, and send the original file, not a copy from a messenger"}
}

// pose takes the card apart into a camera and a pose, and refuses a bent card,
// one seen at too flat an angle or from too far.
func (p *pass) pose() (*Refusal, error) {
	long := float64(max(p.picture.Width(), p.picture.Height()))
	printed := p.printed()
	if r := printed.Wrong(); r != nil {
		return r, nil
	}
	corners := printed.corners(p.sight)
	var prior plane.Prior
	p.lens, prior = p.startLens(corners)
	prior = printed.with(prior)
	flat, err := plane.FitHomography(corners)
	if err != nil {
		return nil, err
	}
	p.kept, p.dropped = len(corners)-len(flat.Dropped), len(flat.Dropped)
	_, _, ux, uy := flat.ToPlane(p.lens.Cx, p.lens.Cy, 0)
	p.r.Checks = append(p.r.Checks, Check{"card's reach", math.Hypot(ux, uy) < maxReachU,
		fmt.Sprintf("from the card alone, the middle of the picture is known to %.1f mm", math.Hypot(ux, uy))})
	p.cardPose = plane.PoseFrom(flat.H, p.lens)
	p.r.ScalePxPerMM = p.sight.SquarePx / (card.Standard.SquareMM * math.Sqrt(printed.ScaleX*printed.ScaleY))
	p.r.TiltDeg = p.cardPose.TiltDeg()
	p.atMost(Oblique, CardAngle, "degrees", p.r.TiltDeg, maxTilt)
	p.atLeast(Far, "side of a square of the card", "px", p.sight.SquarePx, max(minSquare, minShare*long))
	if p.r.TiltDeg > maxTilt {
		return &Refusal{Oblique, fmt.Sprintf("the card is seen at %.0f degrees from straight above; at most %.0f can be measured", p.r.TiltDeg, maxTilt),
			"hold the phone more squarely over the shingles and take the photo again"}, nil
	}
	if q := p.sight.SquarePx; q < minSquare || q < minShare*long {
		return far(q), nil
	}
	uneven, slack, refusal := unevenSeen(flat.H, p.lens, prior)
	p.atMost(CardWrongSize, "stretch of the card in one direction, beyond what the lens can do", "%", 100*uneven, 100*slack)
	if refusal != nil {
		return refusal, nil
	}
	loose := prior
	loose.CardBend, loose.CardBow = anyBend, anyBend
	p.problem = &plane.Problem{Start: plane.FrameFrom(p.cardPose, p.lens, plane.CardPlace{}, plane.Stack{}), Corners: corners, Prior: loose}
	s := p.problem.Solve()
	p.cornersAdjusted(s)
	p.atMost(CardBent, "bend of the card", "mm", math.Abs(s.Bend()), maxBend)
	if bend := s.Bend(); math.Abs(bend) > maxBend {
		return &Refusal{CardBent, fmt.Sprintf("the card is bent by %.0f mm; at most %.0f mm can be measured", math.Abs(bend), maxBend),
			"mount the card on something stiff, lay it flat and take the photo again"}, nil
	}
	p.problem.Prior = s.Bent(prior)
	s = p.problem.Solve()
	p.lens = s.Frame.Lens
	p.cardPose = plane.CardPose{R: s.Frame.R, T: s.Frame.T}
	return nil, nil
}
