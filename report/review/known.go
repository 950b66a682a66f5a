package review

import (
	"fmt"
	"math"

	"coursegauge/report/inspection"
)

// Known is what can be decided about in one inspection.
type Known struct {
	photos  map[string]inspection.Photo // by SHA-256
	targets map[string]*inspection.Fastener
}

// NewKnown lists the targets of a document.
func NewKnown(doc inspection.Document) Known {
	k := Known{map[string]inspection.Photo{}, map[string]*inspection.Fastener{}}
	for _, p := range doc.Photos {
		if p.SHA256 == "" {
			continue
		}
		k.photos[p.SHA256] = p
		for i := range p.Heads {
			k.targets[p.SHA256+"/"+HeadTarget(p.Heads[i].ID)] = &p.Heads[i]
		}
		for _, t := range FindingTargets(p.Findings) {
			k.targets[p.SHA256+"/"+t] = nil
		}
		k.targets[p.SHA256+"/"+photoTarget] = nil
	}
	return k
}

// Check says what keeps a decision from being about something here.
func (k Known) Check(d Decision) error {
	p, ok := k.photos[d.Photo]
	if !ok {
		return fmt.Errorf("photo %.12s… (%.60q) is not in this inspection", d.Photo, d.File)
	}
	if at, ok := d.Place(); ok {
		if p.Image == nil || at[0] < -0.5 || at[1] < -0.5 || at[0] > float64(p.Image.Width) || at[1] > float64(p.Image.Height) {
			return fmt.Errorf("%.60s lies outside the photo", d.Target)
		}
		return nil
	}
	head, ok := k.targets[d.Key()]
	if !ok {
		return fmt.Errorf("%.60q is not in %.60q of this inspection", d.Target, p.File)
	}
	if head != nil && d.Px != nil && math.Hypot(head.Px[0]-d.Px[0], head.Px[1]-d.Px[1]) > max(head.RadiusPx, 8) {
		return fmt.Errorf("%s lies elsewhere in this inspection of %.60q", d.Target, p.File)
	}
	return nil
}
