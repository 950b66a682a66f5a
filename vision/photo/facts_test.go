package photo

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
)

// expected is what ExifTool 12.57 reads from a file of testdata/reference/exif.
type expected struct {
	File        string   `json:"file"`
	Orientation int      `json:"IFD0:Orientation"`
	Taken       string   `json:"ExifIFD:DateTimeOriginal"`
	Offset      string   `json:"ExifIFD:OffsetTimeOriginal"`
	Lat         *float64 `json:"Composite:GPSLatitude"`
	Lon         *float64 `json:"Composite:GPSLongitude"`
}

func readExpected(t *testing.T) []expected {
	t.Helper()
	var doc struct{ Files []expected }
	if err := json.Unmarshal(readFile(t, exifDir, "exif-expected.json"), &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Files) != 24 {
		t.Fatalf("%d files in exif-expected.json, want 24", len(doc.Files))
	}
	return doc.Files
}

// timeFromExpected writes a second opinion's time as Facts do.
func timeFromExpected(e expected) string {
	if e.Taken == "" || strings.HasPrefix(e.Taken, "0000") {
		return ""
	}
	date, clock, _ := strings.Cut(e.Taken, " ")
	out := strings.ReplaceAll(date, ":", "-") + "T" + clock
	if strings.TrimSpace(strings.Trim(e.Offset, ": ")) == "" {
		return out
	}
	return out + e.Offset
}

// These break the rules of a TIFF body so far that the second opinion reads on
// where we do not.
var readNoFurther = map[string]string{
	"tiff-magic-and-offsets-wrong.jpg": "the TIFF magic number is wrong",
}

func TestFactsAgainstSecondOpinion(t *testing.T) {
	for _, e := range readExpected(t) {
		t.Run(e.File, func(t *testing.T) {
			f := ReadFacts(readFile(t, exifDir, e.File))
			if reason := readNoFurther[e.File]; reason != "" {
				if f.Problem == "" {
					t.Errorf("no problem told, although %s", reason)
				}
				return
			}
			checkFacts(t, f) // all that can be asked where the second opinion is silent
			if want := timeFromExpected(e); e.Taken != "" && f.Taken != want {
				t.Errorf("taken %q, want %q", f.Taken, want)
			}
			if e.Orientation != 0 && f.Orientation != e.Orientation {
				t.Errorf("orientation %d, want %d", f.Orientation, e.Orientation)
			}
			if e.Lat != nil && (f.Location == nil || math.Abs(f.Location.Lat-*e.Lat) > 1e-9 || math.Abs(f.Location.Lon-*e.Lon) > 1e-9) {
				t.Errorf("location %v, want %v %v", f.Location, *e.Lat, *e.Lon)
			}
		})
	}
}

func TestProblemsOfBrokenPointers(t *testing.T) {
	for file, want := range map[string]string{
		"derived-exififd-huge-offset.jpg":    "the Exif directory at offset",
		"derived-exififd-points-to-ifd0.jpg": "the Exif directory points back",
		"derived-exififd-wrong-type.jpg":     "tag 0x8769 has type 2",
		"derived-offset-plus0530.jpg":        "",
		"issue-614.jpg":                      "",
	} {
		got := ReadFacts(readFile(t, exifDir, file)).Problem
		if want == "" && got != "" || !strings.HasPrefix(strings.TrimPrefix(got, "EXIF unreadable: "), want) {
			t.Errorf("%s: problem %q, want %q", file, got, want)
		}
	}
}

func TestTimestamp(t *testing.T) {
	const clock = "2026:03:29 02:30:00" // does not exist in zones that changed to summer time that night
	for _, c := range []struct{ clock, offset, want string }{
		{clock, "", "2026-03-29T02:30:00"},
		{clock, "+05:30", "2026-03-29T02:30:00+05:30"},
		{clock, "-08:00", "2026-03-29T02:30:00-08:00"},
		{clock, "+00:00", "2026-03-29T02:30:00Z"},
		{clock, "+14:00", "2026-03-29T02:30:00+14:00"}, // Line Islands: the farthest in use
		{clock, "+14:30", "2026-03-29T02:30:00"},
		{clock, "   :  ", "2026-03-29T02:30:00"}, // CIPA DC-008: blanks mean unknown
		{clock, "+5:30", "2026-03-29T02:30:00"},
		{clock, "+05:99", "2026-03-29T02:30:00"},
		{"0000:00:00 00:00:00", "+05:30", ""},
		{"0000:01:01 00:00:00", "", ""},
		{"    :  :     :  :  ", "", ""},
		{"2026:02:30 10:00:00", "", ""},
		{"2026:03:29 02:30:0.5", "", ""},
		{"2026-03-29 02:30:00", "", ""},
		{"", "", ""},
	} {
		if got := timestamp(c.clock, c.offset); got != c.want {
			t.Errorf("timestamp(%q, %q) = %q, want %q", c.clock, c.offset, got, c.want)
		}
	}
}

