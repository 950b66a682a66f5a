package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
)

// Bare writes a HEIC, a WebP or a TIFF anew with nothing but its picture and the EXIF
// that is given, a TIFF body, nil for none. The coded picture stays as it is; coded is
// that and what it is decoded by. Other pictures of the file, colour profiles, captions
// and all other metadata are left out. A file that it cannot vouch for is an error.
func Bare(b, exif []byte) (out, coded []byte, err error) {
	kind := formatOf(b)
	if kind == nil {
		return nil, nil, notAPhoto(b)
	}
	h, err := kind.header(b)
	if err != nil {
		return nil, nil, err
	}
	if err := kind.sound(b, h); err != nil {
		return nil, nil, err
	}
	switch kind.name {
	case formatHEIC:
		return bareHEIC(b, exif)
	case formatWebP:
		return bareWebP(b, exif, h)
	case formatTIFF:
		return bareTIFF(b, exif)
	}
	return nil, nil, errors.New("a photo of this format is not written anew")
}

// keptProperties are what the picture of a HEIC is decoded and turned by.
var keptProperties = []string{"hvcC", "ispe", "irot", "imir", "clap", "pixi", "pasp", "colr"}

// essential are those without which a program must not show the picture.
var essential = []string{"hvcC", "irot", "imir", "clap"}

// bareItem is an item of a HEIC to be.
type bareItem struct {
	kind       string
	hidden     bool
	data       []byte
	properties []byte // as ipma has them
	count      int
}

func bareHEIC(b, exif []byte) (out, coded []byte, err error) {
	p, err := readHEIC(b)
	if err != nil {
		return nil, nil, err
	}
	sources := []*heifItem{p.item}
	for _, id := range p.item.tiles {
		sources = append(sources, p.index.items[id])
	}
	var shared [][]byte // the properties, each once
	var items []bareItem
	for i, s := range sources {
		if s == nil {
			return nil, nil, unreadable(copyAgain, "the HEIC lacks a part of its picture")
		}
		data, ok := p.index.bytesOf(s)
		if !ok {
			return nil, nil, unreadable(copyAgain, "the HEIC is cut short")
		}
		item := bareItem{kind: s.kind, hidden: i > 0, data: data}
		for _, x := range s.properties {
			if !slices.Contains(keptProperties, x.kind) || x.kind == "colr" && !bytes.HasPrefix(x.data, []byte("nclx")) {
				continue
			}
			whole := isoBox(x.kind, x.data)
			at := slices.IndexFunc(shared, func(have []byte) bool { return bytes.Equal(have, whole) })
			if at < 0 {
				at, shared = len(shared), append(shared, whole)
			}
			number := uint16(at + 1)
			if slices.Contains(essential, x.kind) {
				number |= 0x8000
			}
			item.properties, item.count = binary.BigEndian.AppendUint16(item.properties, number), item.count+1
		}
		items = append(items, item)
	}
	const most = 0x7fff
	if len(items) > most || len(shared) > most {
		return nil, nil, errors.New("the HEIC has more parts than any camera writes")
	}
	coded = bytes.Join(shared, nil)
	for _, item := range items {
		coded = append(coded, item.data...)
	}
	if exif != nil { // the distance to the TIFF body, 0, stands first
		items = append(items, bareItem{kind: "Exif", hidden: true, data: append(make([]byte, 4), exif...)})
	}
	return heicFile(items, len(sources)-1, shared), coded, nil
}

