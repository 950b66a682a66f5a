package schedule

import (
	"fmt"

	"coursegauge/vision/length"
)

// check compares values with each other; it answers "" when they can be true
// together. The key is where the message points, unless it is a default and
// the other one is not.
type check struct {
	key, other string
	say        func(s Schedule) string
}

// checks holds every relation between two values that a real job keeps.
var checks = []check{
	{"product.exposure", "product.height", func(s Schedule) string {
		return under("product.exposure", s.Shingle.Exposure, "product.height", s.Shingle.Height)
	}},
	{"product.ply", "product.exposure", func(s Schedule) string {
		return under("product.ply", s.Shingle.Ply, "product.exposure", s.Shingle.Exposure)
	}},
	{"band.low", "band.high", func(s Schedule) string {
		return under("band.low", s.Band.Low, "band.high", s.Band.High)
	}},
	{"band.high", "product.height", func(s Schedule) string {
		return under("band.high", s.Band.High, "product.height", s.Shingle.Height)
	}},
	{"band.low", "product.exposure", func(s Schedule) string {
		if s.Band.Low >= s.Shingle.Exposure {
			return ""
		}
		return fmt.Sprintf("band.low %s is under product.exposure %s; heads there would stay open to the weather; measure the band from the butt edge",
			length.Inches(s.Band.Low), length.Inches(s.Shingle.Exposure))
	}},
	{"fasteners.head_diameter", "product.exposure", func(s Schedule) string {
		return under("fasteners.head_diameter", s.Fasteners.HeadDiameter, "product.exposure", s.Shingle.Exposure)
	}},
	{"ends.min", "ends.max", func(s Schedule) string {
		return under("ends.min", s.Ends.Min, "ends.max", s.Ends.Max)
	}},
	{"ends.max", "product.width", func(s Schedule) string {
		return under("twice ends.max", 2*s.Ends.Max, "product.width", s.Shingle.Width)
	}},
	{"joints.clearance", "product.width", func(s Schedule) string {
		return under("twice joints.clearance", 2*s.Joints.Clearance, "product.width", s.Shingle.Width)
	}},
	{"joints.offset", "product.width", func(s Schedule) string {
		return under("twice joints.offset", 2*s.Joints.Offset, "product.width", s.Shingle.Width)
	}},
	{"cut.narrowest", "cut.short", func(s Schedule) string {
		return under("cut.narrowest", s.Cut.Narrowest, "cut.short", s.Cut.Short)
	}},
	{"cut.narrowest", "product.width", func(s Schedule) string {
		return under("cut.narrowest", s.Cut.Narrowest, "product.width", s.Shingle.Width)
	}},
	{"next_course.stagger", "product.width", func(s Schedule) string {
		return under("next_course.stagger", s.NextCourse.Stagger.Length, "product.width", s.Shingle.Width)
	}},
	{"decision.clear", "decision.suspect", func(s Schedule) string {
		if s.Decision.Clear < s.Decision.Suspect {
			return ""
		}
		return fmt.Sprintf("decision.clear %g is not under decision.suspect %g; what lies between the two is unresolved", s.Decision.Clear, s.Decision.Suspect)
	}},
}

// under says what is wrong when a is not under b.
func under(a string, av length.MM, b string, bv length.MM) string {
	if av < bv {
		return ""
	}
	return fmt.Sprintf("%s %s is not under %s %s", a, length.Inches(av), b, length.Inches(bv))
}
