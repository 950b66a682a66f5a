package photo

import (
	"encoding/binary"
	"math/bits"
)

// What is read of HEVC (ITU-T H.265, 2021) before its decoder sees it: that
// the pieces of a coded picture fill its data, that it is one picture, and the
// size for which the decoder will take memory, which may differ from the one
// that the file announces.

// Types of NAL units (H.265, table 7-1).
const (
	nalFirstNonPicture = 32 // below: slices of a picture
	nalSPS             = 33
	nalHeader          = 2
)

// nalType is -1 for a unit without a header.
func nalType(unit []byte) int {
	if len(unit) < nalHeader {
		return -1
	}
	return int(unit[0] >> 1 & 0x3F)
}

// hevcConfig is a decoder configuration record (ISO/IEC 14496-15, 8.3.2.1.2).
type hevcConfig struct {
	lengthSize int // bytes before each NAL unit
	units      [][]byte
}

func readHEVCConfig(data []byte) (hevcConfig, bool) {
	c := cursor{b: data}
	c.take(21) // profile, level, formats: the SPS says the same
	config := hevcConfig{lengthSize: int(c.number(1)&3) + 1}
	for range c.number(1) {
		c.take(1) // type of the units: they say it themselves
		for range c.number(2) {
			config.units = append(config.units, c.take(int(c.number(2))))
			if c.short {
				return config, false
			}
		}
	}
	return config, !c.short && config.lengthSize != 3
}

// codedUnits gives the NAL units of a coded picture, false when they do not
// fill its data.
func (h hevcConfig) codedUnits(data []byte) (units [][]byte, ok bool) {
	c := cursor{b: data}
	for len(c.b) > 0 {
		units = append(units, c.take(int(c.number(h.lengthSize))))
		if c.short {
			return nil, false
		}
	}
	return units, true
}

// pictures counts the pictures that slices begin (7.3.6.1: the first bit).
func pictures(units [][]byte) int {
	n := 0
	for _, u := range units {
		if t := nalType(u); t >= 0 && t < nalFirstNonPicture && len(u) > nalHeader && u[nalHeader]&0x80 != 0 {
			n++
		}
	}
	return n
}

// spsSize reads the coded size of a sequence parameter set (7.3.2.2.1), before
// its conformance window; false when the unit does not get that far.
func spsSize(unit []byte) (width, height int, ok bool) {
	r := bitReader{b: unescaped(unit[nalHeader:min(len(unit), 512)])}
	r.bits(4) // sps_video_parameter_set_id
	layers := int(r.bits(3))
	r.bits(1)
	profileTierLevel(&r, layers)
	r.golomb()           // sps_seq_parameter_set_id
	if r.golomb() == 3 { // chroma_format_idc
		r.bits(1) // separate_colour_plane_flag
	}
	width, height = int(r.golomb()), int(r.golomb())
	return width, height, !r.short && width > 0 && height > 0
}

// profileTierLevel skips 7.3.3 for so many layers above the first.
func profileTierLevel(r *bitReader, layers int) {
	r.skip(88 + 8)
	var profile, level [8]bool
	for i := range layers {
		profile[i], level[i] = r.bits(1) == 1, r.bits(1) == 1
	}
	if layers > 0 {
		r.skip(2 * (8 - layers))
	}
	for i := range layers {
		if profile[i] {
			r.skip(88)
		}
		if level[i] {
			r.skip(8)
		}
	}
}

// unescaped is a unit's payload without its emulation prevention bytes (7.3.1.1).
func unescaped(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for i, v := range b {
		if v == 3 && i >= 2 && b[i-1] == 0 && b[i-2] == 0 {
			continue
		}
		out = append(out, v)
	}
	return out
}

// bitReader reads bits, the highest of each byte first; past the end zeros.
type bitReader struct {
	b     []byte
	at    int // in bits
	short bool
}

func (r *bitReader) skip(n int) { r.at += n }

func (r *bitReader) bits(n int) uint64 {
	if r.at+n > 8*len(r.b) {
		r.short = true
		return 0
	}
	var word [8]byte // n is at most 17 here, from any place in a byte
	copy(word[:], r.b[r.at/8:])
	v := binary.BigEndian.Uint64(word[:]) << (r.at % 8) >> (64 - n)
	r.at += n
	return v
}

// golomb reads an unsigned Exp-Golomb code (9.2) of at most 33 bits, enough
// for a size.
func (r *bitReader) golomb() uint64 {
	var window [8]byte
	if r.at/8 < len(r.b) {
		copy(window[:], r.b[r.at/8:])
	}
	zeros := bits.LeadingZeros64(binary.BigEndian.Uint64(window[:]) << (r.at % 8))
	if zeros > 16 { // no size, or the end
		r.short = true
		return 0
	}
	r.skip(zeros)
	return r.bits(zeros+1) - 1
}
