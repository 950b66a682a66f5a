package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"iter"
)

// Chunks of a PNG (ISO/IEC 15948, clause 5.3; eXIf: PNG third edition, 11.3.4.6).
const (
	chunkIHDR = "IHDR"
	chunkIDAT = "IDAT"
	chunkIEND = "IEND"
	chunkEXIF = "eXIf"

	ihdrLength     = 13
	chunkOverhead  = 12      // length, type, checksum
	maxDimension   = 1 << 20 // OpenCV refuses more on either side
	deflateAtMost  = 1032    // bytes out for a byte in: zlib's technical details
	bitsOfFilterID = 8       // before every row
)

var pngSignature = []byte("\x89PNG\r\n\x1a\n")

// chunk is one chunk of a PNG.
type chunk struct {
	kind  string
	data  []byte
	valid bool // the checksum agrees
}

// chunks gives the chunks of b in order, up to and with IEND, or up to where b
// is cut short.
func chunks(b []byte) iter.Seq[chunk] {
	return func(yield func(chunk) bool) {
		pos := len(pngSignature)
		for pos+chunkOverhead <= len(b) {
			n := uint64(binary.BigEndian.Uint32(b[pos:]))
			if n > uint64(len(b)-pos-chunkOverhead) {
				return
			}
			end := pos + 8 + int(n)
			c := chunk{
				kind:  string(b[pos+4 : pos+8]),
				data:  b[pos+8 : end],
				valid: crc32.ChecksumIEEE(b[pos+4:end]) == binary.BigEndian.Uint32(b[end:]),
			}
			if !yield(c) || c.kind == chunkIEND {
				return
			}
			pos = end + 4
		}
	}
}

// pngHeader reads the IHDR chunk, which must come first.
func pngHeader(b []byte) (Header, error) {
	for c := range chunks(b) {
		if c.kind != chunkIHDR || len(c.data) != ihdrLength {
			break
		}
		w, h := binary.BigEndian.Uint32(c.data), binary.BigEndian.Uint32(c.data[4:])
		switch {
		case !c.valid:
			return Header{}, unreadable(copyAgain, "the header of the PNG is damaged: its checksum is wrong")
		case w == 0 || h == 0 || w > maxDimension || h > maxDimension:
			return Header{}, unreadable(copyAgain, "the PNG says it is %d x %d pixels; 1 to %d on each side are read", w, h, maxDimension)
		}
		return Header{Format: formatPNG, Width: int(w), Height: int(h)}, nil
	}
	return Header{}, unreadable(copyAgain, "the PNG does not begin with its header (%d bytes)", len(b))
}

// soundPNG checks every chunk up to IEND.
func soundPNG(b []byte, h Header) error {
	var rowBits, coded uint64
	ended := false
	for c := range chunks(b) {
		if !c.valid {
			return unreadable(copyAgain, "the PNG is damaged: the checksum of its chunk %q is wrong", c.kind)
		}
		switch c.kind {
		case chunkIHDR:
			rowBits = pngRowBits(c.data, h)
		case chunkIDAT:
			coded += uint64(len(c.data))
		case chunkIEND:
			ended = true
		}
	}
	switch {
	case !ended:
		return unreadable(copyAgain, "the PNG is cut short: %d bytes hold no end of the picture", len(b))
	case coded*deflateAtMost < rowBits/8*uint64(h.Height):
		return unreadable(copyAgain, "the PNG holds %d bytes of picture data, too few for %d x %d pixels", coded, h.Width, h.Height)
	case coded == 0:
		return unreadable(copyAgain, "the PNG holds no picture data")
	}
	return nil
}

// pngRowBits is the length of one row before compression: samples by colour
// type (ISO/IEC 15948, table 11.1), bit depth, and the filter's number.
func pngRowBits(ihdr []byte, h Header) uint64 {
	samples := map[byte]uint64{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
	if len(ihdr) != ihdrLength {
		return 0
	}
	return bitsOfFilterID + uint64(h.Width)*samples[ihdr[9]]*uint64(ihdr[8])
}

// pngEXIF gives the TIFF body of the first sound eXIf chunk, nil when there is
// none. Some writers put the prefix of a JPEG before it.
func pngEXIF(b []byte) []byte {
	for c := range chunks(b) {
		if c.kind == chunkEXIF && c.valid {
			return bytes.TrimPrefix(c.data, exifPrefix)
		}
	}
	return nil
}
