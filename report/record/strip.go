package record

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"hash/crc32"
	"io"
	"math"
	"strings"

	"coursegauge/vision/photo"
)

// withoutLocation writes a photo anew with nothing beside its picture but what
// measuring reads: when it was taken, how it is to be turned, the lens's focal
// length, zoom and size. The location, the device, maker's notes, captions,
// previews and whatever follows the picture are left out. The coded picture stays as
// it is, bit for bit; picture is its SHA-256. A photo that holds nothing more
// than that comes back as it is.
func withoutLocation(data []byte) (out []byte, picture string, err error) {
	facts := photo.ReadFacts(data)
	facts.Location, facts.Device, facts.Problem = nil, "", ""
	if facts.SensorW == 0 || facts.SensorH == 0 {
		facts.SensorW, facts.SensorH = 0, 0
	}
	var kept []byte
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xd8}):
		out, kept, err = stripJPEG(data, exifOf(facts))
	case bytes.HasPrefix(data, []byte(pngMagic)):
		out, kept, err = stripPNG(data, exifOf(facts))
	default:
		out, kept, err = photo.Bare(data, exifOf(facts))
	}
	if err != nil {
		return nil, "", err
	}
	if again := photo.ReadFacts(out); again != facts {
		return nil, "", errors.New("what measuring needs would not survive taking the location out")
	}
	sum := sha256.Sum256(kept)
	return out, hex.EncodeToString(sum[:]), nil
}

// pictureHash is the SHA-256 of the coded picture of a photo, everything beside it
// left out: equal for a photo and for its copy without the location.
func pictureHash(data []byte) (string, error) {
	_, picture, err := withoutLocation(data)
	return picture, err
}

var errJPEG = errors.New("the file is no sound JPEG")

// stripJPEG keeps what the picture is decoded by (ITU-T T.81, B.1.1): frames, tables,
// scans, and of the application segments those of JFIF and of the colour transform,
// without what they could carry besides. A colour profile is left out: it has room for
// any text.
func stripJPEG(data, exif []byte) (out, kept []byte, err error) {
	head := []byte{0xff, 0xd8}
	var rest []byte
	for at := 2; ; {
		at = skipFill(data, at)
		if at+4 > len(data) || data[at] != 0xff {
			return nil, nil, errJPEG
		}
		marker, size := data[at+1], int(binary.BigEndian.Uint16(data[at+2:]))
		if size < 2 || at+2+size > len(data) || marker == 0xd9 {
			return nil, nil, errJPEG
		}
		segment := data[at : at+2+size]
		at += len(segment)
		switch {
		case marker == 0xe0 && bytes.HasPrefix(segment[4:], []byte("JFIF\x00")) && len(head) == 2:
			head = append(head, "\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"...)
		case marker == 0xee && bytes.HasPrefix(segment[4:], []byte("Adobe")) && len(segment) >= 16: // the last byte is the transform
			rest = append(append(rest, "\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00"...), segment[15])
		case !decodes(marker):
		case !wholeTable(marker, segment[4:]):
			return nil, nil, errJPEG
		case marker == 0xda:
			scans, err := stripScans(segment, data, at)
			if err != nil {
				return nil, nil, err
			}
			rest = append(rest, scans...)
			return append(append(head, segmentOf(exif)...), rest...), rest, nil
		default:
			rest = append(rest, segment...)
		}
	}
}

// skipFill steps over the bytes FF that may stand before a marker.
func skipFill(data []byte, at int) int {
	for at+1 < len(data) && data[at] == 0xff && data[at+1] == 0xff {
		at++
	}
	return at
}

// decodes tells whether a segment takes part in decoding: frames and tables (C0 to CF
// less JPG), scans, quantization, restarts. Applications, comments and what is reserved
// do not.
func decodes(marker byte) bool {
	return marker >= 0xc0 && marker <= 0xcf && marker != 0xc8 || marker == 0xda || marker == 0xdb || marker == 0xdd
}

// wholeTable tells whether a segment is as long as what it says it holds (T.81, B.2), so
// that nothing lies behind.
func wholeTable(marker byte, b []byte) bool {
	switch marker {
	case 0xc4: // Huffman tables
		for len(b) >= 17 {
			n := 17
			for _, count := range b[1:17] {
				n += int(count)
			}
			if n > len(b) {
				return false
			}
			b = b[n:]
		}
		return len(b) == 0
	case 0xdb: // quantization tables, of 8 or 16 bits
		for len(b) > 0 {
			n := 65 + 64*int(b[0]>>4)
			if b[0]>>4 > 1 || n > len(b) {
				return false
			}
			b = b[n:]
		}
		return true
	case 0xcc:
		return len(b)%2 == 0
	case 0xdd:
		return len(b) == 2
	case 0xda:
		return len(b) > 0 && len(b) == 4+2*int(b[0])
	}
	return len(b) >= 6 && len(b) == 6+3*int(b[5]) // a frame
}

