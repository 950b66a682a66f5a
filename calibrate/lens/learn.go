package lens

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coursegauge/vision/plane"
	"coursegauge/vision/stats"
)

// Learned is what came out of a set of photos.
type Learned struct {
	Profile Profile
	Fit     *Fit
	Used    []Sight   // in the order of Fit.Poses
	Dropped []Sight   // with Why
	Cells   [][]int   // corners in each cell of the frame, rows of columns
	Reach   float64   // how far from the middle corners were seen, in half diagonals
	CurveU  float64   // px: standard uncertainty of the distortion at the frame's corner
	Tilts   []float64 // degrees between card and picture plane, of each view: what tells the focal length
}

// Mixed is the error of photos that are not of one camera.
type Mixed struct{ What string }

func (e *Mixed) Error() string { return e.What }

// TooFew is the error of too few views.
type TooFew struct {
	Views   int
	Dropped []Sight
}

func (e *TooFew) Error() string {
	return fmt.Sprintf("%d usable views of the card; at least %d are needed, and %d or more are good", e.Views, fewestViews, goodViews)
}

const (
	fewestViews = 4
	goodViews   = 10
	maxBend     = 5.0  // mm
	maxTilt     = 65.0 // degrees
	oddView     = 3.0  // times the median RMS
	oddPx       = 1.0  // px: never an odd one below
	columns     = 8    // of the cells that tell how the frame is covered
	rows        = 6
)

// Learn makes a profile from photos of one phone and lens. The errors are
// *Mixed, *TooFew, or that the views do not determine a lens.
func Learn(sights []Sight) (*Learned, error) {
	l := &Learned{}
	seen := map[string]string{}
	for _, s := range sights {
		if first, twice := seen[s.SHA256]; twice && s.Why == "" {
			s.Why = "the same photo as " + first
		}
		if s.Why != "" {
			l.Dropped = append(l.Dropped, s)
			continue
		}
		seen[s.SHA256] = s.Name
		l.Used = append(l.Used, s)
	}
	if err := oneCamera(l.Used); err != nil {
		return nil, err
	}
	if err := l.fit(); err != nil {
		return nil, err
	}
	l.describe()
	return l, nil
}

// oneCamera refuses photos of several devices, lenses or picture sizes.
func oneCamera(used []Sight) error {
	for _, c := range []struct {
		what string
		of   func(Sight) string
	}{
		{"devices", func(s Sight) string { return s.Facts.Device }},
		{"lenses", func(s Sight) string { return focal(s.Facts.FocalMM, s.Facts.Focal35MM) }},
		{"picture sizes", func(s Sight) string { return fmt.Sprintf("%d x %d px", s.Width, s.Height) }},
	} {
		count := map[string]int{}
		for _, s := range used {
			count[c.of(s)]++
		}
		if len(count) < 2 {
			continue
		}
		var names []string
		for n, k := range count {
			names = append(names, fmt.Sprintf("%s (%d)", n, k))
		}
		slices.Sort(names)
		return &Mixed{fmt.Sprintf("photos of %d %s: %s; give those of one phone, one lens and one size", len(names), c.what, strings.Join(names, ", "))}
	}
	return nil
}

// fit calibrates, leaves out the views that do not belong, and calibrates again.
func (l *Learned) fit() error {
	for {
		if len(l.Used) < fewestViews {
			return &TooFew{len(l.Used), l.Dropped}
		}
		views := make([]View, len(l.Used))
		for i := range views {
			views[i] = l.Used[i].View
		}
		s := l.Used[0]
		f, err := calibrate(views, s.Width, s.Height, phone, s.Facts.Focal35MM/36*float64(max(s.Width, s.Height)))
		if err != nil {
			return err
		}
		if l.Fit, err = weighed(views, f); err != nil {
			return err
		}
		f = l.Fit
		i, why := odd(f)
		if i < 0 {
			return nil
		}
		l.Used[i].Why = why
		l.Dropped = append(l.Dropped, l.Used[i])
		l.Used = slices.Delete(l.Used, i, i+1)
	}
}

const (
	weighings  = 3
	leastU     = .015 // px: no view is better than that
	oddPoint   = 5    // times the uncertainty of its view's corners
	oddPointPx = .2   // px: never an odd one below
)

// belonging are the corners of a view that lie within limit px of where a fit
// puts them; all of them, when a fourth or more do not.
func belonging(points []Point, f *Fit, view int, limit float64) []Point {
	var out []Point
	for _, k := range points {
		if u, v := f.project(f.Poses[view].inCamera(k.X, k.Y)); math.Hypot(u-k.U, v-k.V) < limit {
			out = append(out, k)
		}
	}
	if 4*len(out) <= 3*len(points) {
		return points
	}
	return out
}

