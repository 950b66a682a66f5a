package photo

import (
	"bytes"
	"encoding/binary"
	"runtime"
	"slices"
	"testing"
)

// hostile are bodies that break an EXIF library without a guard: each either
// made it allocate gigabytes, run without end, panic or miss the entry.
func hostile() map[string][]byte {
	one := func(f field) []byte { return tiffOf(le, map[uint32][]field{8: {f}}, nil) }
	wide := make([]field, 200) // 200 tags over the same 60000 bytes
	for i := range wide {
		wide[i] = field{tag: uint16(0x9C00 + i), kind: typeByte, count: 60000, raw: []byte{0, 0, 0, 0}}
	}
	many := append(tiffOf(le, nil, nil)[:8], 0xFF, 0xFF) // 65535 entries announced
	for i := range 65000 / entrySize {
		many = le.AppendUint16(many, uint16(i))
		many = append(many, 3, 0, 1, 0, 0, 0, 1, 0, 0, 0)
	}
	cut := append(tiffOf(le, nil, nil)[:8], 1, 0) // an entry that ends after its count
	cut = append(cut, 0x03, 0x90, 5, 0, 1, 0, 0, 0x20)
	return map[string][]byte{
		"RATIONAL count wraps to 8 bytes":  one(field{tag: 0x920A, kind: typeRational, count: 0x20000001}),
		"SHORT count wraps to 2 bytes":     one(field{tag: 0x0112, kind: typeShort, count: 0x80000001}),
		"LONG count wraps to 4 bytes":      one(field{tag: 0x0100, kind: typeLong, count: 0x40000001}),
		"count of all ones":                one(field{tag: 0x0112, kind: typeShort, count: 0xFFFFFFFF}),
		"unwanted tag with a huge count":   one(field{tag: 0x0144, kind: typeLong, count: 0x40000001}),
		"next directories A B A":           tiffOf(le, map[uint32][]field{8: nil, 20: nil}, map[uint32]uint32{8: 20, 20: 8}),
		"next directory is itself":         tiffOf(le, map[uint32][]field{8: nil}, map[uint32]uint32{8: 8}),
		"Exif pointer to the first":        one(longField(tagExifPointer, 8)),
		"Exif and GPS pointers to one":     tiffOf(le, map[uint32][]field{8: {longField(tagExifPointer, 100), longField(tagGPSPointer, 100)}, 100: nil}, nil),
		"Exif pointer far outside":         one(longField(tagExifPointer, 0xFFFFFFFE)),
		"Exif pointer into the header":     one(longField(tagExifPointer, 0)),
		"Exif pointer as SHORT":            tiffOf(le, map[uint32][]field{8: {shortField(tagExifPointer, 100)}, 100: {{tag: 0x9003, kind: typeRational, count: 0x20000001}}}, nil),
		"Exif pointer as BYTE":             tiffOf(le, map[uint32][]field{8: {{tag: tagExifPointer, kind: typeByte, count: 1, value: []byte{100}}}, 100: {{tag: 0x9003, kind: typeShort, count: 0x80000001}}}, nil),
		"overlapping tags over one value":  append(tiffOf(le, map[uint32][]field{8: wide}, nil), make([]byte, 60000)...),
		"65535 entries announced":          many,
		"entry cut after its count":        cut,
		"denominator zero":                 one(ratioField(0x920A, 1, 0)),
		"type unknown":                     one(field{tag: 0x0112, kind: 77, count: 1}),
		"no values":                        one(field{tag: 0x0112, kind: typeShort, count: 0}),
		"value runs over the end":          one(field{tag: 0x0110, kind: typeASCII, count: 200, raw: []byte{0xF0, 0x0F, 0, 0}}),
		"same tag two thousand times":      append(tiffOf(le, nil, nil)[:8], append([]byte{0xD0, 7}, bytes.Repeat([]byte{0x12, 1, 3, 0, 1, 0, 0, 0, 6, 0, 0, 0}, 2000)...)...),
		"header alone":                     []byte("II*\x00\x08\x00\x00\x00"),
		"header alone, directory at 2^31":  []byte("MM\x00*\x80\x00\x00\x00"),
		"seven bytes":                      []byte("II*\x00\x08\x00\x00"),
		"megabyte of one directory's ones": append([]byte("MM\x00*\x00\x00\x00\x08"), bytes.Repeat([]byte{0xFF}, 1<<20)...),
	}
}

// The bound of a sifted body by the tables of guard.go: 26 entries, of which
// texts take at most 256 bytes.
const maxSifted = 4096