// stripScans copies the scans that begin with a segment, up to the end of the picture.
// What stands between them and does not decode is left out, and so is what follows.
func stripScans(first, data []byte, at int) (out []byte, err error) {
	out = append(out, first...)
	from := at // of the coded bytes that are not copied yet
	for {
		i := bytes.IndexByte(data[at:], 0xff)
		if i < 0 || at+i+1 >= len(data) {
			return nil, errors.New("the picture has no end")
		}
		at += i
		marker := data[at+1]
		if marker == 0 || marker >= 0xd0 && marker <= 0xd7 {
			at += 2
			continue
		}
		out = append(out, data[from:at]...)
		if at = skipFill(data, at); at+1 >= len(data) {
			return nil, errors.New("the picture has no end")
		}
		marker = data[at+1]
		if marker == 0 { // fill within coded bytes
			return nil, errJPEG
		}
		if marker == 0xd9 {
			return append(out, 0xff, 0xd9), nil
		}
		if at+4 > len(data) {
			return nil, errJPEG
		}
		size := int(binary.BigEndian.Uint16(data[at+2:]))
		if size < 2 || at+2+size > len(data) {
			return nil, errJPEG
		}
		segment := data[at : at+2+size]
		at += len(segment)
		if from = at; marker == 0xdc && size == 4 { // the number of lines
			out = append(out, segment...)
		} else if decodes(marker) {
			if !wholeTable(marker, segment[4:]) {
				return nil, errJPEG
			}
			out = append(out, segment...)
		}
		if marker != 0xda { // whatever stands between a segment and the next marker is nothing
			next := skipFill(data, at)
			if next+1 >= len(data) || data[next] != 0xff {
				return nil, errJPEG
			}
			at, from = next, next
		}
	}
}

// segmentOf is the APP1 segment of an EXIF body, nothing for an empty one.
func segmentOf(exif []byte) []byte {
	if exif == nil {
		return nil
	}
	body := append([]byte("Exif\x00\x00"), exif...)
	return append(binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2)), body...)
}

const pngMagic = "\x89PNG\r\n\x1a\n"

// pictureChunks are those of PNG that a picture is decoded by (ISO/IEC 15948), and the
// most bytes that each can have. A colour profile has room for any text and is left out.
var pictureChunks = map[string]int{"IHDR": 13, "PLTE": 768, "IDAT": math.MaxInt32, "IEND": 0, "tRNS": 256, "cHRM": 32, "gAMA": 4, "sBIT": 4, "sRGB": 1, "cICP": 4}

var errPNG = errors.New("the file is no sound PNG")

func stripPNG(data, exif []byte) (out, kept []byte, err error) {
	out = []byte(pngMagic)
	seen := map[string]bool{}
	var pixels []byte
	for at := len(pngMagic); at+12 <= len(data); {
		size := int(binary.BigEndian.Uint32(data[at:]))
		if size < 0 || size > len(data)-at-12 {
			break
		}
		kind, chunk := string(data[at+4:at+8]), data[at:at+12+size]
		at += len(chunk)
		most, wanted := pictureChunks[kind]
		switch {
		case !wanted:
			continue
		case size > most, seen[kind] && kind != "IDAT", crc32.ChecksumIEEE(chunk[4:8+size]) != binary.BigEndian.Uint32(chunk[8+size:]):
			return nil, nil, errPNG
		}
		seen[kind] = true
		if kind == "IDAT" {
			pixels = append(pixels, chunk[8:8+size]...)
		}
		if kind == "IDAT" && exif != nil { // EXIF belongs before the first of these
			body := append([]byte("eXIf"), exif...)
			out = binary.BigEndian.AppendUint32(out, uint32(len(exif)))
			out = binary.BigEndian.AppendUint32(append(out, body...), crc32.ChecksumIEEE(body))
			exif = nil
		}
		out, kept = append(out, chunk...), append(kept, chunk...)
		if kind == "IEND" {
			return out, kept, nothingBehindPixels(kept, pixels)
		}
	}
	return nil, nil, errPNG
}

