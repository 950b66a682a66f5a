package photo

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"github.com/rwcarlsen/goexif/exif"
)

// Facts is what the camera wrote beside the picture. What is absent, out of
// its range or unreadable is the zero value: nothing is guessed.
type Facts struct {
	// Taken is when the picture was taken: RFC 3339 when the offset from UTC is
	// known, "2006-01-02T15:04:05" (the camera's wall clock, zone unknown) when
	// not, "" when unknown.
	Taken       string
	Device      string  // maker and model, as one name
	FocalMM     float64 // focal length of the lens
	Focal35MM   float64 // focal length with the same diagonal angle of view on 36 x 24 mm
	DigitalZoom float64 // at least 1; 0 when unknown or not used
	// Orientation is how the stored picture is to be turned, 1 to 8 (CIPA DC-008,
	// tag 0x0112); 1 when unknown. In a HEIC it is what the container says, which
	// the tag only repeats.
	Orientation int
	Location    *Location
	// SensorW and SensorH are the size in pixels that the camera gave the
	// picture (PixelXDimension, PixelYDimension, else ImageWidth, ImageLength):
	// another size in the header means that it was cropped or scaled since.
	SensorW, SensorH int
	// Decoder is the library that reads the pixels of such a file on this machine,
	// with its version, when that is not OpenCV: "libheif 1.15.1".
	Decoder string
	Problem string // "EXIF unreadable: ..." when some of it was not sound, else ""
}

// Location is where the picture was taken, in degrees (WGS 84).
type Location struct {
	Lat float64 // north positive, -90 to 90
	Lon float64 // east positive, -180 to 180
}

// ReadFacts reads the EXIF of a photo. It never fails: facts that are not
// there, or not sound, stay unknown. Time is linear in b; memory beside b is
// bounded by the guard and by the size of b's index, whatever b holds.
func ReadFacts(b []byte) Facts {
	kind := formatOf(b)
	if kind == nil {
		return Facts{Orientation: 1}
	}
	f := exifFacts(kind.exif(b))
	if kind.orientation != nil {
		f.Orientation = kind.orientation(b)
	}
	if kind.decoder != nil {
		f.Decoder = kind.decoder()
	}
	return f
}

// exifFacts reads a TIFF body, which may be nil.
func exifFacts(body []byte) Facts {
	unknown := Facts{Orientation: 1}
	if body == nil {
		return unknown
	}
	s := sift(body)
	if s.body == nil {
		unknown.Problem = problem(s.problem)
		return unknown
	}
	x, err := decode(s.body)
	if err != nil {
		unknown.Problem = problem(err.Error())
		return unknown
	}
	f := fields{x}.facts(s.offsets)
	f.Problem = problem(s.problem)
	return f
}

func problem(text string) string {
	if text == "" {
		return ""
	}
	return "EXIF unreadable: " + text
}

// decode hands a sifted body to the library. The recover is a second belt: the
// guard leaves no known way to a panic.
func decode(body []byte) (x *exif.Exif, err error) {
	defer func() {
		if recover() != nil {
			err = errors.New("the EXIF library failed on it")
		}
	}()
	return exif.Decode(bytes.NewReader(body))
}

// fields reads named values; every one may be absent.
type fields struct{ *exif.Exif }

func (x fields) facts(offsets map[uint16]string) Facts {
	f := Facts{
		Taken:       x.taken(offsets),
		Device:      device(x.text(exif.Make), x.text(exif.Model)),
		FocalMM:     positive(x.ratio(exif.FocalLength, 0)),
		Focal35MM:   float64(max(0, x.integer(exif.FocalLengthIn35mmFilm))),
		DigitalZoom: positive(x.ratio(exif.DigitalZoomRatio, 0)),
		Orientation: x.integer(exif.Orientation),
		Location:    x.location(),
		SensorW:     max(0, x.integer(exif.PixelXDimension)),
		SensorH:     max(0, x.integer(exif.PixelYDimension)),
	}
	if f.Orientation < 1 || f.Orientation > 8 {
		f.Orientation = 1
	}
	if f.DigitalZoom < 1 {
		f.DigitalZoom = 0 // the standard's sign for a zoom that was not used is 0
	}
	if f.SensorW == 0 || f.SensorH == 0 {
		f.SensorW, f.SensorH = max(0, x.integer(exif.ImageWidth)), max(0, x.integer(exif.ImageLength))
	}
	return f
}

