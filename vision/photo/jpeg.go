package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"iter"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo/jpeg"
)

// Markers of ITU-T T.81 (09/92), table B.1.
const (
	markerTEM  = 0x01
	markerSOF0 = 0xC0 // baseline; C1 extended, C2 progressive
	markerSOF2 = 0xC2
	markerDHT  = 0xC4
	markerJPG  = 0xC8
	markerDAC  = 0xCC
	markerRST0 = 0xD0
	markerRST7 = 0xD7
	markerSOI  = 0xD8
	markerEOI  = 0xD9
	markerSOS  = 0xDA
	markerAPP1 = 0xE1
	markerAPPE = 0xEE
)

// maxScans bounds the work that a small progressive file can ask for: every
// scan goes over the whole picture. The scripts in use have about ten.
const maxScans = 64

var (
	jpegStart  = []byte{0xFF, markerSOI, 0xFF}
	exifPrefix = []byte("Exif\x00\x00")
	inkPrefix  = []byte("Adobe") // ITU-T T.872, 6.5.3: how four colours are to be read
)

// segment is one marker of a JPEG with its parameters.
type segment struct {
	marker byte
	data   []byte // parameters without the length; nil for SOI and EOI
	before int    // bytes between the previous segment and this marker: the coded data after an SOS
}

// segments gives the markers of b in order, up to and with the first EOI at
// top level, or up to where b is cut short. Like the usual decoder it skips
// bytes that belong to no segment, so both see the same frame header.
func segments(b []byte) iter.Seq[segment] {
	return func(yield func(segment) bool) {
		pos := len(jpegStart) - 1 // after SOI
		for {
			marker, at, ok := nextMarker(b, pos)
			if !ok {
				return
			}
			s := segment{marker: marker, before: at - pos}
			pos = at + 2
			if marker != markerEOI && marker != markerSOI {
				if s.data, ok = parameters(b, pos); !ok {
					return
				}
				pos += 2 + len(s.data)
			}
			if !yield(s) || marker == markerEOI {
				return
			}
		}
	}
}

// nextMarker finds the next marker that begins a segment at or after pos and
// the place of its 0xFF. Stuffed bytes, fill bytes, restart markers and TEM
// begin none.
func nextMarker(b []byte, pos int) (marker byte, at int, ok bool) {
	for pos < len(b) {
		i := bytes.IndexByte(b[pos:], 0xFF)
		if i < 0 || pos+i+1 >= len(b) {
			return 0, 0, false
		}
		at = pos + i
		switch m := b[at+1]; {
		case m == 0xFF:
			pos = at + 1
		case m == 0, m == markerTEM, m >= markerRST0 && m <= markerRST7:
			pos = at + 2
		default:
			return m, at, true
		}
	}
	return 0, 0, false
}

// parameters gives the bytes that the length at pos announces.
func parameters(b []byte, pos int) ([]byte, bool) {
	if pos+2 > len(b) {
		return nil, false
	}
	n := int(binary.BigEndian.Uint16(b[pos:]))
	if n < 2 || pos+n > len(b) {
		return nil, false
	}
	return b[pos+2 : pos+n], true
}

func isFrame(marker byte) bool {
	return marker >= markerSOF0 && marker <= 0xCF &&
		marker != markerDHT && marker != markerJPG && marker != markerDAC
}

// jpegHeader reads the first frame header (T.81, B.2.2).
func jpegHeader(b []byte) (Header, error) {
	for s := range segments(b) {
		switch {
		case isFrame(s.marker):
			return frameHeader(s)
		case s.marker == markerSOS, s.marker == markerEOI, s.marker == markerSOI:
			return Header{}, unreadable(copyAgain, "the JPEG has no frame header before its first scan")
		}
	}
	return Header{}, unreadable(copyAgain, "the JPEG ends after %d bytes, before its frame header", len(b))
}