// weighed fits again with corners that weigh by what those of their view are
// off by (variance components, Koch 1999, section 3.6): a soft or glaring view
// counts less than a crisp one.
func weighed(views []View, f *Fit) (*Fit, error) {
	for range weighings {
		again := make([]View, len(views))
		for i, v := range views {
			n := float64(2 * len(v.Points))
			u := max(leastU, f.Views[i]*math.Sqrt(.5*n/(n-6)))
			again[i] = View{Name: v.Name, Points: slices.Clone(v.Points)}
			again[i].Points = belonging(again[i].Points, f, i, max(oddPoint*u, oddPointPx))
			for k := range again[i].Points {
				again[i].Points[k].Sigma = u
			}
		}
		var err error
		if f, err = (&adjustment{views: again, model: phone, state: state{f.Intrinsics, f.Poses}}).solve(); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// odd is the view that belongs least to a fit, with the reason; -1 for none.
// One at a time: a bad view spoils the others' residuals.
func odd(f *Fit) (worst int, why string) {
	worst, most := -1, 1.0
	limit := max(oddPx, oddView*stats.Median(f.Views))
	for i := range f.Views {
		tilt := tiltOf(&f.Poses[i])
		bend := 0.0
		for _, b := range f.Poses[i].Bend {
			bend = max(bend, math.Abs(b))
		}
		for _, c := range []struct {
			over float64
			why  string
		}{
			{f.Views[i] / limit, fmt.Sprintf("its corners fit to %.2f px, those of most views to %.2f px: the card moved, is damaged or the phone changed its lens", f.Views[i], stats.Median(f.Views))},
			{bend / maxBend, fmt.Sprintf("the card is bent by %.0f mm; at most %.0f mm can be used", bend, maxBend)},
			{tilt / maxTilt, fmt.Sprintf("the card is seen at %.0f degrees from straight above; at most %.0f can be used", tilt, maxTilt)},
		} {
			if c.over > most {
				worst, most, why = i, c.over, c.why
			}
		}
	}
	return worst, why
}

// tiltOf is the angle between the card's normal and the line of sight to its middle.
func tiltOf(p *Pose) float64 {
	c := plane.CardPose{R: p.R, T: p.T}
	return c.TiltDeg()
}

// describe fills in the profile and what there is to say about it.
func (l *Learned) describe() {
	f, s := l.Fit, l.Used[0]
	p := Profile{Format: Format, Device: s.Facts.Device, FocalMM: s.Facts.FocalMM, Focal35: s.Facts.Focal35MM, Width: s.Width, Height: s.Height,
		F: f.F, Cx: f.Cx, Cy: f.Cy, K1: f.K1, K2: f.K2, P1: f.P1, P2: f.P2, RMS: f.RMS}
	order := [nCov]int{paramF, paramK1, paramK2, paramCx, paramCy, paramP1, paramP2}
	for i, a := range order {
		for j, b := range order {
			v := f.Cov[a][b]
			if i == covF {
				v /= f.F
			}
			if j == covF {
				v /= f.F
			}
			p.Covariance[i][j] = v
		}
	}
	for i, v := range l.Used {
		p.Views = append(p.Views, v.Name)
		l.Tilts = append(l.Tilts, math.Acos(math.Min(1, math.Abs(f.Poses[i].R[8])))*180/math.Pi)
	}
	l.Profile = p
	l.cover()
	l.CurveU = p.curveU(1)
	l.Profile.Warnings = l.warnings()
}

// curveU is the standard uncertainty of the radial distortion, px, at a share
// of the half diagonal from the middle.
func (p *Profile) curveU(share float64) float64 {
	r := share * math.Hypot(float64(p.Width), float64(p.Height)) / 2 / p.F
	r3, r5 := r*r*r, r*r*r*r*r
	// at a given pixel r falls as F grows: hence the derivative to ln F
	g := [3]float64{-p.F * (2*p.K1*r3 + 4*p.K2*r5), p.F * r3, p.F * r5}
	v := 0.0
	for i := range 3 {
		for j := range 3 {
			v += g[i] * g[j] * p.Covariance[i][j]
		}
	}
	return math.Sqrt(max(v, 0))
}

// cover counts where in the frame corners were seen.
func (l *Learned) cover() {
	w, h := float64(l.Profile.Width), float64(l.Profile.Height)
	l.Cells = make([][]int, rows)
	for i := range l.Cells {
		l.Cells[i] = make([]int, columns)
	}
	for _, s := range l.Used {
		for _, k := range s.View.Points {
			c, r := int((k.U+.5)/w*columns), int((k.V+.5)/h*rows)
			l.Cells[min(max(r, 0), rows-1)][min(max(c, 0), columns-1)]++
			l.Reach = max(l.Reach, math.Hypot(k.U-(w-1)/2, k.V-(h-1)/2)/(math.Hypot(w, h)/2))
		}
	}
}

// Covered is the share of the frame's cells in which corners were seen.
func (l *Learned) Covered() float64 {
	n := 0
	for _, row := range l.Cells {
		for _, c := range row {
			if c > 0 {
				n++
			}
		}
	}
	return float64(n) / (rows * columns)
}

// Limits below which the views are said not to determine the lens.
const (
	tilted     = 15.0 // degrees
	fewTilted  = 3
	minCovered = .6
	minReach   = .8
	maxFocalU  = .005
	maxCentreU = 6.0 // px
	maxCurveU  = 1.5 // px
)

func (l *Learned) warnings() (out []string) {
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	n := 0
	for _, t := range l.Tilts {
		if t >= tilted {
			n++
		}
	}
	if k := len(l.Used); k < goodViews {
		say("only %d views; %d or more are good", k, goodViews)
	}
	if n < fewTilted {
		say("%d of %d views see the card tilted by %.0f degrees or more: square views cannot tell the focal length from the distance; tilt the phone by 30 degrees in several directions", n, len(l.Used), tilted)
	}
	if c := l.Covered(); c < minCovered || l.Reach < minReach {
		say("the card was seen in %.0f %% of the frame and up to %.0f %% of the way to its corners: the distortion beyond is not known; bring the card to every edge and corner of the picture", 100*c, 100*l.Reach)
	}
	fu, cu, _, _, _, _ := l.Profile.U()
	if fu > maxFocalU {
		say("the focal length is known to %.1f %% only (standard uncertainty); %.1f %% is good", 100*fu, 100*maxFocalU)
	}
	if cu > maxCentreU {
		say("the principal point is known to %.0f px only (standard uncertainty); turn the phone upright, sideways and upside down between the photos", cu)
	}
	if l.CurveU > maxCurveU {
		say("the distortion at the corner of the picture is known to %.1f px only (standard uncertainty)", l.CurveU)
	}
	return out
}
