package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

const (
	exifDir        = "../../testdata/reference/exif"
	orientationDir = "../../testdata/reference/orientation"
)

func readFile(t testing.TB, parts ...string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(parts...))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// scene is a picture in which no two corners look alike.
func scene(w, h int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.Set(x, y, color.RGBA{uint8(255 * x / w), uint8(255 * y / h), uint8(x ^ y), 255})
		}
	}
	return m
}

func jpegOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// segmentOf is one JPEG segment of its own.
func segmentOf(marker byte, data []byte) []byte {
	s := []byte{0xFF, marker}
	s = binary.BigEndian.AppendUint16(s, uint16(2+len(data)))
	return append(s, data...)
}

// insert puts segments right after the SOI of a JPEG.
func insert(photo []byte, segments ...[]byte) []byte {
	out := bytes.Clone(photo[:2])
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, photo[2:]...)
}

// app1 is the segment that carries a TIFF body.
func app1(body []byte) []byte {
	return segmentOf(markerAPP1, append(bytes.Clone(exifPrefix), body...))
}

// chunkOf is one PNG chunk with its right checksum.
func chunkOf(kind string, data []byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	c = append(append(c, kind...), data...)
	return binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
}

// pngWithEXIF puts an eXIf chunk behind the IHDR.
func pngWithEXIF(photo, body []byte) []byte {
	at := len(pngSignature) + chunkOverhead + ihdrLength
	return bytes.Join([][]byte{photo[:at], chunkOf(chunkEXIF, body), photo[at:]}, nil)
}

// field is one directory entry as a test writes it: value is stored in place
// up to 4 bytes and behind the directories otherwise; raw replaces the last 4
// bytes of the entry when it is not nil.
type field struct {
	tag, kind uint16
	count     uint32
	value     []byte
	raw       []byte
}

// tiffOf lays out directories at fixed places: the first at 8, the others at
// the offsets given, so that a test can point anywhere. Values follow at 4096.
func tiffOf(order byteOrder, dirs map[uint32][]field, next map[uint32]uint32) []byte {
	body := make([]byte, 4096)
	copy(body, "II")
	if order == byteOrder(binary.BigEndian) {
		copy(body, "MM")
	}
	order.PutUint16(body[2:], 42)
	order.PutUint32(body[4:], 8)
	var values []byte
	for at, fields := range dirs {
		order.PutUint16(body[at:], uint16(len(fields)))
		for i, f := range fields {
			e := body[int(at)+2+i*entrySize:]
			order.PutUint16(e, f.tag)
			order.PutUint16(e[2:], f.kind)
			order.PutUint32(e[4:], f.count)
			switch {
			case f.raw != nil:
				copy(e[8:12], f.raw)
			case len(f.value) <= 4:
				copy(e[8:12], f.value)
			default:
				order.PutUint32(e[8:], uint32(len(body)+len(values)))
				values = append(values, f.value...)
			}
		}
		order.PutUint32(body[int(at)+2+len(fields)*entrySize:], next[at])
	}
	return append(body, values...)
}

var le = binary.LittleEndian

func asciiField(tag uint16, s string) field {
	return field{tag: tag, kind: typeASCII, count: uint32(len(s) + 1), value: []byte(s + "\x00")}
}

func shortField(tag, v uint16) field {
	return field{tag: tag, kind: typeShort, count: 1, value: le.AppendUint16(nil, v)}
}

func longField(tag uint16, v uint32) field {
	return field{tag: tag, kind: typeLong, count: 1, value: le.AppendUint32(nil, v)}
}

// ratioField takes numerators and denominators in turn.
func ratioField(tag uint16, v ...uint32) field {
	f := field{tag: tag, kind: typeRational, count: uint32(len(v) / 2)}
	for _, n := range v {
		f.value = le.AppendUint32(f.value, n)
	}
	return f
}
