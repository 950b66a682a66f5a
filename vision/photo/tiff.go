package photo

import (
	"bytes"
	"encoding/binary"
	"slices"

	"gocv.io/x/gocv"
)

// TIFF (TIFF 6.0, 1992): the first picture of the file. Its EXIF needs no
// finding, since the file is itself the body that EXIF is.

// Tags that tell how the picture lies in the file.
const (
	tagSubfileType   = 0x00FE
	tagWidth         = 0x0100
	tagHeight        = 0x0101
	tagBits          = 0x0102
	tagCompression   = 0x0103
	tagPhotometric   = 0x0106
	tagStripOffsets  = 0x0111
	tagOrientation   = 0x0112
	tagSamples       = 0x0115
	tagStripBytes    = 0x0117
	tagPlanar        = 0x011C
	tagTileOffsets   = 0x0144
	tagTileBytes     = 0x0145
	tagSubIFDs       = 0x014A
	tagSampleFormat  = 0x0153
	tagRawVersion    = 0xC612
	maxTIFFPieces    = 1 << 17
	maxTIFFSamples   = 4
	photometricCMYK  = 5
	photometricCFA   = 32803 // what a sensor gives, before it is made a picture
	photometricRaw   = 34892
	uncompressedTIFF = 1
)

var (
	pieces = shape{[]uint16{typeShort, typeLong}, 1, maxTIFFPieces}
	shorts = shape{[]uint16{typeShort}, 1, maxTIFFSamples}

	wantedPicture = map[uint16]shape{
		tagSubfileType: integer, tagWidth: integer, tagHeight: integer, tagBits: shorts, tagCompression: integer,
		tagPhotometric: integer, tagStripOffsets: pieces, tagSamples: integer, tagStripBytes: pieces,
		tagPlanar: integer, tagTileOffsets: pieces, tagTileBytes: pieces,
		tagSubIFDs:    {[]uint16{typeLong, typeIFD}, 1, maxEntries},
		tagRawVersion: {[]uint16{typeByte}, 4, 4}, tagSampleFormat: shorts,
	}

	// readCompressions: none, LZW, JPEG, Deflate (two numbers), PackBits.
	readCompressions = []int{uncompressedTIFF, 5, 7, 8, 32946, 32773}
	// readPhotometrics: grey (two ways), RGB, palette, YCbCr.
	readPhotometrics = []int{0, 1, 2, 3, 6}
)

var (
	tiffLittle = []byte("II*\x00")
	tiffBig    = []byte("MM\x00*")
)

func startsTIFF(b []byte) bool {
	return bytes.HasPrefix(b, tiffLittle) && !bytes.HasPrefix(b[4:], []byte("\x10\x00\x00\x00CR")) || bytes.HasPrefix(b, tiffBig)
}

// tiffPicture is the first directory of a TIFF.
type tiffPicture struct {
	order   byteOrder
	entries []entry
	problem string
}

func readTIFF(b []byte) tiffPicture {
	s := sifter{body: b}
	start, ok := s.header()
	if !ok {
		return tiffPicture{problem: s.problem}
	}
	p := tiffPicture{order: s.order, entries: s.directory("first", start, wantedPicture)}
	p.problem = s.problem
	return p
}

// values gives the numbers of a tag, nil when it is not there.
func (p tiffPicture) values(tag uint16) []int {
	for _, e := range p.entries {
		if e.tag != tag {
			continue
		}
		size := typeSize[e.kind]
		v := make([]int, e.count)
		for i := range v {
			switch raw := e.value[i*size:]; size {
			case 1:
				v[i] = int(raw[0])
			case 2:
				v[i] = int(p.order.Uint16(raw))
			default:
				v[i] = int(p.order.Uint32(raw))
			}
		}
		return v
	}
	return nil
}

// value is the first number of a tag.
func (p tiffPicture) value(tag uint16, otherwise int) int {
	if v := p.values(tag); len(v) > 0 {
		return v[0]
	}
	return otherwise
}

