package vision

import (
	"fmt"
	"math"

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
	add("edges", s.LineChi < 4, "edges and product agree: mean square of the normalised differences %.2f, about 1 when they do", s.LineChi)
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
		if p.geometry[k].sketch.Doubtful {
			add(fmt.Sprintf("joint in piece %d", k+1), false, "piece %d is wider than the product: a joint was not made out", k+1)
		}
		if p.geometry[k].sketch.Right.Kind == course.Predicted {
			add(fmt.Sprintf("right end of piece %d", k+1), true, "the joint at the right of piece %d is not to be seen; it is taken one product width from the next", k+1)
		}
	}
	return out
}

func inches(m length.Measured) string {
	return fmt.Sprintf("%.2f in ± %.2f in", m.Value()/length.Inch, m.U95()/length.Inch)
}

// budget splits the variance of the photo's lengths by source: the shared
// inputs of the adjustment, and what each length has of its own.
func (p *pass) budget() []Share {
	shared, own := Share{Source: "camera, card and height of the shingles (shared by the photo)"}, Share{Source: "localisation of head and edges (each length's own)"}
	rms := func(pick func(f *Fastener) *length.Measured) (sh, ow length.MM) {
		var a, b, n float64
		for i := range p.r.Fasteners {
			m := pick(&p.r.Fasteners[i])
			if m == nil {
				continue
			}
			o := float64(m.Own())
			u := float64(m.U())
			a, b, n = a+u*u-o*o, b+o*o, n+1
		}
		return mm(math.Sqrt(a / max(n, 1))), mm(math.Sqrt(b / max(n, 1)))
	}
	shared.AboveButt, own.AboveButt = rms(func(f *Fastener) *length.Measured { return f.AboveButt })
	shared.End, own.End = rms(func(f *Fastener) *length.Measured { return f.End })
	shared.LowerJoint, own.LowerJoint = rms(func(f *Fastener) *length.Measured { return f.LowerJoint })
	return []Share{shared, own}
}
