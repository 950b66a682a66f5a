package photo

import (
	"cmp"
	"encoding/binary"
	"errors"
	"maps"
	"slices"

	"coursegauge/vision/photo/heif"

	"gocv.io/x/gocv"
)

// HEIC: pictures coded as HEVC in a HEIF file (ISO/IEC 23008-12), whole or as a
// grid of tiles. Orientation is what the file's irot and imir say. They are
// part of the picture (6.5.10, 6.5.12), while the EXIF tag beside them is a
// copy for information (annex A.2.1), which many writers leave at its old value:
// turning by both would turn twice.
//
// It is slow: 1.1 to 1.3 s of processor time for a grainy 12.2 MP picture of 7
// MB, against 75 ms for the same as JPEG, on a busy two-core server (go test
// -run none -bench DecodeKinds -cpu 1). Nine tenths of it are the HEVC decoder;
// turning here instead of in libheif saves a tenth of a second.

// tooCoarse bounds how much larger than announced a coded picture may be: the
// largest block of HEVC.
const tooCoarse = 64

// brandsHEIC are brands of still pictures that HEVC may be in (23008-12, annex B).
var brandsHEIC = []string{"heic", "heix", "heim", "heis", "mif1", "mif2", "miaf"}

// startsHEIC looks at the brands of the ftyp box (14496-12, 4.3).
func startsHEIC(b []byte) bool {
	for x := range boxes(b) {
		if x.kind != "ftyp" || len(x.data) < 8 || string(x.data[:4]) == "avif" {
			return false
		}
		for at := 0; at+4 <= min(len(x.data), 256); at += 4 {
			if at != 4 && slices.Contains(brandsHEIC, string(x.data[at:at+4])) { // 4: the minor version
				return true
			}
		}
		return false
	}
	return false
}

// heic is the picture of a HEIC file.
type heic struct {
	index   heifIndex
	id      uint32
	item    *heifItem
	w, h    int // as coded
	turning int // as EXIF's orientation numbers it
}

func readHEIC(b []byte) (heic, error) {
	index, wrong := readIndex(b)
	if wrong != "" {
		return heic{}, unreadable(copyAgain, "the HEIC cannot be read: %s", wrong)
	}
	p := heic{index: index, id: index.primary, item: index.items[index.primary]}
	switch {
	case p.item == nil:
		return p, unreadable(copyAgain, "the HEIC does not tell which of its pictures is the photo")
	case p.item.kind == "av01":
		return p, unreadable(saveAsJPEG, "the file is an AVIF picture; %s are read", formatsRead)
	case p.item.kind != "hvc1" && p.item.kind != "grid":
		return p, unreadable(useOriginal, "the picture of the HEIC is of kind %q; hvc1 and grid are read", p.item.kind)
	}
	if !p.readGeometry() {
		return p, unreadable(copyAgain, "the HEIC does not tell the size of its picture, or 0")
	}
	return p, nil
}

// readGeometry follows the properties in their order. The size belongs before
// the turning; some writers put it behind and mean the turned picture.
func (p *heic) readGeometry() bool {
	p.turning = 1
	for _, x := range p.item.properties {
		c := cursor{b: x.data}
		switch x.kind {
		case "ispe":
			c.number(4) // version and flags
			w, h := c.number(4), c.number(4)
			if p.w != 0 || max(w, h) > maxDimension {
				continue
			}
			p.w, p.h = int(w), int(h)
			if p.turning >= 5 {
				p.w, p.h = p.h, p.w
			}
		case "irot": // 6.5.10: quarter turns to the left
			for range c.number(1) & 3 {
				p.turning = afterLeftTurn[p.turning]
			}
		case "imir": // 6.5.12 (2022): 0 swaps top and bottom, 1 left and right
			if c.number(1)&1 == 0 {
				p.turning = afterFlipUpDown[p.turning]
			} else {
				p.turning = afterFlipLeftRight[p.turning]
			}
		}
	}
	return p.w > 0 && p.h > 0
}

// What an orientation becomes when the picture is then turned or flipped.
var (
	afterLeftTurn      = [9]int{1: 8, 8: 3, 3: 6, 6: 1, 2: 5, 5: 4, 4: 7, 7: 2}
	afterFlipLeftRight = [9]int{1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 7: 8, 8: 7}
	afterFlipUpDown    = [9]int{1: 4, 4: 1, 2: 3, 3: 2, 5: 8, 8: 5, 6: 7, 7: 6}
)

func heicHeader(b []byte) (Header, error) {
	p, err := readHEIC(b)
	if err != nil {
		return Header{}, err
	}
	return Header{Format: formatHEIC, Width: p.w, Height: p.h}, nil
}

// heicOrientation is 1 when the file is not sound enough to tell.
func heicOrientation(b []byte) int {
	p, err := readHEIC(b)
	if err != nil {
		return 1
	}
	return p.turning
}

