package photo

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// The guard stands between a stranger's EXIF and the EXIF library, which
// allocates what a count announces, follows directories in circles and gives
// up whole when one entry is bad. It reads at most three directories (the
// first, Exif, GPS), keeps at most one entry for each tag in the tables below,
// each checked for type, count and place, and assembles a new TIFF body of
// them. The library sees that body alone, so whatever the file says its work
// is bounded by the tables: under 4 KiB and 30 entries. One bad entry costs
// its own fact and no other.
//
// Layout of a TIFF body: TIFF 6.0 (1992), section 2; tags: CIPA DC-008.

// Field types of TIFF 6.0; type 129 came with Exif 3.0.
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeSLong     = 9
	typeSRational = 10
	typeIFD       = 13
	typeUTF8      = 129
)

var typeSize = map[uint16]int{
	typeByte: 1, typeASCII: 1, typeShort: 2, typeLong: 4, typeRational: 8,
	typeSLong: 4, typeSRational: 8, typeIFD: 4, typeUTF8: 1,
}

const (
	tiffHeader = 8
	entrySize  = 12
	maxEntries = 512 // of one directory; cameras write under 100
)

// shape is what a wanted entry must look like.
type shape struct {
	types    []uint16
	min, max uint32 // count of values
}

var (
	pointer = shape{[]uint16{typeLong, typeIFD}, 1, 1}
	integer = shape{[]uint16{typeShort, typeLong, typeSLong, typeByte}, 1, 1}
	ratio   = shape{[]uint16{typeRational, typeSRational}, 1, 1}
	degrees = shape{[]uint16{typeRational}, 3, 3}
	letter  = shape{[]uint16{typeASCII}, 1, 4}
	text    = shape{[]uint16{typeASCII, typeUTF8}, 1, 256}
)

// Tags that the guard itself reads.
const (
	tagExifPointer         = 0x8769
	tagGPSPointer          = 0x8825
	tagOffsetTime          = 0x9010 // unknown to the library, as are the next two
	tagOffsetTimeOriginal  = 0x9011
	tagOffsetTimeDigitized = 0x9012
)

// The wanted entries of each directory.
var (
	wantedFirst = map[uint16]shape{
		0x0100: integer, // ImageWidth
		0x0101: integer, // ImageLength
		0x010F: text,    // Make
		0x0110: text,    // Model
		0x0112: integer, // Orientation
		0x0132: text,    // DateTime

		tagExifPointer: pointer,
		tagGPSPointer:  pointer,
	}
	wantedExif = map[uint16]shape{
		0x9003: text, // DateTimeOriginal
		0x9004: text, // DateTimeDigitized

		tagOffsetTime:          text,
		tagOffsetTimeOriginal:  text,
		tagOffsetTimeDigitized: text,

		0x920A: ratio,   // FocalLength
		0xA002: integer, // PixelXDimension
		0xA003: integer, // PixelYDimension
		0xA404: ratio,   // DigitalZoomRatio
		0xA405: integer, // FocalLengthIn35mmFilm
	}
	wantedGPS = map[uint16]shape{
		0x0001: letter,  // GPSLatitudeRef
		0x0002: degrees, // GPSLatitude
		0x0003: letter,  // GPSLongitudeRef
		0x0004: degrees, // GPSLongitude
	}
)

type byteOrder interface {
	binary.ByteOrder
	binary.AppendByteOrder
}

// entry is one checked entry of a directory.
type entry struct {
	tag, kind uint16
	count     uint32
	value     []byte // exactly count values, in the order of the body
}

// sifted is what the guard lets through.
type sifted struct {
	body    []byte // a sound TIFF body of the wanted entries
	offsets map[uint16]string
	problem string // the first thing that was wrong; empty when all was sound
}

// sift reads the wanted entries of a TIFF body. It never fails: what is not
// sound is left out and told in the problem.
func sift(body []byte) sifted {
	s := sifter{body: body}
	start, ok := s.header()
	if !ok {
		return sifted{problem: s.problem}
	}
	first := s.directory("first", start, wantedFirst)
	exif := s.linked("Exif", first, tagExifPointer, wantedExif)
	gps := s.linked("GPS", first, tagGPSPointer, wantedGPS)
	out := sifted{body: assemble(s.order, first, exif, gps), offsets: map[uint16]string{}, problem: s.problem}
	for _, e := range exif {
		if e.tag >= tagOffsetTime && e.tag <= tagOffsetTimeDigitized {
			out.offsets[e.tag] = string(e.value)
		}
	}
	return out
}

// sifter walks one body.
type sifter struct {
	body    []byte
	order   byteOrder
	visited []uint32 // where directories began
	problem string
}

func (s *sifter) fault(format string, args ...any) {
	if s.problem == "" {
		s.problem = fmt.Sprintf(format, args...)
	}
}

// header reads the byte order and the offset of the first directory.
func (s *sifter) header() (start uint32, ok bool) {
	if len(s.body) < tiffHeader {
		s.fault("%d bytes are too few for a TIFF header", len(s.body))
		return 0, false
	}
	switch string(s.body[:4]) {
	case "II*\x00":
		s.order = binary.LittleEndian
	case "MM\x00*":
		s.order = binary.BigEndian
	default:
		s.fault("it starts with % x, not as TIFF does", s.body[:4])
		return 0, false
	}
	return s.order.Uint32(s.body[4:]), true
}