func TestHostileBodies(t *testing.T) {
	for name, body := range hostile() {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			s := sift(body)
			facts := readBody(body)
			runtime.ReadMemStats(&after)
			// TotalAlloc only grows. The photo around the body is built twice or
			// thrice by the helpers; 64 MB is the limit set for any file.
			if used := after.TotalAlloc - before.TotalAlloc; used > 64<<20 || used > uint64(16*len(body))+1<<20 {
				t.Errorf("%d bytes allocated for a body of %d", used, len(body))
			}
			if len(s.body) > maxSifted {
				t.Errorf("%d bytes let through, limit %d", len(s.body), maxSifted)
			}
			checkFacts(t, facts)
		})
	}
}

// Iterations are counted by allocations: the library allocates for every entry
// that it visits and every value that it reads, so a bound on them for a body
// of any size bounds its loops.
func TestWorkIsBounded(t *testing.T) {
	for name, body := range hostile() {
		n := testing.AllocsPerRun(3, func() {
			if s := sift(body); s.body != nil {
				if _, err := decode(s.body); err != nil {
					t.Errorf("%s: the library refuses what the guard lets through: %v", name, err)
				}
			}
		})
		if n > 2000 {
			t.Errorf("%s: %.0f allocations", name, n)
		}
	}
}

func TestProblemsNamed(t *testing.T) {
	for name, want := range map[string]string{
		"RATIONAL count wraps to 8 bytes": "", // FocalLength is not wanted in the first directory
		"SHORT count wraps to 2 bytes":    "tag 0x0112 has 2147483649 values; 1 to 1 would be right",
		"Exif pointer to the first":       "the Exif directory points back to offset 8",
		"Exif pointer as SHORT":           "tag 0x8769 has type 3; [4 13] would be right",
		"65535 entries announced":         "the first directory announces 65535 entries; there is room for 5416",
		"entry cut after its count":       "the first directory announces 1 entries; there is room for 0",
		"same tag two thousand times":     "the first directory announces 2000 entries; the limit is 512",
		"seven bytes":                     "7 bytes are too few for a TIFF header",
	} {
		if got := sift(hostile()[name]).problem; got != want {
			t.Errorf("%s: problem %q, want %q", name, got, want)
		}
	}
}

func TestEntriesPastTheLimitAreNotRead(t *testing.T) {
	for at, want := range map[int]int{maxEntries - 1: 6, maxEntries: 1} {
		body := le.AppendUint16(tiffOf(le, nil, nil)[:8], maxEntries+1)
		for i := range maxEntries + 1 {
			e := []byte{0, 0x90, typeShort, 0, 1, 0, 0, 0, 1, 0, 0, 0}
			if i == at {
				e = []byte{0x12, 1, typeShort, 0, 1, 0, 0, 0, 6, 0, 0, 0} // orientation 6
			}
			body = append(body, e...)
		}
		if got := readBody(body).Orientation; got != want {
			t.Errorf("entry %d: orientation %d, want %d", at, got, want)
		}
	}
}

// The library reads a sifted body as it reads the sound original.
func TestSiftKeepsValuesInBothOrders(t *testing.T) {
	for _, order := range []byteOrder{binary.LittleEndian, binary.BigEndian} {
		rat := order.AppendUint32(order.AppendUint32(nil, 17), 4)
		body := tiffOf(order, map[uint32][]field{
			8: {
				{tag: 0x0110, kind: typeUTF8, count: 9, value: []byte("Pocket é\x00")[:9]},
				{tag: 0x0112, kind: typeShort, count: 1, value: order.AppendUint16(nil, 7)},
				{tag: tagExifPointer, kind: typeIFD, count: 1, value: order.AppendUint32(nil, 300)},
			},
			300: {{tag: 0x920A, kind: typeRational, count: 1, value: rat}, asciiField(0x9003, "2001:02:03 04:05:06")},
		}, nil)
		f := readBody(body)
		want := Facts{Device: "Pocket é", Orientation: 7, FocalMM: 4.25, Taken: "2001-02-03T04:05:06"}
		if f != want {
			t.Errorf("%v:\n got %+v\nwant %+v", order, f, want)
		}
	}
}

// Many files hold many small bodies: none may be let through unbounded.
func TestFullestBodyStaysSmall(t *testing.T) {
	fill := func(wanted map[uint16]shape, skip ...uint16) (fields []field) {
		for tag, s := range wanted {
			if slices.Contains(skip, tag) {
				continue
			}
			fields = append(fields, field{tag: tag, kind: s.types[0], count: s.max, value: make([]byte, typeSize[s.types[0]]*int(s.max))})
		}
		return fields
	}
	body := camera(fill(wantedFirst, tagExifPointer, tagGPSPointer), fill(wantedExif), fill(wantedGPS))
	s := sift(body)
	if s.problem != "" || len(s.body) > maxSifted || len(s.offsets) != 3 {
		t.Errorf("problem %q, %d bytes, %d offsets; want none, at most %d, 3", s.problem, len(s.body), len(s.offsets), maxSifted)
	}
}