// nothingBehindPixels holds the compressed rows of a PNG to the size of the picture: no
// row more, and no byte behind the end of the stream.
func nothingBehindPixels(kept, pixels []byte) error {
	if !bytes.HasPrefix(kept[4:], []byte("IHDR")) || binary.BigEndian.Uint32(kept) != 13 {
		return errPNG
	}
	b := kept[8:]
	w, h := int64(binary.BigEndian.Uint32(b)), int64(binary.BigEndian.Uint32(b[4:]))
	bits := map[byte]int64{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[b[9]] * int64(b[8])
	if w < 1 || h < 1 || w > 1<<20 || h > 1<<20 || bits < 1 || bits > 64 {
		return errPNG
	}
	rows := func(w, h int64) int64 {
		if w < 1 || h < 1 {
			return 0
		}
		return h * (1 + (w*bits+7)/8)
	}
	want := rows(w, h)
	if b[12] == 1 { // Adam7: x and y of the first pixel of each pass, and its steps
		want = 0
		for _, p := range [][4]int64{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}} {
			want += rows((w-p[0]+p[2]-1)/p[2], (h-p[1]+p[3]-1)/p[3])
		}
	}
	in := bytes.NewReader(pixels)
	z, err := zlib.NewReader(in)
	if err != nil {
		return errPNG
	}
	if n, err := io.Copy(io.Discard, io.LimitReader(z, want+1)); err != nil || n != want || in.Len() > 0 {
		return errPNG
	}
	return nil
}

// exifOf writes facts as EXIF (CIPA DC-008); nil when there are none.
func exifOf(f photo.Facts) []byte {
	if f == (photo.Facts{Orientation: f.Orientation}) && f.Orientation <= 1 {
		return nil
	}
	var first, camera []exifField
	first = append(first, exifShort(0x0112, f.Orientation))
	if clock, offset := exifClock(f.Taken); clock != "" {
		camera = append(camera, exifText(0x9003, clock))
		if offset != "" {
			camera = append(camera, exifText(0x9011, offset))
		}
	}
	if f.FocalMM > 0 {
		camera = append(camera, exifRatio(0x920a, f.FocalMM))
	}
	if f.SensorW > 0 {
		camera = append(camera, exifLong(0xa002, f.SensorW))
	}
	if f.SensorH > 0 {
		camera = append(camera, exifLong(0xa003, f.SensorH))
	}
	if f.DigitalZoom > 0 {
		camera = append(camera, exifRatio(0xa404, f.DigitalZoom))
	}
	if f.Focal35MM > 0 {
		camera = append(camera, exifShort(0xa405, int(math.Round(f.Focal35MM))))
	}
	first = append(first, exifField{0x8769, 4, 1, nil})
	at := 8 + 2 + 12*len(first) + 4
	first[len(first)-1].value = binary.LittleEndian.AppendUint32(nil, uint32(at))
	out := []byte("II*\x00\x08\x00\x00\x00")
	return exifDirectory(exifDirectory(out, first), camera)
}

// exifClock is "2006:01:02 15:04:05" and "+02:00" of a time as Facts.Taken has it.
func exifClock(taken string) (clock, offset string) {
	if len(taken) < len("2006-01-02T15:04:05") {
		return "", ""
	}
	clock = strings.ReplaceAll(taken[:10], "-", ":") + " " + taken[11:19]
	offset = strings.TrimLeft(taken[19:], ".0123456789")
	if offset == "Z" {
		offset = "+00:00"
	}
	return clock, offset
}

// exifField is an entry of a directory; its value has more than 4 bytes or is
// padded to 4.
type exifField struct {
	tag, kind uint16
	count     uint32
	value     []byte
}

func exifShort(tag uint16, v int) exifField {
	return exifField{tag, 3, 1, binary.LittleEndian.AppendUint16(nil, uint16(v))}
}

func exifLong(tag uint16, v int) exifField {
	return exifField{tag, 4, 1, binary.LittleEndian.AppendUint32(nil, uint32(v))}
}

func exifText(tag uint16, s string) exifField {
	return exifField{tag, 2, uint32(len(s) + 1), append([]byte(s), 0)}
}

// exifRatio is the nearest fraction whose parts fit; cameras write few digits.
func exifRatio(tag uint16, v float64) exifField {
	num, den := uint32(math.Round(v)), uint32(1)
	for d := uint32(1); d <= 1_000_000 && v*float64(d) < math.MaxUint32; d++ {
		if n := math.Round(v * float64(d)); n/float64(d) == v {
			num, den = uint32(n), d
			break
		}
	}
	return exifField{tag, 5, 1, binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, num), den)}
}

// exifDirectory appends a directory and the values that do not fit into it.
func exifDirectory(out []byte, fields []exifField) []byte {
	after := len(out) + 2 + 12*len(fields) + 4
	var values []byte
	out = binary.LittleEndian.AppendUint16(out, uint16(len(fields)))
	for _, f := range fields {
		out = binary.LittleEndian.AppendUint16(out, f.tag)
		out = binary.LittleEndian.AppendUint16(out, f.kind)
		out = binary.LittleEndian.AppendUint32(out, f.count)
		if len(f.value) <= 4 {
			out = append(out, append(f.value, make([]byte, 4-len(f.value))...)...)
			continue
		}
		out = binary.LittleEndian.AppendUint32(out, uint32(after+len(values)))
		values = append(values, f.value...)
		if len(values)%2 == 1 {
			values = append(values, 0)
		}
	}
	out = binary.LittleEndian.AppendUint32(out, 0)
	return append(out, values...)
}
