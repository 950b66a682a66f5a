package photo

import (
	"bytes"
	"testing"
)

// nalOf is one coded unit behind its length.
func nalOf(unit ...byte) []byte { return append(u32(len(unit)), unit...) }

// spsOf writes a sequence parameter set as far as it is read: H.265, 7.3.2.2.1.
func spsOf(w, h int) []byte {
	var out bitWriter
	out.bits(0x4201, 16) // unit 33, first layer
	out.bits(0, 4)       // video parameter set
	out.bits(0, 3)       // layers above the first
	out.bits(1, 1)
	for range 12 { // profile and level, without three zeros in a row
		out.bits(0x11, 8)
	}
	out.golomb(0)
	out.golomb(1) // 4:2:0
	out.golomb(w)
	out.golomb(h)
	out.bits(1, 1)
	return out.b
}

type bitWriter struct {
	b  []byte
	at int
}

func (w *bitWriter) bits(v, n int) {
	for i := n - 1; i >= 0; i-- {
		if w.at%8 == 0 {
			w.b = append(w.b, 0)
		}
		w.b[w.at/8] |= byte(v>>i&1) << (7 - w.at%8)
		w.at++
	}
}

func (w *bitWriter) golomb(v int) {
	n := 0
	for (v+1)>>(n+1) > 0 {
		n++
	}
	w.bits(0, n)
	w.bits(v+1, n+1)
}

// hvcCOf is a configuration record with four bytes of length and one set.
func hvcCOf(sps []byte) []byte {
	head := append(make([]byte, 21), 3, 1, 33)
	return append(append(append(head, u16(1)...), u16(len(sps))...), sps...)
}

func TestSPSSize(t *testing.T) {
	for _, size := range [][2]int{{8, 8}, {96, 64}, {512, 512}, {4032, 3024}, {16384, 12288}, {65535, 65534}} {
		w, h, ok := spsSize(spsOf(size[0], size[1]))
		if !ok || w != size[0] || h != size[1] {
			t.Errorf("%v: read %d x %d, %v", size, w, h, ok)
		}
	}
	// As x265 wrote it for 4032 x 3024, with emulation prevention bytes.
	real := []byte("\x42\x01\x01\x03\x70\x00\x00\x03\x00\x90\x00\x00\x03\x00\x00\x03\x00\xb4\xa0\x01\xf8\x20\x02\xf4\x59\x6e\x93\x92")
	if w, h, ok := spsSize(real); !ok || w != 4032 || h != 3024 {
		t.Errorf("a real one: %d x %d, %v", w, h, ok)
	}
	for n := range len(real) - 8 {
		if w, h, ok := spsSize(real[:max(2, n)]); ok {
			t.Errorf("cut after %d bytes: %d x %d", n, w, h)
		}
	}
}

// A small announced size with large coded data is refused before the decoder
// takes the memory, wherever the parameter set hides.
func TestHEICBombs(t *testing.T) {
	small, bomb := spsOf(96, 64), spsOf(16384, 16384)
	slice := nalOf(0x28, 1, 0x80, 1, 2, 3)
	for name, c := range map[string]coded{
		"in the record": {hvcCOf(bomb), slice, 96, 64},
		"in the data":   {hvcCOf(small), append(nalOf(bomb...), slice...), 96, 64},
		"unreadable":    {hvcCOf(small[:10]), slice, 96, 64},
	} {
		checkRefusal(t, name, heicOf(c.item()), "announces 96 x 64 pixels")
		checkRefusal(t, "a tile, "+name, heicOf(gridOf([]coded{c, c}, 2, 190, 64)...), "announces 96 x 64 pixels")
	}
	many := coded{hvcCOf(small), bytes.Repeat(slice, 1000), 96, 64}
	checkRefusal(t, "a thousand pictures", heicOf(many.item()), "1000 pictures where one belongs")
	wide := gridOf(make([]coded, 4), 2, 40000, 40000)
	checkRefusal(t, "a grid of 1600 megapixels", heicOf(wide...), "the limit is 120 megapixels")
}