// heicEXIF gives the TIFF body of the EXIF that belongs to the picture, else of
// any in the file. The item begins with the distance to it (23008-12, A.2.1).
func heicEXIF(b []byte) []byte {
	index, _ := readIndex(b)
	var found *heifItem
	for _, id := range slices.Sorted(maps.Keys(index.items)) {
		item := index.items[id]
		if item.kind != "Exif" {
			continue
		}
		if slices.Contains(item.describes, index.primary) {
			found = item
			break
		}
		found = cmp.Or(found, item)
	}
	if found == nil {
		return nil
	}
	data, ok := index.bytesOf(found)
	if !ok || len(data) < 4 {
		return nil
	}
	skip := uint64(binary.BigEndian.Uint32(data)) + 4
	if skip > uint64(len(data)) {
		return nil
	}
	return data[skip:]
}

// soundHEIC checks that every byte of the picture is there and that its pieces
// are no larger than announced.
func soundHEIC(b []byte, h Header) error {
	p, err := readHEIC(b)
	if err != nil {
		return err
	}
	if p.item.kind == "hvc1" {
		return p.soundCoded(p.item, h.Width, h.Height)
	}
	return p.soundGrid(h)
}

// soundCoded checks one coded picture.
func (p *heic) soundCoded(item *heifItem, w, h int) error {
	data, ok := p.index.bytesOf(item)
	if !ok {
		return unreadable(copyAgain, "the HEIC is cut short: its picture data lie outside its %d bytes", len(p.index.file))
	}
	config, okConfig := readHEVCConfig(item.property("hvcC"))
	units, okUnits := config.codedUnits(data)
	switch {
	case !okConfig:
		return unreadable(copyAgain, "the HEIC does not tell how its picture is coded")
	case !okUnits:
		return unreadable(copyAgain, "the HEIC is damaged: the parts of its picture data do not fill them")
	case pictures(units) != 1:
		return unreadable(useOriginal, "the HEIC has %d pictures where one belongs", pictures(units))
	}
	for _, unit := range slices.Concat(config.units, units) {
		if nalType(unit) != nalSPS {
			continue
		}
		codedW, codedH, ok := spsSize(unit)
		if !ok || codedW > w+tooCoarse || codedH > h+tooCoarse {
			return unreadable(copyAgain, "the HEIC announces %d x %d pixels, its data %d x %d", w, h, codedW, codedH)
		}
	}
	return nil
}

// soundGrid checks a picture of tiles (23008-12, 6.6.2.3).
func (p *heic) soundGrid(h Header) error {
	data, _ := p.index.bytesOf(p.item)
	c := cursor{b: data}
	c.number(1)
	size := idSize(c.number(1)&1 == 1)
	rows, columns := int(c.number(1))+1, int(c.number(1))+1
	w, high := int(c.number(size)), int(c.number(size))
	switch {
	case c.short:
		return unreadable(copyAgain, "the HEIC is cut short: it does not tell its tiles")
	case w != h.Width || high != h.Height:
		return unreadable(copyAgain, "the HEIC announces %d x %d pixels, its tiles %d x %d", h.Width, h.Height, w, high)
	case len(p.item.tiles) != rows*columns:
		return unreadable(copyAgain, "the HEIC has %d tiles; %d x %d are needed", len(p.item.tiles), columns, rows)
	}
	tileW, tileH := 0, 0
	for _, id := range p.item.tiles {
		tile := p.index.items[id]
		if tile == nil || tile.kind != "hvc1" {
			return unreadable(useOriginal, "a tile of the HEIC is missing or of a kind that is not read")
		}
		t := heic{index: p.index, id: id, item: tile}
		if !t.readGeometry() || tileW != 0 && (t.w != tileW || t.h != tileH) {
			return unreadable(copyAgain, "the tiles of the HEIC differ in size")
		}
		tileW, tileH = t.w, t.h
		if tileW*columns < w || tileW*(columns-1) >= w || tileH*rows < high || tileH*(rows-1) >= high {
			return unreadable(copyAgain, "%d x %d tiles of %d x %d pixels do not make the HEIC's %d x %d", columns, rows, tileW, tileH, w, high)
		}
		if err := t.soundCoded(tile, tileW, tileH); err != nil {
			return err
		}
	}
	return nil
}

// decodeHEIF is replaced where a machine without the library is tried.
var decodeHEIF = heif.Decode

// heicPixels decodes the picture as it is coded.
func heicPixels(b []byte, h Header) (gocv.Mat, error) {
	p, err := readHEIC(b)
	if err != nil {
		return gocv.Mat{}, err
	}
	mat := gocv.NewMatWithSize(h.Height, h.Width, gocv.MatTypeCV8UC3)
	room, err := mat.DataPtrUint8()
	if err == nil {
		err = decodeHEIF(b, p.id, room, h.Width, h.Height)
	}
	if err == nil {
		return mat, nil
	}
	_ = mat.Close() // its own error adds nothing
	var missing *heif.Missing
	var other *heif.OtherSize
	switch {
	case errors.As(err, &missing):
		return gocv.Mat{}, unreadable("install it (apt-get install "+missing.Package+"), or send the photo as JPEG",
			"the photo is a HEIC picture, and this machine has %v", err)
	case errors.As(err, &other):
		return gocv.Mat{}, unreadable(copyAgain, "the header says %d x %d pixels, the data %d x %d", h.Width, h.Height, other.Width, other.Height)
	}
	return gocv.Mat{}, unreadable(copyAgain, "the heic data cannot be decoded: %v", err)
}

// heicDecoder is "" on a machine without the library.
func heicDecoder() string {
	name, _ := heif.Decoder()
	return name
}
