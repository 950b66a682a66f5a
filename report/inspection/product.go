package inspection

import (
	"fmt"
	"strings"
)

// Fit is how the lengths of the product in the schedule fit the photos that
// could tell.
type Fit struct {
	Off  int // photos that they do not fit
	Card int // of these, photos that were refused because the card, too, could be at fault
	Of   int // photos that could tell
}

// Product tells how the product of the schedule fits the photos of a document.
func (d Document) Product() Fit {
	var f Fit
	for _, p := range d.Photos {
		switch {
		case p.Refusal != nil && p.Refusal.Reason == "card_wrong_size":
			f.Of, f.Off, f.Card = f.Of+1, f.Off+1, f.Card+1
		case p.Status == Measured:
			f.Of++
			if !p.fitsProduct() {
				f.Off++
			}
		}
	}
	return f
}

// fitsProduct is whether the photo passed each self-check against the lengths
// of the product. An edge that was taken for another fails them too.
func (p Photo) fitsProduct() bool {
	for _, c := range p.Checks {
		if !c.OK && (c.Name == "edges" || strings.HasPrefix(c.Name, "width of piece ") || strings.HasPrefix(c.Name, "joint in piece ")) {
			return false
		}
	}
	return true
}

// Other is whether the photos look like another product than the schedule's: at
// least half of those that could tell do not fit it, and at least two or the only
// one. Of a single photo of several, or of a few in many, another edge was made
// out, and each says so itself.
func (f Fit) Other() bool { return 2*f.Off >= f.Of && f.Off >= min(2, max(1, f.Of)) }

// String is what a person is told; "" while the photos do not look like another product.
func (f Fit) String() string {
	if !f.Other() {
		return ""
	}
	photos, card := "photos", ""
	if f.Of == 1 {
		photos = "photo"
	}
	if f.Card > 0 {
		card = ", or like a card that was not printed true to size"
	}
	return fmt.Sprintf("%d of %d %s that could tell do not fit the width, height and exposure in the schedule: this looks like another product%s. Compare the schedule with the wrapper before you use a verdict.", f.Off, f.Of, photos, card)
}