// heicFile puts items together (ISO/IEC 23008-12; ISO/IEC 14496-12, 8.11). The first is
// the picture, the next ones its tiles; EXIF that follows describes it.
func heicFile(items []bareItem, tiles int, shared [][]byte) []byte {
	be := binary.BigEndian
	var infe, iref, ipma, mdat []byte
	associated := 0
	for i, item := range items {
		id := be.AppendUint16(nil, uint16(i+1))
		flags := uint32(0)
		if item.hidden {
			flags = 1
		}
		infe = append(infe, isoFullBox("infe", 2, flags, id, []byte{0, 0}, []byte(item.kind), []byte{0})...)
		if item.count > 0 {
			associated++
			ipma = append(append(append(ipma, id...), byte(item.count)), item.properties...)
		}
		if item.kind == "Exif" {
			iref = append(iref, isoBox("cdsc", id, []byte{0, 1, 0, 1})...)
		}
		mdat = append(mdat, item.data...)
	}
	if tiles > 0 {
		to := be.AppendUint16([]byte{0, 1}, uint16(tiles))
		for i := range tiles {
			to = be.AppendUint16(to, uint16(i+2))
		}
		iref = append(isoBox("dimg", to), iref...)
	}
	ftyp := isoBox("ftyp", []byte("heic\x00\x00\x00\x00mif1heic"))
	meta := func(base int) []byte {
		iloc := be.AppendUint16([]byte{0x44, 0}, uint16(len(items))) // offsets and lengths of 4 bytes
		at := base
		for i, item := range items {
			iloc = be.AppendUint16(iloc, uint16(i+1))
			iloc = append(iloc, 0, 0, 0, 1) // in this file, in one piece
			iloc = be.AppendUint32(be.AppendUint32(iloc, uint32(at)), uint32(len(item.data)))
			at += len(item.data)
		}
		parts := [][]byte{
			isoFullBox("hdlr", 0, 0, make([]byte, 4), []byte("pict"), make([]byte, 13)),
			isoFullBox("pitm", 0, 0, []byte{0, 1}),
			isoFullBox("iinf", 0, 0, be.AppendUint16(nil, uint16(len(items))), infe),
		}
		if len(iref) > 0 {
			parts = append(parts, isoFullBox("iref", 0, 0, iref))
		}
		return isoFullBox("meta", 0, 0, append(parts,
			isoBox("iprp", isoBox("ipco", shared...), isoFullBox("ipma", 0, 1, be.AppendUint32(nil, uint32(associated)), ipma)),
			isoFullBox("iloc", 0, 0, iloc))...)
	}
	const header = 8 // of mdat
	base := len(ftyp) + len(meta(0)) + header
	return slices.Concat(ftyp, meta(base), isoBox("mdat", mdat))
}

func isoBox(kind string, parts ...[]byte) []byte {
	data := bytes.Join(parts, nil)
	return slices.Concat(binary.BigEndian.AppendUint32(nil, uint32(8+len(data))), []byte(kind), data)
}

func isoFullBox(kind string, version byte, flags uint32, parts ...[]byte) []byte {
	return isoBox(kind, append([][]byte{binary.BigEndian.AppendUint32(nil, uint32(version)<<24|flags)}, parts...)...)
}

// bareWebP keeps the chunk of the picture and that of its transparency (RFC 9649).
func bareWebP(b, exif []byte, h Header) (out, coded []byte, err error) {
	const hasAlpha, hasEXIF = 0x10, 0x08
	le := binary.LittleEndian
	flags := byte(0)
	for c := range riffChunks(b) {
		switch c.kind {
		case chunkVP8X:
			flags |= c.data[0] & hasAlpha
		case "ALPH":
			coded = append(coded, chunkWebP(c.kind, c.data)...)
		case chunkVP8, chunkVP8L:
			if c.kind == chunkVP8L && c.data[4]&hasAlpha != 0 {
				flags |= hasAlpha
			}
			coded = append(coded, chunkWebP(c.kind, c.data)...)
			if exif != nil {
				flags |= hasEXIF
			}
			size := le.AppendUint32(nil, uint32(h.Width-1))[:3]
			size = append(size, le.AppendUint32(nil, uint32(h.Height-1))[:3]...)
			out = slices.Concat([]byte("WEBP"), chunkWebP(chunkVP8X, append([]byte{flags, 0, 0, 0}, size...)), coded)
			if exif != nil {
				out = append(out, chunkWebP(chunkWEXI, exif)...)
			}
			return chunkWebP("RIFF", out), coded, nil
		}
	}
	return nil, nil, unreadable(copyAgain, "the WebP holds no picture")
}

// chunkWebP is a chunk, padded to an even length.
func chunkWebP(kind string, data []byte) []byte {
	out := slices.Concat([]byte(kind), binary.LittleEndian.AppendUint32(nil, uint32(len(data))), data)
	return append(out, make([]byte, len(data)&1)...)
}