func frameHeader(s segment) (Header, error) {
	if len(s.data) < 6 {
		return Header{}, unreadable(copyAgain, "the frame header of the JPEG is cut short")
	}
	h := Header{
		Format: formatJPEG,
		Height: int(binary.BigEndian.Uint16(s.data[1:])),
		Width:  int(binary.BigEndian.Uint16(s.data[3:])),
	}
	precision, components := s.data[0], s.data[5]
	switch {
	case s.marker > markerSOF2:
		return Header{}, unreadable(useOriginal, "the JPEG uses coding process %d; 0, 1 and 2 (baseline, extended, progressive) are read", s.marker-markerSOF0)
	case precision != 8:
		return Header{}, unreadable(useOriginal, "the JPEG has %d bits a sample; 8 are read", precision)
	case components != 1 && components != 3 && components != 4:
		return Header{}, unreadable(useOriginal, "the JPEG has %d components; 1, 3 and 4 are read", components)
	case len(s.data) != 6+3*int(components):
		return Header{}, unreadable(copyAgain, "the frame header of the JPEG has %d bytes; %d components take %d", len(s.data), components, 6+3*int(components))
	case h.Width == 0 || h.Height == 0:
		return Header{}, unreadable(copyAgain, "the JPEG says it is %d x %d pixels", h.Width, h.Height)
	}
	return h, nil
}

// soundJPEG walks b to the end of its picture. What follows the EOI is not
// looked at: phones append data there.
func soundJPEG(b []byte, h Header) error {
	scans, coded, inScan, ended := 0, 0, false, false
	four, told := false, false
	for s := range segments(b) {
		four = four || isFrame(s.marker) && len(s.data) > 5 && s.data[5] == 4
		told = told || s.marker == markerAPPE && bytes.HasPrefix(s.data, inkPrefix)
		if inScan {
			coded += s.before
		}
		inScan = s.marker == markerSOS
		ended = s.marker == markerEOI
		if inScan {
			scans++
		}
	}
	switch {
	case !ended:
		return unreadable(copyAgain, "the JPEG is cut short or damaged: its %d bytes hold no end of the picture", len(b))
	case scans == 0:
		return unreadable(copyAgain, "the JPEG holds no picture data")
	case four && !told:
		return unreadable(useOriginal, "the JPEG has four colours (CMYK) and does not tell how they are to be read")
	case scans > maxScans:
		return unreadable(useOriginal, "the JPEG has %d scans; the limit is %d", scans, maxScans)
	case coded < leastCoded(h):
		return unreadable(copyAgain, "the JPEG holds %d bytes of picture data; %d x %d pixels take at least %d", coded, h.Width, h.Height, leastCoded(h))
	}
	return nil
}

// leastCoded is the least number of bytes that can code the picture: at least
// one component has a block for every 8 x 8 pixels, and the DC coefficient of
// every block takes a Huffman code of at least one bit.
func leastCoded(h Header) int {
	return (h.Width / 8) * (h.Height / 8) / 8
}

// jpegEXIF gives the TIFF body of the first APP1 segment that holds EXIF, nil
// when there is none before the picture data. XMP also travels as APP1.
func jpegEXIF(b []byte) []byte {
	for s := range segments(b) {
		if s.marker == markerSOS {
			break
		}
		if s.marker == markerAPP1 && bytes.HasPrefix(s.data, exifPrefix) {
			return s.data[len(exifPrefix):]
		}
	}
	return nil
}

// jpegPicture takes the planes of the file as they are; where it has none such,
// they are made of its pixels.
func jpegPicture(b []byte, h Header, orientation int) (*Picture, error) {
	if h.Width%2 != 0 || h.Height%2 != 0 {
		return stored(openCVPixels)(b, h, orientation)
	}
	w, high := h.Width, h.Height
	if orientation >= 5 {
		w, high = high, w
	}
	p := &Picture{Gray: gocv.NewMatWithSize(high, w, gocv.MatTypeCV8UC1), halves: []gocv.Mat{gocv.NewMatWithSize(high/2, w/2, gocv.MatTypeCV8UC3)}}
	gray, err := p.Gray.DataPtrUint8()
	colour, errColour := p.halves[0].DataPtrUint8()
	if err = errors.Join(err, errColour); err == nil {
		err = jpeg.Planes(b, h.Width, h.Height, orientation, gray, colour)
	}
	if err == nil {
		return p, nil
	}
	_ = p.Close() // its own error adds nothing
	var other *jpeg.OtherSize
	switch {
	case errors.Is(err, jpeg.ErrKind):
		return stored(openCVPixels)(b, h, orientation)
	case errors.As(err, &other):
		return nil, unreadable(copyAgain, "the header says %d x %d pixels, the data %d x %d", h.Width, h.Height, other.Width, other.Height)
	}
	return nil, unreadable(copyAgain, "the %s data cannot be decoded: %v", h.Format, err)
}
