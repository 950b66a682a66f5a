package photo

import (
	"bytes"
	"testing"

	"gocv.io/x/gocv"
)

// A photo written bare shows the same pixels, holds nothing that was put beside its
// picture, keeps the EXIF that is given, and gives itself when it is written again.
func TestBare(t *testing.T) {
	const secret = "N40 W100 at the barn"
	m := smooth(40, 24)
	defer m.Close()
	located := camera([]field{shortField(0x0112, 6), asciiField(0x010F, secret)}, []field{asciiField(0x9003, "2026:05:04 10:00:00"), ratioField(0x920A, 43, 10)}, []field{asciiField(1, "N")})
	given := camera([]field{shortField(0x0112, 6)}, []field{asciiField(0x9003, "2026:05:04 10:00:00"), ratioField(0x920A, 43, 10)}, nil)
	lossy, lossless := encoded(t, ".webp", m, gocv.IMWriteWebpQuality, 90), encoded(t, ".webp", m, gocv.IMWriteWebpQuality, 101)
	hidden := riffChunk("XMP ", []byte(secret))
	files := map[string][]byte{
		"WebP, lossy":          riffOf(vp8x(8|4, 40, 24), riffChunk("ICCP", []byte(secret)), imageChunk(t, lossy), riffChunk(chunkWEXI, located), hidden),
		"WebP, lossless":       riffOf(vp8x(8, 40, 24), imageChunk(t, lossless), riffChunk("none", []byte(secret)), riffChunk(chunkWEXI, located)),
		"WebP, more behind":    append(riffOf(vp8x(8, 40, 24), imageChunk(t, lossy), riffChunk(chunkWEXI, located)), secret...),
		"TIFF, little":         append(tiffFile(le, m, shortField(0x0112, 6), asciiField(0x010E, secret), asciiField(0x9003, "2026:05:04 10:00:00")), secret...),
		"TIFF, big":            append(tiffFile(be, m, shortField(0x0112, 6), asciiField(0x010E, secret)), secret...),
		"TIFF, deflated":       append(encoded(t, ".tiff", m, imwriteTiffCompression, 8), secret...),
		"TIFF, a few strips":   append(encoded(t, ".tiff", m, imwriteTiffCompression, 1), secret...),
		"TIFF, LZW, predictor": append(encoded(t, ".tiff", m, imwriteTiffCompression, 5), secret...),
	}
	wide := smooth(96, 64) // the encoder makes a grid of less
	defer wide.Close()
	single := encodeHEVC(t, encoded(t, ".png", wide))
	profile := boxOf("colr", []byte("prof"), []byte(secret))
	files["HEIC"] = append(heicOf(single.item(irot(3), profile), exifItem(located, 6), itemOf{kind: "mime", data: []byte(secret), describes: []int{1}}), boxOf("free", []byte(secret))...)
	files["HEIC, in pieces"] = func() []byte {
		it := single.item(irot(3))
		it.pieces = 3
		return heicOf(it, exifItem(located, 0))
	}()
	files["HEIC, grid"] = heicOf(append(gridOf([]coded{single, single}, 2, 192, 64, irot(3)), itemOf{kind: "uri ", data: []byte(secret)})...)
	files["HEIC of an encoder"] = heifEnc(t, encoded(t, ".png", m), ".png")
	for name, b := range files {
		for _, exif := range [][]byte{given, nil} {
			out, coded, err := Bare(b, exif)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			if bytes.Contains(out, []byte("barn")) {
				t.Errorf("%s: a secret came through", name)
			}
			again, same, err := Bare(out, exif)
			if err != nil || !bytes.Equal(out, again) || !bytes.Equal(coded, same) {
				t.Errorf("%s: written twice it differs: %v", name, err)
			}
			before, after := mustDecode(t, b), mustDecode(t, out)
			x, y := colours(t, before), colours(t, after)
			if turn := before.Facts.Orientation == after.Facts.Orientation; turn && meanDifference(x, y) != 0 {
				t.Errorf("%s: other pixels", name)
			}
			if f := after.Facts; exif != nil && (f.Taken != "2026-05-04T10:00:00" || f.FocalMM != 4.3 || f.Orientation != 6 && name[0] != 'H') || f.Location != nil || f.Device != "" {
				t.Errorf("%s: facts %+v", name, f)
			}
			if before.Facts.Orientation != after.Facts.Orientation && exif == nil && name[0] == 'H' {
				t.Errorf("%s: turned otherwise", name)
			}
		}
	}
}

// What cannot be vouched for is refused whole.
func TestBareRefuses(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	lossy := encoded(t, ".webp", m, gocv.IMWriteWebpQuality, 90)
	for name, b := range map[string][]byte{
		"nothing": nil, "no photo": []byte("hello"), "JPEG": encoded(t, ".jpg", m),
		"WebP, cut": lossy[:len(lossy)-9], "HEIC, cut": []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"),
		"TIFF, JPEG within": encoded(t, ".tiff", m, imwriteTiffCompression, 7),
	} {
		if out, _, err := Bare(b, nil); err == nil {
			t.Errorf("%s: %d bytes", name, len(out))
		}
	}
}

func FuzzBare(f *testing.F) {
	m := smooth(16, 8)
	defer m.Close()
	f.Add(tiffFile(le, m))
	f.Add(riffOf(vp8x(0, 16, 8), riffChunk(chunkVP8L, []byte{0x2F, 15, 0xC0, 1, 0, 0})))
	f.Add([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"))
	exif := camera([]field{shortField(0x0112, 6)}, []field{asciiField(0x9003, "2026:05:04 10:00:00")}, nil)
	f.Fuzz(func(t *testing.T, b []byte) {
		out, coded, err := Bare(b, exif)
		if err != nil {
			return
		}
		if again, same, err := Bare(out, exif); err != nil || !bytes.Equal(out, again) || !bytes.Equal(coded, same) {
			t.Errorf("written twice it differs: %v", err)
		}
	})
}

// imwriteTiffCompression is OpenCV's parameter of that name.
const imwriteTiffCompression = 259