// keptTags are the entries by which the picture of a TIFF is decoded.
var keptTags = map[uint16]shape{
	tagWidth: integer, tagHeight: integer, tagBits: shorts, tagCompression: integer, tagPhotometric: integer,
	tagStripOffsets: pieces, tagSamples: integer, 0x0116: integer /* rows of a strip */, tagStripBytes: pieces, tagPlanar: integer,
	0x010A: integer /* order of bits */, 0x013D: integer /* predictor */, 0x0140: {[]uint16{typeShort}, 1, 3 << 16}, /* colours of a palette */
	0x0142: integer, 0x0143: integer /* size of a tile */, tagTileOffsets: pieces, tagTileBytes: pieces,
	0x0152: shorts /* what more samples mean */, tagSampleFormat: shorts,
	0x0211: {[]uint16{typeRational}, 3, 3}, 0x0212: {[]uint16{typeShort}, 2, 2}, 0x0213: integer, /* of YCbCr */
}

// bareTIFF keeps the first picture and its strips or tiles.
func bareTIFF(b, exif []byte) (out, coded []byte, err error) {
	s := sifter{body: b}
	start, _ := s.header()
	first := s.directory("first", start, keptTags)
	p := tiffPicture{order: s.order, entries: first}
	const jpegInTIFF = 7
	if s.problem != "" || p.value(tagCompression, uncompressedTIFF) == jpegInTIFF {
		return nil, nil, unreadable(useOriginal, "the TIFF holds what is not written anew: %s", s.problem)
	}
	offsets, lengths, at := p.values(tagStripOffsets), p.values(tagStripBytes), uint16(tagStripOffsets)
	if tiles := p.values(tagTileOffsets); tiles != nil {
		offsets, lengths, at = tiles, p.values(tagTileBytes), tagTileOffsets
	}
	first = slices.DeleteFunc(first, func(e entry) bool { return e.tag == tagStripOffsets || e.tag == tagTileOffsets })
	for _, e := range first {
		coded = append(s.order.AppendUint32(s.order.AppendUint16(coded, e.tag), e.count), e.value...)
	}
	var strips []byte
	for i, from := range offsets {
		if size := p.value(tagBits, 1) / 8 * p.value(tagSamples, 1) * p.value(tagWidth, 0) * p.value(tagHeight, 0); len(strips) > 0 && len(strips) > len(b)+size {
			return nil, nil, unreadable(copyAgain, "the pieces of the TIFF lie in each other")
		}
		strips = append(strips, b[from:from+lengths[i]]...)
	}
	coded = append(coded, strips...)
	var more []entry
	if exif != nil {
		turned, camera := entriesFor(s.order, exif)
		first, more = append(first, turned...), camera
	}
	if len(more) > 0 {
		first = append(first, entry{tagExifPointer, typeLong, 1, make([]byte, 4)})
	}
	where := func(base int) []byte {
		e := entry{at, typeLong, uint32(len(offsets)), nil}
		for _, n := range lengths {
			e.value = s.order.AppendUint32(e.value, uint32(base))
			base += n
		}
		return assemble(s.order, append(slices.Clone(first), e), slices.Clone(more), nil)
	}
	body := where(len(where(0)))
	return append(body, strips...), coded, nil
}

// entriesFor are the entries of a TIFF body in another byte order: how the picture is to
// be turned, and those of its Exif directory.
func entriesFor(order byteOrder, body []byte) (first, exif []entry) {
	s := sifter{body: body}
	start, _ := s.header()
	wanted := s.directory("first", start, wantedFirst)
	exif = s.linked("Exif", wanted, tagExifPointer, wantedExif)
	for _, e := range wanted {
		if e.tag == tagOrientation {
			first = append(first, e)
		}
	}
	for _, list := range [][]entry{first, exif} {
		for i := range list {
			list[i].value = reordered(list[i], s.order, order)
		}
	}
	return first, exif
}

// reordered are the values of an entry in another byte order.
func reordered(e entry, from, to byteOrder) (out []byte) {
	unit := min(typeSize[e.kind], 4) // a ratio is two numbers of 4 bytes
	for at := 0; at < len(e.value); at += unit {
		switch v := e.value[at : at+unit]; unit {
		case 2:
			out = to.AppendUint16(out, from.Uint16(v))
		case 4:
			out = to.AppendUint32(out, from.Uint32(v))
		default:
			out = append(out, v...)
		}
	}
	return out
}
