package photo

import (
	"bytes"
	"testing"

	"gocv.io/x/gocv"
)

// riffOf is a WebP file of chunks.
func riffOf(chunks ...[]byte) []byte {
	data := append([]byte("WEBP"), bytes.Join(chunks, nil)...)
	return append(le.AppendUint32([]byte("RIFF"), uint32(len(data))), data...)
}

func riffChunk(kind string, data []byte) []byte {
	c := append(le.AppendUint32([]byte(kind), uint32(len(data))), data...)
	return append(c, make([]byte, len(data)&1)...)
}

// vp8x announces a canvas and what else is in the file.
func vp8x(flags byte, w, h int) []byte {
	w, h = w-1, h-1
	return riffChunk(chunkVP8X, []byte{flags, 0, 0, 0, byte(w), byte(w >> 8), byte(w >> 16), byte(h), byte(h >> 8), byte(h >> 16)})
}

// imageChunk takes the picture's chunk out of a simple file.
func imageChunk(t *testing.T, b []byte) []byte {
	t.Helper()
	for c := range riffChunks(b) {
		if c.kind == chunkVP8 || c.kind == chunkVP8L {
			return riffChunk(c.kind, c.data)
		}
	}
	t.Fatal("no picture in the WebP")
	return nil
}

func TestWebPTurnsOnce(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	const quality = gocv.IMWriteWebpQuality
	for name, b := range map[string][]byte{"lossy": encoded(t, ".webp", m, quality, 95), "lossless": encoded(t, ".webp", m, quality, 101)} {
		p := mustDecode(t, b)
		if d := meanDifference(colours(t, p), m); d > 4 || p.Header.Format != formatWebP {
			t.Errorf("%s: pixels differ by %.1f levels, %+v", name, d, p.Header)
		}
		body := camera([]field{shortField(0x0112, 6)}, nil, nil)
		for _, prefix := range []string{"", "Exif\x00\x00"} {
			p = mustDecode(t, riffOf(vp8x(8, 40, 24), imageChunk(t, b), riffChunk(chunkWEXI, append([]byte(prefix), body...))))
			if d := meanDifference(colours(t, p), turned(t, m, 6)); d > 4 || p.Facts.Orientation != 6 {
				t.Errorf("%s with EXIF: orientation %d, pixels differ by %.1f levels", name, p.Facts.Orientation, d)
			}
		}
	}
}

func TestWebPRefusals(t *testing.T) {
	m := smooth(40, 24)
	defer m.Close()
	b := encoded(t, ".webp", m, gocv.IMWriteWebpQuality, 95)
	chunk := imageChunk(t, b)
	edit := func(at int, v byte) []byte { c := bytes.Clone(chunk); c[at] = v; return riffOf(c) }
	for _, c := range []struct {
		name, want string
		b          []byte
	}{
		{"sound", "", b},
		{"with text behind", "", append(bytes.Clone(b), "notes"...)},
		{"cut in its last byte", "cut short", b[:len(b)-1]},
		{"cut in its header", "cut short", b[:20]},
		{"an animation", "animation", riffOf(vp8x(webpAnimated, 40, 24), chunk)},
		{"another canvas", "the header says 41 x 24 pixels, the data 40 x 24", riffOf(vp8x(0, 41, 24), chunk)},
		{"of no size", "begin with no size", edit(8+6, 0)},
		{"no key frame", "begin with no size", edit(8, chunk[8]|1)},
		{"of 16383 x 16383", "the limit is 120 megapixels", riffOf(riffChunk(chunkVP8L, []byte{0x2F, 0xFE, 0xBF, 0xFF, 0x0F}))},
		{"another width than coded", "", edit(8+6, 41)}, // VP8 tells its size here alone
		{"no picture data", "cannot be decoded", riffOf(chunk[: 8+16 : 8+16])},
	} {
		if c.name == "no picture data" {
			c.b = riffOf(riffChunk(chunkVP8, chunk[8:8+16]))
		}
		checkRefusal(t, "WebP "+c.name, c.b, c.want)
	}
}