// camera is a body with every fact, each value chosen by the test.
func camera(first, exif, gps []field) []byte {
	return tiffOf(le, map[uint32][]field{
		8:    append(first, longField(tagExifPointer, 1024), longField(tagGPSPointer, 2048)),
		1024: exif,
		2048: gps,
	}, nil)
}

func TestEveryFact(t *testing.T) {
	body := camera(
		[]field{asciiField(0x010F, "Example"), asciiField(0x0110, "example Pocket 3"), shortField(0x0112, 8), asciiField(0x0132, "2026:05:02 00:00:00")},
		[]field{
			asciiField(0x9003, "2026:05:01 16:20:05"), asciiField(tagOffsetTimeOriginal, "-05:00"),
			ratioField(0x920A, 5400, 1000), longField(0xA002, 4032), longField(0xA003, 3024),
			ratioField(0xA404, 3, 2), shortField(0xA405, 26),
		},
		[]field{
			asciiField(1, "S"), ratioField(2, 33, 1, 30, 1, 36, 1),
			asciiField(3, "W"), ratioField(4, 70, 1, 15, 1, 0, 1),
		})
	want := Facts{
		Taken: "2026-05-01T16:20:05-05:00", Device: "example Pocket 3",
		FocalMM: 5.4, Focal35MM: 26, DigitalZoom: 1.5, Orientation: 8, SensorW: 4032, SensorH: 3024,
	}
	base := scene(16, 8)
	for name, b := range map[string][]byte{
		"jpeg":               insert(jpegOf(t, base), app1(body)),
		"jpeg after XMP":     insert(jpegOf(t, base), segmentOf(markerAPP1, []byte("http://ns.adobe.com/xap/1.0/\x00<x/>")), app1(body)),
		"jpeg after FFE1":    insert(jpegOf(t, base), segmentOf(0xEC, []byte{0xFF, 0xE1, 0, 9, 'E', 'x', 'i', 'f'}), app1(body)),
		"png":                pngWithEXIF(pngOf(t, base), body),
		"png, JPEG's prefix": pngWithEXIF(pngOf(t, base), append([]byte("Exif\x00\x00"), body...)),
	} {
		f := ReadFacts(b)
		if f.Location == nil || math.Abs(f.Location.Lat+33.51) > 1e-12 || f.Location.Lon != -70.25 {
			t.Errorf("%s: location %v, want -33.51 -70.25", name, f.Location)
		}
		f.Location = nil
		if f != want {
			t.Errorf("%s:\n got %+v\nwant %+v", name, f, want)
		}
	}
}

func TestLocationOutOfRange(t *testing.T) {
	good := []field{asciiField(1, "N"), ratioField(2, 33, 1, 30, 1, 36, 1), asciiField(3, "E"), ratioField(4, 70, 1, 15, 1, 0, 1)}
	for name, change := range map[string]struct {
		at int
		f  field
	}{
		"latitude over 90":        {1, ratioField(2, 90, 1, 0, 1, 1, 1)},
		"longitude over 180":      {3, ratioField(4, 181, 1, 0, 1, 0, 1)},
		"minutes over 60":         {1, ratioField(2, 33, 1, 61, 1, 0, 1)},
		"denominator zero":        {1, ratioField(2, 33, 1, 30, 1, 0, 0)},
		"two values only":         {1, ratioField(2, 33, 1, 30, 1)},
		"hemisphere unknown":      {0, asciiField(1, "X")},
		"hemisphere of the other": {2, asciiField(3, "S")},
	} {
		gps := append([]field{}, good...)
		gps[change.at] = change.f
		if f := readBody(camera(nil, nil, gps)); f.Location != nil {
			t.Errorf("%s: location %v, want none", name, *f.Location)
		}
	}
	if readBody(camera(nil, nil, good)).Location == nil {
		t.Error("the sound location is not read")
	}
	nofix := []field{asciiField(1, "N"), ratioField(2, 0, 1, 0, 1, 0, 1), asciiField(3, "E"), ratioField(4, 0, 1, 0, 1, 0, 1)}
	if f := readBody(camera(nil, nil, nofix)); f.Location != nil {
		t.Errorf("all zeros: location %v, want none", *f.Location)
	}
}

