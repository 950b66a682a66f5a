package lens

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strings"

	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

// Format is the name and the version of a profile file.
const Format = "coursegauge-camera/1"

// Ext is what the names of profile files end in.
const Ext = ".camera.json"

// The order of the parameters in Profile.Covariance.
const (
	covF = iota // of ln F
	covK1
	covK2
	covCx
	covCy
	covP1
	covP2
	nCov
)

// Profile is a learned lens of one device at one picture size. Pixels are those
// of the picture as it is stored, before its orientation turns it.
type Profile struct {
	Format  string  `json:"format"`
	Device  string  `json:"device"`
	FocalMM float64 `json:"focal_mm,omitempty"` // of the lens, from EXIF: tells the phone's lenses apart
	Focal35 float64 `json:"focal_35mm,omitempty"`
	Width   int     `json:"width"`
	Height  int     `json:"height"`

	F  float64 `json:"focal_px"`
	Cx float64 `json:"centre_x_px"`
	Cy float64 `json:"centre_y_px"`
	K1 float64 `json:"k1"`
	K2 float64 `json:"k2"`
	P1 float64 `json:"p1"`
	P2 float64 `json:"p2"`
	// Covariance of ln focal_px, k1, k2, centre_x_px, centre_y_px, p1, p2.
	Covariance [nCov][nCov]float64 `json:"covariance"`

	RMS      float64  `json:"rms_px"`
	Views    []string `json:"views"`
	Warnings []string `json:"warnings,omitempty"`
}

// U are the standard uncertainties: relative of the focal length, of the
// principal point (px, the greater of both), of K1, K2, P1, P2.
func (p *Profile) U() (f, centre, k1, k2, p1, p2 float64) {
	u := func(i int) float64 { return math.Sqrt(p.Covariance[i][i]) }
	return u(covF), max(u(covCx), u(covCy)), u(covK1), u(covK2), u(covP1), u(covP2)
}

// maxProfile bytes of a file are read; one that this package writes has some 4 kB.
const maxProfile = 1 << 18

// Parse reads a profile file and checks it; the error is one line.
func Parse(data []byte) (Profile, error) {
	var p Profile
	if len(data) > maxProfile {
		return p, fmt.Errorf("%d bytes; a camera profile has less than %d", len(data), maxProfile)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&p); err != nil {
		return p, fmt.Errorf("no camera profile: %w", err)
	}
	return p, p.check()
}

func (p *Profile) check() error {
	switch {
	case p.Format != Format:
		return fmt.Errorf("no camera profile: its format is %q; %q is read", p.Format, Format)
	case p.Device == "":
		return fmt.Errorf("camera profile without a device")
	case p.Width < 200 || p.Height < 200 || p.Width > 100000 || p.Height > 100000:
		return fmt.Errorf("camera profile for %d x %d px; 200 to 100000 px a side are legal", p.Width, p.Height)
	}
	long := float64(max(p.Width, p.Height))
	for _, c := range []struct {
		name        string
		v, from, to float64
	}{
		{"focal_px", p.F, .2 * long, 20 * long}, {"centre_x_px", p.Cx, .3 * float64(p.Width), .7 * float64(p.Width)},
		{"centre_y_px", p.Cy, .3 * float64(p.Height), .7 * float64(p.Height)},
		{"k1", p.K1, -2, 2}, {"k2", p.K2, -5, 5}, {"p1", p.P1, -.1, .1}, {"p2", p.P2, -.1, .1},
	} {
		if !(c.v >= c.from && c.v <= c.to) {
			return fmt.Errorf("camera profile: %s is %g; %g to %g are legal", c.name, c.v, c.from, c.to)
		}
	}
	_, err := p.Upright(1)
	return err
}

// Encode is the file of a profile.
func (p Profile) Encode() ([]byte, error) {
	p.Format = Format
	if err := p.check(); err != nil {
		return nil, err
	}
	b, err := json.MarshalIndent(p, "", "  ")
	return append(b, '\n'), err
}

