package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
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
		err = errors.New("the location can be taken out of JPEG and PNG photos alone")
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

// PictureHash is the SHA-256 of the coded picture of a photo, everything beside it
// left out: equal for a photo and for its copy without the location.
func PictureHash(data []byte) (string, error) {
	_, picture, err := withoutLocation(data)
	return picture, err
}

// stripJPEG keeps the segments that the picture is decoded by (ITU-T T.81, B.1.1):
// of the application segments those of JFIF, of a colour profile and of the
// colour transform.
func stripJPEG(data, exif []byte) (out, kept []byte, err error) {
	head := []byte{0xff, 0xd8}
	var rest []byte
	at := 2
	for {
		for at < len(data) && data[at] == 0xff && at+1 < len(data) && data[at+1] == 0xff {
			at++ // fill
		}
		if at+4 > len(data) || data[at] != 0xff {
			return nil, nil, errors.New("the file is no sound JPEG")
		}
		marker, size := data[at+1], int(binary.BigEndian.Uint16(data[at+2:]))
		if size < 2 || at+2+size > len(data) || marker == 0xd9 {
			return nil, nil, errors.New("the file is no sound JPEG")
		}
		segment := data[at : at+2+size]
		at += 2 + size
		switch {
		case marker == 0xe0 && bytes.HasPrefix(segment[4:], []byte("JFIF\x00")):
			head = append(head, segment[:min(len(segment), 18)]...)
			if len(segment) > 18 { // with a preview: without it
				binary.BigEndian.PutUint16(head[4:], 16)
				head[len(head)-2], head[len(head)-1] = 0, 0
			}
		case marker == 0xe2 && bytes.HasPrefix(segment[4:], []byte("ICC_PROFILE\x00")), marker == 0xee && bytes.HasPrefix(segment[4:], []byte("Adobe")):
			rest = append(rest, segment...)
		case marker >= 0xe0 && marker <= 0xef, marker == 0xfe: // all others, and comments
		case marker == 0xda:
			end := endOfScans(data, at)
			if end < 0 {
				return nil, nil, errors.New("the picture has no end")
			}
			rest = append(append(rest, segment...), data[at:end]...)
			return append(append(head, segmentOf(exif)...), rest...), rest, nil
		default:
			rest = append(rest, segment...)
		}
	}
}

// endOfScans is where the picture ends, behind its EOI marker; -1 without one.
// Between scans of a progressive picture lie tables, which are stepped over.
func endOfScans(data []byte, at int) int {
	for at+1 < len(data) {
		i := bytes.IndexByte(data[at:], 0xff)
		if i < 0 || at+i+1 >= len(data) {
			return -1
		}
		at += i
		switch marker := data[at+1]; {
		case marker == 0xd9:
			return at + 2
		case marker == 0xff: // fill
			at++
		case marker == 0, marker >= 0xd0 && marker <= 0xd7:
			at += 2
		case marker >= 0xe0 && marker <= 0xef, marker == 0xfe:
			return -1 // what is not picture must not hide between scans
		default:
			if at+4 > len(data) {
				return -1
			}
			at += 2 + int(binary.BigEndian.Uint16(data[at+2:]))
		}
	}
	return -1
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

// pictureChunks are those of PNG that a picture is decoded by (ISO/IEC 15948).
const pictureChunks = " IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB cICP "

func stripPNG(data, exif []byte) (out, kept []byte, err error) {
	out = []byte(pngMagic)
	for at := len(pngMagic); at+12 <= len(data); {
		size := int(binary.BigEndian.Uint32(data[at:]))
		if size < 0 || size > len(data)-at-12 {
			break
		}
		kind, chunk := string(data[at+4:at+8]), data[at:at+12+size]
		at += len(chunk)
		if !strings.Contains(pictureChunks, " "+kind+" ") {
			continue
		}
		if kind == "IDAT" && exif != nil { // EXIF belongs before the first of these
			body := append([]byte("eXIf"), exif...)
			out = binary.BigEndian.AppendUint32(out, uint32(len(exif)))
			out = binary.BigEndian.AppendUint32(append(out, body...), crc32.ChecksumIEEE(body))
			exif = nil
		}
		out, kept = append(out, chunk...), append(kept, chunk...)
		if kind == "IEND" {
			return out, kept, nil
		}
	}
	return nil, nil, errors.New("the file is no sound PNG")
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

// strippable says which photo cannot be handed over without its location.
func strippable(file string, err error) error {
	return fmt.Errorf("%s: %w; take it out of the job, or make the record with its location", file, err)
}
