package vision

import (
	"fmt"
	"math"
	"slices"

	"coursegauge/vision/course"
	"coursegauge/vision/length"
	"coursegauge/vision/plane"
)

type frame = plane.Frame

// checks compares the photo with what is known beforehand.
func (p *pass) checks() []Check {
	var out []Check
	add := func(name string, ok bool, format string, a ...any) {
		out = append(out, Check{name, ok, fmt.Sprintf(format, a...)})
	}
	s := p.solution
	add("card", s.ResidualPx < .6, "the card's corners fit to %.2f px", s.ResidualPx)
	if s.Wide > 1 {
		add("edges", false, "edges and product disagree: mean square of the normalised differences %.2f, %.2f at most when they agree; all uncertainties of the photo are taken times %.1f", s.LineChi, plane.Agreeing, s.Wide)
	} else {
		add("edges", true, "edges and product agree: mean square of the normalised differences %.2f, %.2f at most when they do", s.LineChi, plane.Agreeing)
	}
	if e := p.r.Camera.ExifPx; e > 0 {
		r := p.r.Camera.FocalPx/e - 1
		add("focal length", math.Abs(r) < .08, "the focal length from the picture differs by %.1f %% from the one in the file", 100*r)
	}
	W := p.o.Product.Width
	for _, k := range p.r.Course.Pieces {
		if k.Width == nil || k.Left != EndJoint || k.Right != EndJoint {
			continue
		}
		d := k.Width.Value() - W
		if math.Abs(float64(d)) < .02*float64(W) {
			add(fmt.Sprintf("width of piece %d", k.ID), math.Abs(float64(d)) < 3*float64(k.Width.U())+3, "piece %d is %s wide; the product is %.2f in", k.ID, inches(*k.Width), W/length.Inch)
		}
	}
	for k := range p.geometry {
		name := fmt.Sprintf("butt of piece %d", k+1)
		if b := p.geometry[k].sketch.Butt; !p.carries(k + 1) {
			// nothing is measured from it
		} else if p.geometry[k].butt == nil {
			add(name, false, "the butt of piece %d is not to be seen; heights on it are told from where the course should lie, to %.1f mm", k+1, noButtU)
		} else if u := unclear(b.Rough); u > buttFloor {
			add(name, false, "the butt of piece %d is not plain: what was taken for it lies %.1f mm off a straight line; heights on it are told less well by %.1f mm", k+1, b.Rough, u)
		}
		if p.geometry[k].sketch.Doubtful {
			add(fmt.Sprintf("joint in piece %d", k+1), false, "piece %d is wider than the product: a joint was not made out", k+1)
		}
		if p.geometry[k].sketch.Right.Kind == course.Predicted {
			add(fmt.Sprintf("right end of piece %d", k+1), true, "the joint at the right of piece %d is not to be seen; it is taken one product width from the next", k+1)
		}
	}
	return out
}

// carries tells whether a head lies on a piece.
func (p *pass) carries(piece int) bool {
	return slices.ContainsFunc(p.r.Fasteners, func(f Fastener) bool { return f.Piece == piece })
}

func inches(m length.Measured) string {
	return fmt.Sprintf("%.2f in ± %.2f in", m.Value()/length.Inch, m.U95()/length.Inch)
}

// budget is the photo's uncertainty budget: for each source the root mean
// square of what it adds to each kind of length, over the heads.
func (p *pass) budget() []Share {
	rms := func(pick func(f *Fastener) *length.Measured) (out length.Budget) {
		n := 0.0
		for i := range p.r.Fasteners {
			if m := pick(&p.r.Fasteners[i]); m != nil {
				n++
				for s, u := range m.Budget(p.r.Inputs) {
					out[s] += u * u
				}
			}
		}
		for s, v := range out {
			out[s] = mm(math.Sqrt(float64(v) / max(n, 1)))
		}
		return out
	}
	above := rms(func(f *Fastener) *length.Measured { return f.AboveButt })
	end := rms(func(f *Fastener) *length.Measured { return f.End })
	lower := rms(func(f *Fastener) *length.Measured { return f.LowerJoint })
	var out []Share
	for _, s := range length.Sources() {
		out = append(out, Share{s, above[s], end[s], lower[s]})
	}
	return out
}