func (x fields) text(name exif.FieldName) string {
	tag, err := x.Get(name)
	if err != nil {
		return ""
	}
	s, err := tag.StringVal()
	if err != nil {
		return ""
	}
	return printable(s)
}

func (x fields) integer(name exif.FieldName) int {
	tag, err := x.Get(name)
	if err != nil {
		return 0
	}
	n, err := tag.Int(0)
	if err != nil {
		return 0
	}
	return n
}

// ratio is the i-th rational of a tag, NaN when it is absent or its
// denominator is zero. The caller keeps i under the count that the guard let
// through.
func (x fields) ratio(name exif.FieldName, i int) float64 {
	tag, err := x.Get(name)
	if err != nil {
		return math.NaN()
	}
	num, den, err := tag.Rat2(i)
	if err != nil || den == 0 {
		return math.NaN()
	}
	return float64(num) / float64(den)
}

// taken is the time of the exposure, else of its digitizing, else of the last
// change, each with its own offset. The first that is there decides even when
// it is blank or zero: a camera whose clock was not set does not know, and a
// later change of the file does not know either.
func (x fields) taken(offsets map[uint16]string) string {
	for _, c := range []struct {
		name   exif.FieldName
		offset uint16
	}{
		{exif.DateTimeOriginal, tagOffsetTimeOriginal},
		{exif.DateTimeDigitized, tagOffsetTimeDigitized},
		{exif.DateTime, tagOffsetTime},
	} {
		if clock := x.text(c.name); clock != "" {
			return timestamp(clock, printable(offsets[c.offset]))
		}
	}
	return ""
}

// The forms of CIPA DC-008, tags 0x9003 and 0x9011.
const (
	exifClock  = "2006:01:02 15:04:05"
	exifOffset = "-07:00"
	wallClock  = "2006-01-02T15:04:05"
)

// A camera whose clock was never set writes zeros; no zone is farther than
// this from UTC.
const (
	firstYear  = 1900
	farthestUT = 14 * 3600 // seconds
)

// timestamp joins a clock reading and an offset; "" when the reading is none,
// without a zone when the offset is none.
func timestamp(clock, offset string) string {
	if len(clock) != len(exifClock) { // time.Parse would take fractions too
		return ""
	}
	wall, err := time.Parse(exifClock, clock)
	if err != nil || wall.Year() < firstYear {
		return ""
	}
	if len(offset) == len(exifOffset) {
		zoned, err := time.Parse(exifClock+exifOffset, clock+offset)
		if err == nil {
			if _, seconds := zoned.Zone(); seconds >= -farthestUT && seconds <= farthestUT {
				return zoned.Format(time.RFC3339)
			}
		}
	}
	return wall.Format(wallClock)
}

// location is nil unless both coordinates and both hemispheres are sound. A
// receiver without a fix writes zeros for both.
func (x fields) location() *Location {
	lat := x.angle(exif.GPSLatitude, x.text(exif.GPSLatitudeRef), "N", "S", 90)
	lon := x.angle(exif.GPSLongitude, x.text(exif.GPSLongitudeRef), "E", "W", 180)
	if math.IsNaN(lat) || math.IsNaN(lon) || lat == 0 && lon == 0 {
		return nil
	}
	return &Location{Lat: lat, Lon: lon}
}

// angle is degrees, minutes and seconds as signed degrees, NaN when they are
// absent or out of range.
func (x fields) angle(name exif.FieldName, ref, plus, minus string, limit float64) float64 {
	d, m, s := x.ratio(name, 0), x.ratio(name, 1), x.ratio(name, 2)
	angle := d + m/60 + s/3600
	if !(d >= 0 && m >= 0 && m <= 60 && s >= 0 && s <= 60 && angle <= limit) { // false for NaN too
		return math.NaN()
	}
	switch ref {
	case plus:
		return angle
	case minus:
		return 0 - angle // not -angle: no negative zero
	}
	return math.NaN()
}

// device joins maker and model, without saying the maker twice.
func device(maker, model string) string {
	if strings.HasPrefix(strings.ToLower(model), strings.ToLower(maker)) {
		return model
	}
	return strings.TrimSpace(fmt.Sprintf("%s %s", maker, model))
}

// printable is s up to its first NUL as one line of valid text.
func printable(s string) string {
	s, _, _ = strings.Cut(s, "\x00")
	s = strings.ToValidUTF8(s, "")
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

func positive(v float64) float64 {
	if v > 0 { // false for NaN too
		return v
	}
	return 0
}