func TestOddValues(t *testing.T) {
	f := readBody(camera(
		[]field{shortField(0x0112, 9), asciiField(0x010F, " A\x07B\xff "), asciiField(0x0132, "2026:05:02 00:00:00")},
		[]field{ratioField(0x920A, 5, 0), ratioField(0xA404, 0, 1), asciiField(0x9003, "0000:00:00 00:00:00")}, nil))
	want := Facts{Orientation: 1, Device: "AB"}
	if f != want {
		t.Errorf("got %+v\nwant %+v", f, want)
	}
}

func TestTimeOfChangeOnlyWithoutOthers(t *testing.T) {
	changed := []field{asciiField(0x0132, "2026:05:02 00:00:00")}
	f := readBody(camera(changed, []field{asciiField(tagOffsetTime, "+02:00")}, nil))
	if want := "2026-05-02T00:00:00+02:00"; f.Taken != want {
		t.Errorf("taken %q, want %q", f.Taken, want)
	}
}

// A wanted entry that is bad costs its own fact only.
func TestOneBadEntryCostsOneFact(t *testing.T) {
	f := readBody(camera([]field{shortField(0x0112, 6), {tag: 0x010F, kind: typeASCII, count: 40, raw: []byte{0xF0, 0xFF, 0xFF, 0xFF}}},
		[]field{{tag: 0x927C, kind: 7, count: 0xFFFFFFFE}, asciiField(0x9003, "2026:05:01 16:20:05")}, nil))
	if f.Orientation != 6 || f.Taken != "2026-05-01T16:20:05" {
		t.Errorf("orientation %d and time %q are lost with the maker", f.Orientation, f.Taken)
	}
	if want := "EXIF unreadable: tag 0x010f keeps its 40 bytes at offset 4294967280"; !strings.HasPrefix(f.Problem, want) {
		t.Errorf("problem %q, want %q...", f.Problem, want)
	}
}

// readBody reads a TIFF body as a PNG carries it, without a limit of length.
func readBody(body []byte) Facts {
	ihdr := binary.BigEndian.AppendUint32(nil, 1)
	ihdr = binary.BigEndian.AppendUint32(ihdr, 1)
	b := append([]byte{}, pngSignature...)
	b = append(b, chunkOf(chunkIHDR, append(ihdr, 8, 0, 0, 0, 0))...)
	return ReadFacts(append(b, chunkOf(chunkEXIF, body)...))
}

// checkFacts holds what is true of the facts of any bytes.
func checkFacts(t *testing.T, f Facts) {
	t.Helper()
	if f.Orientation < 1 || f.Orientation > 8 {
		t.Errorf("orientation %d", f.Orientation)
	}
	if f.Taken != "" {
		_, errZone := time.Parse(time.RFC3339, f.Taken)
		_, errWall := time.Parse(wallClock, f.Taken)
		if errZone != nil && errWall != nil {
			t.Errorf("taken %q", f.Taken)
		}
	}
	if l := f.Location; l != nil && !(math.Abs(l.Lat) <= 90 && math.Abs(l.Lon) <= 180) {
		t.Errorf("location %v", *l)
	}
	for name, v := range map[string]float64{"focal": f.FocalMM, "focal 35": f.Focal35MM, "zoom": f.DigitalZoom, "w": float64(f.SensorW), "h": float64(f.SensorH)} {
		if !(v >= 0) || math.IsInf(v, 0) {
			t.Errorf("%s %v", name, v)
		}
	}
	if printable(f.Device) != f.Device || printable(f.Problem) != f.Problem {
		t.Errorf("not one printable line: %q %q", f.Device, f.Problem)
	}
}