// directory reads the wanted entries of the directory at offset, the first of
// each tag, in the file's order.
func (s *sifter) directory(name string, offset uint32, wanted map[uint16]shape) []entry {
	if slices.Contains(s.visited, offset) {
		s.fault("the %s directory points back to offset %d", name, offset)
		return nil
	}
	s.visited = append(s.visited, offset)
	at := uint64(offset) + 2
	if offset < tiffHeader || at > uint64(len(s.body)) {
		s.fault("the %s directory at offset %d lies outside the %d bytes", name, offset, len(s.body))
		return nil
	}
	n := int(s.order.Uint16(s.body[offset:]))
	whole := (len(s.body) - int(at)) / entrySize
	if n > whole {
		s.fault("the %s directory announces %d entries; there is room for %d", name, n, whole)
	}
	if n > maxEntries {
		s.fault("the %s directory announces %d entries; the limit is %d", name, n, maxEntries)
	}
	var entries []entry
	for i := range min(n, whole, maxEntries) {
		e, ok := s.entry(s.body[int(at)+i*entrySize:], wanted)
		if ok && !slices.ContainsFunc(entries, func(have entry) bool { return have.tag == e.tag }) {
			entries = append(entries, e)
		}
	}
	return entries
}

// entry checks the entry that raw begins with.
func (s *sifter) entry(raw []byte, wanted map[uint16]shape) (entry, bool) {
	e := entry{tag: s.order.Uint16(raw), kind: s.order.Uint16(raw[2:]), count: s.order.Uint32(raw[4:])}
	want, ok := wanted[e.tag]
	switch {
	case !ok:
		return e, false
	case !slices.Contains(want.types, e.kind):
		s.fault("tag %#04x has type %d; %v would be right", e.tag, e.kind, want.types)
		return e, false
	case e.count < want.min || e.count > want.max:
		s.fault("tag %#04x has %d values; %d to %d would be right", e.tag, e.count, want.min, want.max)
		return e, false
	}
	size := typeSize[e.kind] * int(e.count) // at most 256 values of 1 or 3 of 8 bytes
	if size <= 4 {
		e.value = raw[8 : 8+size]
		return e, true
	}
	at := uint64(s.order.Uint32(raw[8:]))
	if at+uint64(size) > uint64(len(s.body)) {
		s.fault("tag %#04x keeps its %d bytes at offset %d, outside the %d bytes", e.tag, size, at, len(s.body))
		return e, false
	}
	e.value = s.body[at : at+uint64(size)]
	return e, true
}

// linked reads the directory that an entry of the first one points to.
func (s *sifter) linked(name string, first []entry, tag uint16, wanted map[uint16]shape) []entry {
	for _, e := range first {
		if e.tag == tag {
			return s.directory(name, s.order.Uint32(e.value), wanted)
		}
	}
	return nil
}

// assemble writes a TIFF body of the three directories, the first one last
// because it points to the others.
func assemble(order byteOrder, first, exif, gps []entry) []byte {
	a := assembler{order: order, body: make([]byte, tiffHeader)}
	links := map[uint16]uint32{}
	if len(exif) > 0 {
		links[tagExifPointer] = a.directory(exif)
	}
	if len(gps) > 0 {
		links[tagGPSPointer] = a.directory(gps)
	}
	var kept []entry
	for _, e := range first {
		if e.tag == tagExifPointer || e.tag == tagGPSPointer {
			at, ok := links[e.tag]
			if !ok {
				continue
			}
			e.kind, e.value = typeLong, order.AppendUint32(nil, at)
		}
		kept = append(kept, e)
	}
	start := a.directory(kept)
	mark := "II"
	if order == byteOrder(binary.BigEndian) {
		mark = "MM"
	}
	copy(a.body, mark)
	order.PutUint16(a.body[2:], 42)
	order.PutUint32(a.body[4:], start)
	return a.body
}

type assembler struct {
	order byteOrder
	body  []byte
}

// directory appends a directory with its values and tells where it begins.
func (a *assembler) directory(entries []entry) uint32 {
	slices.SortFunc(entries, func(x, y entry) int { return int(x.tag) - int(y.tag) })
	start := len(a.body)
	valuesAt := start + 2 + len(entries)*entrySize + 4
	var values []byte
	a.body = a.order.AppendUint16(a.body, uint16(len(entries)))
	for _, e := range entries {
		kind := e.kind
		if kind == typeUTF8 {
			kind = typeASCII // the library knows no other text
		}
		a.body = a.order.AppendUint16(a.body, e.tag)
		a.body = a.order.AppendUint16(a.body, kind)
		a.body = a.order.AppendUint32(a.body, e.count)
		if len(e.value) <= 4 {
			a.body = append(a.body, append(slices.Clone(e.value), make([]byte, 4-len(e.value))...)...)
			continue
		}
		a.body = a.order.AppendUint32(a.body, uint32(valuesAt+len(values)))
		values = append(values, e.value...)
	}
	a.body = a.order.AppendUint32(a.body, 0) // no next directory
	a.body = append(a.body, values...)
	return uint32(start)
}
