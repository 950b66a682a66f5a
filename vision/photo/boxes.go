package photo

import (
	"encoding/binary"
	"iter"
)

// box is one box of an ISO base media file (ISO/IEC 14496-12, 4.2).
type box struct {
	kind string
	data []byte // without the header
}

// boxes gives the boxes that b is made of, in order, up to where one is cut
// short.
func boxes(b []byte) iter.Seq[box] {
	return func(yield func(box) bool) {
		for len(b) > 0 {
			c := cursor{b: b}
			size, kind := c.number(4), string(c.take(4))
			switch size {
			case 0: // to the end of the file
				size = uint64(len(b))
			case 1:
				size = c.number(8)
			}
			header := uint64(len(b) - len(c.b))
			if c.short || size < header || size > uint64(len(b)) {
				return
			}
			if !yield(box{kind, b[header:size]}) {
				return
			}
			b = b[size:]
		}
	}
}

// inside gives the data of the first box of that kind, nil when there is none.
func inside(b []byte, kind string) []byte {
	for x := range boxes(b) {
		if x.kind == kind {
			return x.data
		}
	}
	return nil
}

// fullBox takes version and flags off the data of a box (14496-12, 4.2).
func fullBox(data []byte) (version byte, flags uint32, c cursor) {
	c = cursor{b: data}
	word := uint32(c.number(4))
	return byte(word >> 24), word & 0xFFFFFF, c
}

// cursor reads from the front of b; once b is too short everything is zero.
type cursor struct {
	b     []byte
	short bool
}

// take gives the next n bytes, nil when there are fewer.
func (c *cursor) take(n int) []byte {
	if c.short || n > len(c.b) {
		c.short = true
		return nil
	}
	got := c.b[:n]
	c.b = c.b[n:]
	return got
}

// number reads n bytes, at most 8, the highest first.
func (c *cursor) number(n int) uint64 {
	var word [8]byte
	copy(word[8-n:], c.take(n))
	return binary.BigEndian.Uint64(word[:])
}
