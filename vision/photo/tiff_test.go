package photo

import (
	"bytes"
	"image"
	"testing"

	"gocv.io/x/gocv"
)

// tiffFile is an uncompressed RGB TIFF of one strip; fields with tags that it
// has already replace its own, and a count of 0 takes one out.
func tiffFile(order byteOrder, m gocv.Mat, change ...field) []byte {
	strip := make([]byte, 0, 3*m.Cols()*m.Rows())
	for y := range m.Rows() {
		for x := range m.Cols() {
			for c := range 3 {
				strip = append(strip, m.GetUCharAt(y, 3*x+2-c))
			}
		}
	}
	num := func(tag uint16, v int) field {
		return field{tag: tag, kind: typeLong, count: 1, value: order.AppendUint32(nil, uint32(v))}
	}
	short := func(tag, v uint16, more ...uint16) field {
		f := field{tag: tag, kind: typeShort, count: uint32(1 + len(more)), value: order.AppendUint16(nil, v)}
		for _, v := range more {
			f.value = order.AppendUint16(f.value, v)
		}
		return f
	}
	fields := []field{
		num(tagWidth, m.Cols()), num(tagHeight, m.Rows()), short(tagBits, 8, 8, 8), short(tagCompression, 1),
		short(tagPhotometric, 2), num(tagStripOffsets, 8192), short(tagOrientation, 1), short(tagSamples, 3),
		num(0x0116, m.Rows()), num(tagStripBytes, len(strip)), short(tagPlanar, 1),
	}
	for _, f := range change {
		if order != byteOrder(le) && f.kind == typeShort { // written little-endian by the helpers
			f.value = []byte{f.value[1], f.value[0]}
		}
		replaced := false
		for i := range fields {
			if fields[i].tag == f.tag {
				fields[i], replaced = f, true
			}
		}
		if !replaced {
			fields = append(fields, f)
		}
	}
	body := tiffOf(order, map[uint32][]field{8: fields}, nil)
	return append(append(body, make([]byte, 8192-len(body))...), strip...)
}

// Every orientation, in both byte orders, whole and as a camera's EXIF.
func TestTIFFTurnsOnce(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	for name, order := range map[string]byteOrder{"little": le, "big": be} {
		for n := 1; n <= 8; n++ {
			b := tiffFile(order, m, shortField(tagOrientation, uint16(n)), asciiField(0x0110, "Example Phone 1"))
			before := bytes.Clone(b)
			p := mustDecode(t, b)
			if p.Facts.Orientation != n || p.Facts.Device != "Example Phone 1" || p.Facts.Problem != "" {
				t.Errorf("%s, %d: facts %+v", name, n, p.Facts)
			}
			want, err := Of(turned(t, m, n))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = want.Close() })
			if d := meanDifference(colours(t, p), colours(t, want)); d > 0 {
				t.Errorf("%s, %d: %d x %d pixels differ by %.1f levels", name, n, p.Width(), p.Height(), d)
			}
			if !bytes.Equal(b, before) {
				t.Errorf("%s, %d: the caller's bytes were changed", name, n)
			}
		}
	}
}

// What OpenCV's own writer makes, of 8 and 16 bits, grey and coloured.
func TestKindsOfTIFF(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	grey, deep := gocv.NewMat(), gocv.NewMat()
	defer grey.Close()
	defer deep.Close()
	if err := gocv.CvtColor(m, &grey, gocv.ColorBGRToGray); err != nil {
		t.Fatal(err)
	}
	if err := m.ConvertToWithParams(&deep, gocv.MatTypeCV16UC3, 257, 0); err != nil {
		t.Fatal(err)
	}
	const compression, none, lzw, deflate, packBits = 259, 1, 5, 8, 32773 // IMWRITE_TIFF_COMPRESSION
	for _, way := range []int{none, lzw, deflate, packBits} {
		for name, x := range map[string]gocv.Mat{"colour": m, "grey": grey, "16 bits": deep} {
			p := mustDecode(t, encoded(t, ".tiff", x, compression, way))
			if p.Gray.Type() != gocv.MatTypeCV8UC1 || p.Header.Format != formatTIFF {
				t.Errorf("%s, compression %d: type %v, %+v", name, way, p.Gray.Type(), p.Header)
			}
			if d := meanDifference(colours(t, p), m); name != "grey" && d > 1 {
				t.Errorf("%s, compression %d: pixels differ by %.1f levels", name, way, d)
			}
		}
	}
}

func TestTIFFRefusals(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	sound := tiffFile(le, m)
	for _, c := range []struct {
		name, want string
		b          []byte
	}{
		{"sound", "", sound},
		{"cut in its last byte", "cut short", sound[:len(sound)-1]},
		{"cut in its directory", "announces 11 entries; there is room for 4", sound[:64]},
		{"cut in its header", "none of JPEG", sound[:3]},
		{"directory outside", "outside", append([]byte("II*\x00\xff\xff\xff\x7f"), sound[8:]...)},
		{"of 2^31 columns", "1048576 on each side", tiffFile(le, m, longField(tagWidth, 1<<31))},
		{"of 40000 x 40000", "the limit is 120 megapixels", tiffFile(le, m, longField(tagWidth, 40000), longField(tagHeight, 40000))},
		{"of few bytes", "too few for 400 x 24", tiffFile(le, m, longField(tagWidth, 400))},
		{"strip outside", "cut short", tiffFile(le, m, longField(tagStripOffsets, 1<<30))},
		{"no strips", "where its picture data are", tiffFile(le, m, field{tag: tagStripBytes, kind: typeLong, count: 2, value: make([]byte, 8)})},
		{"of print colours", "CMYK", tiffFile(le, m, shortField(tagPhotometric, photometricCMYK))},
		{"of a sensor", "raw file", tiffFile(le, m, shortField(tagPhotometric, photometricCFA))},
		{"with a raw version", "raw file", tiffFile(le, m, field{tag: tagRawVersion, kind: typeByte, count: 4, value: []byte{1, 4, 0, 0}})},
		{"in an unknown way", "compressed in way 34712", tiffFile(le, m, shortField(tagCompression, 34712))},
		{"of 32 bits", "samples of 32 bits", tiffFile(le, m, shortField(tagBits, 32))},
		{"of floats", "no whole ones", tiffFile(le, m, shortField(tagSampleFormat, 3))},
	} {
		checkRefusal(t, "TIFF "+c.name, c.b, c.want)
	}
}

// A directory that goes in circles is not followed.
func TestTIFFFirstPictureOnly(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	b := tiffFile(le, m)
	le.PutUint32(b[8+2+11*entrySize:], 8) // the next picture: this one
	checkRefusal(t, "TIFF in circles", b, "")
	if h, err := ReadHeader(b); err != nil || image.Pt(h.Width, h.Height) != image.Pt(40, 24) {
		t.Errorf("%+v, %v", h, err)
	}
}
