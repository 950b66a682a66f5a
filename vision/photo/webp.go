package photo

import (
	"bytes"
	"encoding/binary"
	"iter"
)

// Chunks of a WebP file (RFC 9649, section 2).
const (
	chunkVP8  = "VP8 " // lossy
	chunkVP8L = "VP8L" // lossless
	chunkVP8X = "VP8X" // what else the file holds
	chunkWEXI = "EXIF"

	riffHeader   = 12 // "RIFF", length, "WEBP"
	riffOverhead = 8
	webpAnimated = 0x02 // of the flags in VP8X
)

func startsWebP(b []byte) bool {
	return len(b) >= riffHeader && string(b[:4]) == "RIFF" && string(b[8:12]) == "WEBP"
}

// riffEnd is where the file ends by its own word, false when it is cut before.
func riffEnd(b []byte) (end int, ok bool) {
	n := uint64(binary.LittleEndian.Uint32(b[4:])) + riffOverhead
	return int(min(n, uint64(len(b)))), n <= uint64(len(b)) && n >= riffHeader
}

// riffChunks gives the chunks of a WebP file in order, up to where it is cut.
func riffChunks(b []byte) iter.Seq[box] {
	end, _ := riffEnd(b)
	return func(yield func(box) bool) {
		for at := riffHeader; at+riffOverhead <= end; {
			n := uint64(binary.LittleEndian.Uint32(b[at+4:]))
			from := at + riffOverhead
			if n > uint64(end-from) || !yield(box{string(b[at : at+4]), b[from : from+int(n)]}) {
				return
			}
			at = from + int(n) + int(n&1) // padded to even
		}
	}
}

// webpHeader reads the size from the picture's own chunk, and from the VP8X
// before it when there is one: both must agree.
func webpHeader(b []byte) (Header, error) {
	canvasW, canvasH := 0, 0
	for c := range riffChunks(b) {
		w, h := 0, 0
		switch c.kind {
		case chunkVP8X:
			if len(c.data) < 10 || canvasW != 0 {
				return Header{}, unreadable(copyAgain, "the header of the WebP is damaged")
			}
			if c.data[0]&webpAnimated != 0 {
				return Header{}, unreadable(useOriginal, "the WebP is an animation; a single picture is read")
			}
			canvasW, canvasH = 1+uint24(c.data[4:]), 1+uint24(c.data[7:])
			continue
		case chunkVP8:
			w, h = vp8Size(c.data)
		case chunkVP8L:
			w, h = vp8lSize(c.data)
		default:
			continue
		}
		switch {
		case w == 0 || h == 0:
			return Header{}, unreadable(copyAgain, "the picture data of the WebP begin with no size")
		case canvasW != 0 && (w != canvasW || h != canvasH):
			return Header{}, unreadable(copyAgain, "the header says %d x %d pixels, the data %d x %d", canvasW, canvasH, w, h)
		}
		return Header{Format: formatWebP, Width: w, Height: h}, nil
	}
	return Header{}, unreadable(copyAgain, "the WebP is cut short before its picture data (%d bytes)", len(b))
}

func uint24(b []byte) int { return int(b[0]) | int(b[1])<<8 | int(b[2])<<16 }

// vp8Size reads the header of a key frame (RFC 6386, 9.1); 0 when it is none.
func vp8Size(data []byte) (w, h int) {
	if len(data) < 10 || data[0]&1 != 0 || !bytes.Equal(data[3:6], []byte{0x9D, 0x01, 0x2A}) {
		return 0, 0
	}
	const size = 0x3FFF // above: a scale for showing, which nobody applies
	return int(binary.LittleEndian.Uint16(data[6:]) & size), int(binary.LittleEndian.Uint16(data[8:]) & size)
}

// vp8lSize reads the header of lossless data (RFC 9649, 3.4); 0 when it is none.
func vp8lSize(data []byte) (w, h int) {
	if len(data) < 5 || data[0] != 0x2F || data[4]>>5 != 0 {
		return 0, 0
	}
	v := binary.LittleEndian.Uint32(data[1:])
	return 1 + int(v&0x3FFF), 1 + int(v>>14&0x3FFF)
}

func soundWebP(b []byte, _ Header) error {
	if _, ok := riffEnd(b); !ok {
		return unreadable(copyAgain, "the WebP is cut short: it announces more than its %d bytes", len(b))
	}
	return nil
}

// webpEXIF gives the TIFF body of the EXIF chunk, nil when there is none.
func webpEXIF(b []byte) []byte {
	for c := range riffChunks(b) {
		if c.kind == chunkWEXI {
			return bytes.TrimPrefix(c.data, exifPrefix)
		}
	}
	return nil
}
