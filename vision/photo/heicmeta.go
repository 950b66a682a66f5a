package photo

import "slices"

// The index of a HEIF file (ISO/IEC 23008-12, on top of the meta box of
// ISO/IEC 14496-12, 8.11): which items there are, where their bytes lie, what
// belongs to what.

// maxMeta bounds the index; phones write some kilobytes.
const maxMeta = 8 << 20

// maxExtents bounds the pieces that one item may lie in; one is usual.
const maxExtents = 64

// heifItem is one entry of the index.
type heifItem struct {
	kind       string // "hvc1", "grid", "Exif", ...
	inIndex    bool   // the bytes lie in the index itself, in idat
	elsewhere  bool   // the bytes lie where we do not look: another file, another item
	extents    []extent
	properties []box    // in the order in which they apply
	tiles      []uint32 // what it is put together from, by iref "dimg"
	describes  []uint32 // what it tells about, by iref "cdsc"
}

// extent is a run of bytes; length 0 reaches to the end.
type extent struct{ at, length uint64 }

// heifIndex is the index of one file.
type heifIndex struct {
	file, idat []byte
	primary    uint32
	items      map[uint32]*heifItem
}

// readIndex reads the meta box of a file. The text says what is wrong with it,
// "" when nothing is.
func readIndex(file []byte) (x heifIndex, wrong string) {
	meta := inside(file, "meta")
	switch {
	case len(meta) < 4:
		return x, "it holds no index of its pictures, or is cut short before it"
	case len(meta) > maxMeta:
		return x, "its index is larger than any camera's"
	}
	x = heifIndex{file: file, items: map[uint32]*heifItem{}}
	ok := true
	meta = meta[4:] // version and flags
	for _, part := range []struct {
		kind string
		read func([]byte) bool
	}{
		{"pitm", x.readPrimary}, {"iinf", x.readItems}, {"iloc", x.readPlaces}, {"iref", x.readReferences},
	} {
		if data := inside(meta, part.kind); data != nil {
			ok = part.read(data) && ok
		}
	}
	x.idat = inside(meta, "idat")
	iprp := inside(meta, "iprp")
	var shared []box // the properties, which items refer to by number
	for p := range boxes(inside(iprp, "ipco")) {
		shared = append(shared, p)
	}
	for p := range boxes(iprp) {
		if p.kind == "ipma" {
			ok = x.readAssociations(p.data, shared) && ok
		}
	}
	if !ok {
		return x, "its index is cut short or contradicts itself"
	}
	return x, ""
}

// idSize is the width of item numbers: version 0 of most boxes has 16 bits.
func idSize(wide bool) int {
	if wide {
		return 4
	}
	return 2
}

func (x *heifIndex) readPrimary(data []byte) bool {
	version, _, c := fullBox(data)
	x.primary = uint32(c.number(idSize(version > 0)))
	return !c.short
}

// readItems reads iinf; entries before version 2 know no kinds of our use.
func (x *heifIndex) readItems(data []byte) bool {
	version, _, c := fullBox(data)
	c.number(idSize(version > 0)) // the count; the entries tell themselves
	for e := range boxes(c.b) {
		version, _, c := fullBox(e.data)
		if e.kind != "infe" || version < 2 {
			continue
		}
		id := uint32(c.number(idSize(version > 2)))
		c.number(2) // protection
		kind := string(c.take(4))
		if c.short {
			return false
		}
		if x.items[id] == nil {
			x.items[id] = &heifItem{kind: kind}
		}
	}
	return !c.short
}

// readPlaces reads iloc (14496-12, 8.11.3).
func (x *heifIndex) readPlaces(data []byte) bool {
	version, _, c := fullBox(data)
	sizes := c.number(2)
	offsetSize, lengthSize := int(sizes>>12), int(sizes>>8&15)
	baseSize, indexSize := int(sizes>>4&15), int(sizes&15)
	if max(offsetSize, lengthSize, baseSize, indexSize) > 8 || version > 2 {
		return false
	}
	if version == 0 {
		indexSize = 0 // reserved
	}
	for range c.number(idSize(version == 2)) {
		id, method := uint32(c.number(idSize(version == 2))), uint64(0)
		if version > 0 {
			method = c.number(2) & 15
		}
		reference, base := c.number(2), c.number(baseSize)
		n := int(c.number(2))
		if c.short || n > maxExtents {
			return false
		}
		var extents []extent
		for range n {
			c.number(indexSize)
			extents = append(extents, extent{base + c.number(offsetSize), c.number(lengthSize)})
		}
		if item := x.items[id]; item != nil {
			item.inIndex, item.elsewhere, item.extents = method == 1, method > 1 || reference != 0, extents
		}
	}
	return !c.short
}

func (x *heifIndex) readReferences(data []byte) bool {
	version, _, c := fullBox(data)
	for r := range boxes(c.b) {
		c := cursor{b: r.data}
		from := x.items[uint32(c.number(idSize(version > 0)))]
		var to []uint32
		for range c.number(2) {
			to = append(to, uint32(c.number(idSize(version > 0))))
		}
		if c.short {
			return false
		}
		switch {
		case from == nil:
		case r.kind == "dimg":
			from.tiles = to
		case r.kind == "cdsc":
			from.describes = append(from.describes, to...)
		}
	}
	return !c.short
}

// readAssociations reads ipma (23008-12, 9.3.3); properties are numbered from 1.
func (x *heifIndex) readAssociations(data []byte, shared []box) bool {
	version, flags, c := fullBox(data)
	size, mask := 1, uint64(0x7F) // above the mask: that it is essential
	if flags&1 == 1 {
		size, mask = 2, 0x7FFF
	}
	for range c.number(4) {
		item := x.items[uint32(c.number(idSize(version > 0)))]
		for range c.number(1) {
			n := int(c.number(size) & mask)
			if c.short || n > len(shared) {
				return false
			}
			if item != nil && n > 0 {
				item.properties = append(item.properties, shared[n-1])
			}
		}
		if c.short {
			return false
		}
	}
	return !c.short
}

// bytesOf gives the bytes of an item, false when some lie outside the file.
func (x *heifIndex) bytesOf(item *heifItem) (data []byte, ok bool) {
	from := x.file
	if item.inIndex {
		from = x.idat
	}
	if item.elsewhere || len(item.extents) == 0 {
		return nil, false
	}
	for i, e := range item.extents {
		n := uint64(len(from))
		if e.at > n || e.length > n-e.at {
			return nil, false
		}
		piece := from[e.at:]
		if e.length > 0 {
			piece = piece[:e.length]
		}
		if i == 0 {
			data = slices.Clip(piece) // most items have one extent: no copy
			continue
		}
		if len(data)+len(piece) > len(x.file) {
			return nil, false
		}
		data = append(data, piece...)
	}
	return data, true
}

// property gives the first property of that kind, nil when there is none.
func (item *heifItem) property(kind string) []byte {
	for _, p := range item.properties {
		if p.kind == kind {
			return p.data
		}
	}
	return nil
}