func tiffHeaderOf(b []byte) (Header, error) {
	p := readTIFF(b)
	photometric := p.value(tagPhotometric, -1)
	switch {
	case p.values(tagRawVersion) != nil, photometric == photometricCFA, photometric == photometricRaw,
		p.values(tagSubIFDs) != nil && p.value(tagSubfileType, 0)&1 == 1:
		return Header{}, unreadable(saveAsJPEG, "the file is a raw file; %s are read", formatsRead)
	case p.problem != "":
		return Header{}, unreadable(copyAgain, "the TIFF cannot be read: %s", p.problem)
	}
	h := Header{Format: formatTIFF, Width: p.value(tagWidth, 0), Height: p.value(tagHeight, 0)}
	if h.Width < 1 || h.Height < 1 || h.Width > maxDimension || h.Height > maxDimension {
		return Header{}, unreadable(copyAgain, "the TIFF says it is %d x %d pixels; 1 to %d on each side are read", h.Width, h.Height, maxDimension)
	}
	return h, nil
}

// soundTIFF checks that the picture is of a kind that is read and that all of
// it lies in the file.
func soundTIFF(b []byte, h Header) error {
	p := readTIFF(b)
	compression, photometric := p.value(tagCompression, uncompressedTIFF), p.value(tagPhotometric, -1)
	samples, depth := p.value(tagSamples, 1), p.value(tagBits, 1)
	formats := p.values(tagSampleFormat)
	switch {
	case !slices.Contains(readCompressions, compression):
		return unreadable(useOriginal, "the TIFF is compressed in way %d; %v are read", compression, readCompressions)
	case photometric == photometricCMYK:
		return unreadable(useOriginal, "the TIFF has the colours of print (CMYK); grey and RGB are read")
	case !slices.Contains(readPhotometrics, photometric):
		return unreadable(useOriginal, "the TIFF has colours of kind %d; %v are read", photometric, readPhotometrics)
	case depth != 8 && depth != 16, samples < 1 || samples > maxTIFFSamples:
		return unreadable(useOriginal, "the TIFF has %d samples of %d bits a pixel; 1 to %d of 8 or 16 are read", samples, depth, maxTIFFSamples)
	case slices.ContainsFunc(formats, func(f int) bool { return f != 1 }):
		return unreadable(useOriginal, "the numbers of the TIFF are no whole ones; those are read")
	}
	return p.whole(b, h, uint64(samples*depth/8), compression == uncompressedTIFF)
}

// whole checks that strips or tiles lie in the file and suffice.
func (p tiffPicture) whole(b []byte, h Header, pixelBytes uint64, uncompressed bool) error {
	offsets, lengths := p.values(tagStripOffsets), p.values(tagStripBytes)
	if tiles := p.values(tagTileOffsets); tiles != nil {
		offsets, lengths = tiles, p.values(tagTileBytes)
	}
	if len(offsets) == 0 || len(offsets) != len(lengths) {
		return unreadable(copyAgain, "the TIFF does not tell where its picture data are")
	}
	var coded uint64
	for i, at := range offsets {
		if at+lengths[i] > len(b) {
			return unreadable(copyAgain, "the TIFF is cut short: its picture data reach to byte %d of %d", at+lengths[i], len(b))
		}
		coded += uint64(lengths[i])
	}
	least := uint64(h.Width) * uint64(h.Height) * pixelBytes
	if !uncompressed {
		least /= 2 * deflateAtMost // no way that is read makes less of it
	}
	if coded == 0 || coded < least {
		return unreadable(copyAgain, "the TIFF holds %d bytes of picture data, too few for %d x %d pixels", coded, h.Width, h.Height)
	}
	return nil
}

// tiffPixels decodes the picture as it is stored. OpenCV turns a TIFF by itself
// whatever it is asked for, so it is given a copy that tells no turn.
func tiffPixels(b []byte, h Header) (gocv.Mat, error) {
	return openCVPixels(withoutOrientation(b), h)
}

// withoutOrientation is b itself when its first directory tells no orientation
// or 1, else a copy that says 1.
func withoutOrientation(b []byte) []byte {
	s := sifter{body: b}
	start, ok := s.header()
	if !ok || uint64(start)+2 > uint64(len(b)) {
		return b
	}
	n := int(s.order.Uint16(b[start:]))
	copied := false
	for at := int(start) + 2; n > 0 && at+entrySize <= len(b); at, n = at+entrySize, n-1 {
		if s.order.Uint16(b[at:]) != tagOrientation || s.order.Uint16(b[at+2:]) == typeShort && s.order.Uint16(b[at+8:]) == 1 {
			continue
		}
		if !copied {
			b, copied = bytes.Clone(b), true
		}
		s.order.PutUint16(b[at+2:], typeShort)
		s.order.PutUint32(b[at+4:], 1)
		binary.LittleEndian.PutUint32(b[at+8:], 0)
		s.order.PutUint16(b[at+8:], 1)
	}
	return b
}
