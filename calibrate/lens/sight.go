package lens

import (
	"errors"
	"fmt"

	"coursegauge/vision/card"
	"coursegauge/vision/photo"
)

// Sight is what one photo gives to the learning: a view of the card, or the
// reason why it gives none.
type Sight struct {
	Name  string
	Facts photo.Facts
	// Width and Height are those of the picture as it is stored.
	Width, Height int
	SHA256        string
	View          View
	SquarePx      float64 // mean side of a square of the card
	Why           string  // not used because; "" when it can be used
}

// Limits of a view.
const (
	minSquare  = 18  // px: smaller squares, seen in photos taken from afar, tell nothing of the lens
	maxSoft    = 4.5 // px
	fewCorners = 20
	cornerU    = .05 // px: what a corner errs by, before the views have told
	maxZoom    = 1.02
)

// See looks for the card in the bytes of a photo. Photos of open courses are
// views too: their card counts, the shingles do not.
func See(name string, data []byte) Sight {
	s := Sight{Name: name, Facts: photo.ReadFacts(data)}
	pic, err := photo.Decode(data, photo.Options{})
	if err != nil {
		s.Why = err.Error()
		return s
	}
	defer pic.Close()
	s.Width, s.Height, s.SHA256 = pic.Header.Width, pic.Header.Height, pic.SHA256
	if s.Why = unfit(s.Facts, s.Width, s.Height); s.Why != "" {
		return s
	}
	s.look(pic)
	return s
}

// unfit says why a photo cannot stand for the camera as it is.
func unfit(f photo.Facts, width, height int) string {
	switch {
	case f.Device == "":
		return "the file does not name the phone; use the file as the phone made it"
	case f.DigitalZoom > maxZoom:
		return fmt.Sprintf("taken at digital zoom %.1f; take it without zoom", f.DigitalZoom)
	case mirrored(f.Orientation):
		return "the picture is mirrored; use the camera on the back"
	case !sameSize(f, width, height):
		return fmt.Sprintf("the camera made %d x %d px, the file has %d x %d: cropped or saved anew; use the file as the phone made it", f.SensorW, f.SensorH, width, height)
	}
	return ""
}

// sameSize tells whether the file has the size that the camera wrote down, in
// either direction: some programs turn the picture and keep the tags.
func sameSize(f photo.Facts, width, height int) bool {
	return f.SensorW == 0 || f.SensorH == 0 || f.SensorW == width && f.SensorH == height
}

func mirrored(orientation int) bool {
	return orientation == 2 || orientation == 4 || orientation == 5 || orientation == 7
}

func (s *Sight) look(pic *photo.Picture) {
	got, err := card.Find(pic.Gray, card.Standard)
	var unseen *card.Unseen
	switch {
	case errors.As(err, &unseen):
		s.Why = unseen.Error()
		return
	case err != nil:
		s.Why = err.Error()
		return
	}
	s.SquarePx = got.SquarePx
	switch soft := card.Blur(pic.Gray, card.Standard, got); {
	case len(got.Corners) < fewCorners:
		s.Why = fmt.Sprintf("%d corners of the card to be seen; %d are needed", len(got.Corners), fewCorners)
	case got.SquarePx < minSquare:
		s.Why = fmt.Sprintf("a square of the card is %.0f px wide; %d are needed", got.SquarePx, minSquare)
	case soft > maxSoft:
		s.Why = fmt.Sprintf("blurred: the card's edges are %.1f px soft; at most %.1f px can be used", soft, maxSoft)
	}
	if s.Why == "" {
		got.Corners = append(got.Corners, missed(pic.Gray, got)...)
		s.View = viewOf(s.Name, got, s.Facts.Orientation, s.Width, s.Height)
	}
}

// viewOf takes the card's corners back to the picture as it is stored. Their
// uncertainty in the sight holds what lens and bend do to them, which is what
// is looked for here: it is left behind.
func viewOf(name string, got card.Sight, orientation, width, height int) View {
	b := card.Standard
	ox, oy := float64(b.Cols)*b.SquareMM/2, float64(b.Rows)*b.SquareMM/2
	v := View{Name: name}
	for _, k := range got.Corners {
		u, w := stored(orientation, width, height, k.X, k.Y)
		v.Points = append(v.Points, Point{X: k.BoardX - ox, Y: oy - k.BoardY, U: u, V: w, Sigma: cornerU})
	}
	return v
}

// stored takes a pixel of the upright picture to the picture as it is stored,
// width x height px (CIPA DC-008, tag 0x0112; 1, 3, 6 and 8).
func stored(orientation, width, height int, x, y float64) (u, v float64) {
	w, h := float64(width), float64(height)
	switch orientation {
	case 3:
		return w - 1 - x, h - 1 - y
	case 6:
		return y, h - 1 - x
	case 8:
		return w - 1 - y, x
	}
	return x, y
}