var notInAName = regexp.MustCompile(`[^a-z0-9.]+`)

// FileName names the profile by device, lens and picture size.
func (p Profile) FileName() string {
	parts := []string{strings.Trim(notInAName.ReplaceAllString(strings.ToLower(p.Device), "-"), "-.")}
	if p.FocalMM > 0 {
		parts = append(parts, fmt.Sprintf("%.2fmm", p.FocalMM))
	}
	return strings.Join(append(parts, fmt.Sprintf("%dx%d", p.Width, p.Height)), "_") + Ext
}

// Upright is the lens in the frame of the upright picture of the given
// orientation (1, 3, 6 or 8), as the adjustment of a photo takes it.
func (p *Profile) Upright(orientation int) (*plane.LensPrior, error) {
	// a direction (x, y) of the stored picture is (a x + b y, c x + d y) upright
	a, b, c, d := 1., 0., 0., 1.
	cx, cy := p.Cx, p.Cy
	w, h := float64(p.Width-1), float64(p.Height-1)
	switch orientation {
	case 3:
		a, b, c, d = -1, 0, 0, -1
		cx, cy = w-p.Cx, h-p.Cy
	case 6:
		a, b, c, d = 0, -1, 1, 0
		cx, cy = h-p.Cy, p.Cx
	case 8:
		a, b, c, d = 0, 1, -1, 0
		cx, cy = p.Cy, w-p.Cx
	}
	// the tangential terms turn as the vector (p2, p1)
	l := plane.Lens{F: p.F, Cx: cx, Cy: cy, K1: p.K1, K2: p.K2, P2: a*p.P2 + b*p.P1, P1: c*p.P2 + d*p.P1}
	M := [5][5]float64{{1}, {0, 1}, {0, 0, 1}, {0, 0, 0, a, b}, {0, 0, 0, c, d}}
	var cov [5][5]float64
	for i := range 5 {
		for j := range 5 {
			for k := range 5 {
				for m := range 5 {
					cov[i][j] += M[i][k] * p.Covariance[k][m] * M[j][m]
				}
			}
		}
	}
	return plane.NewLensPrior(l, cov)
}

// Fits tells whether the profile holds for a photo (width x height px as
// stored), and if not, why.
func (p *Profile) Fits(f photo.Facts, width, height int) (ok bool, why string) {
	if why := unfit(f, width, height); why != "" {
		return false, why
	}
	switch {
	case !strings.EqualFold(f.Device, p.Device):
		return false, fmt.Sprintf("it is of another device, %s", p.Device)
	case differ(f.FocalMM, p.FocalMM, .01) || differ(f.Focal35MM, p.Focal35, .02):
		return false, fmt.Sprintf("it is of another lens of this device (%s; the photo: %s)", focal(p.FocalMM, p.Focal35), focal(f.FocalMM, f.Focal35MM))
	case width != p.Width || height != p.Height:
		return false, fmt.Sprintf("it is for pictures of %d x %d px; this one has %d x %d", p.Width, p.Height, width, height)
	}
	return true, ""
}

func differ(a, b, relative float64) bool { return math.Abs(a-b) > relative*max(a, b) }

func focal(mm, mm35 float64) string {
	if mm <= 0 && mm35 <= 0 {
		return "focal length not given"
	}
	return fmt.Sprintf("%.2f mm, %.0f mm on 36 x 24", mm, mm35)
}

// Choose gives the index of the first profile that fits a photo; -1 when none
// does, with the reason of the nearest miss.
func Choose(profiles []Profile, f photo.Facts, width, height int) (at int, why string) {
	why = "there is no profile of this device"
	for i := range profiles {
		ok, reason := profiles[i].Fits(f, width, height)
		if ok {
			return i, ""
		}
		if len(profiles) == 1 || f.Device == "" || strings.EqualFold(profiles[i].Device, f.Device) {
			why = reason
		}
	}
	return -1, why
}
