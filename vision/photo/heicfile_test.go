package photo

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// HEIC files are put together here box by box, around pictures coded by
// heif-enc (Debian: libheif-examples), so that every property can be set as a
// phone would and as an attacker would.

var be = binary.BigEndian

func boxOf(kind string, parts ...[]byte) []byte {
	data := bytes.Join(parts, nil)
	return append(append(be.AppendUint32(nil, uint32(8+len(data))), kind...), data...)
}

// fullBoxOf has a version and flags before its data.
func fullBoxOf(kind string, version byte, flags uint32, parts ...[]byte) []byte {
	return boxOf(kind, append([][]byte{be.AppendUint32(nil, uint32(version)<<24|flags)}, parts...)...)
}

func u16(v int) []byte { return be.AppendUint16(nil, uint16(v)) }
func u32(v int) []byte { return be.AppendUint32(nil, uint32(v)) }

func ispe(w, h int) []byte      { return fullBoxOf("ispe", 0, 0, u32(w), u32(h)) }
func irot(leftTurns int) []byte { return boxOf("irot", []byte{byte(leftTurns)}) }
func imir(axis int) []byte      { return boxOf("imir", []byte{byte(axis)}) }

// itemOf is one item of a file to be; its number is its place, from 1.
type itemOf struct {
	kind       string
	data       []byte
	properties [][]byte
	tiles      []int // iref dimg
	describes  []int // iref cdsc
	inIndex    bool  // the data lie in the index, as phones keep a grid's
	pieces     int   // the data lie in so many places, one when 0
}

// heicOf is a file whose first item is the picture.
func heicOf(items ...itemOf) []byte {
	var iinf, iref, ipco, ipma []byte
	properties := 0
	for i, it := range items {
		id := u16(i + 1)
		iinf = append(iinf, fullBoxOf("infe", 2, 0, id, u16(0), []byte(it.kind), []byte{0})...)
		for kind, to := range map[string][]int{"dimg": it.tiles, "cdsc": it.describes} {
			if len(to) > 0 {
				data := append(id[:2:2], u16(len(to))...)
				for _, n := range to {
					data = append(data, u16(n)...)
				}
				iref = append(iref, boxOf(kind, data)...)
			}
		}
		ipma = append(ipma, id...)
		ipma = append(ipma, byte(len(it.properties)))
		for _, p := range it.properties {
			ipco = append(ipco, p...)
			properties++
			ipma = append(ipma, u16(properties)...)
		}
	}
	meta := func(base int) []byte {
		places, idat, _ := placesOf(items, base)
		return fullBoxOf("meta", 0, 0,
			fullBoxOf("hdlr", 0, 0, u32(0), []byte("pict"), make([]byte, 13)),
			fullBoxOf("pitm", 0, 0, u16(1)),
			fullBoxOf("iinf", 0, 0, u16(len(items)), iinf),
			fullBoxOf("iref", 0, 0, iref),
			boxOf("iprp", boxOf("ipco", ipco), fullBoxOf("ipma", 0, 1, u32(len(items)), ipma)),
			boxOf("idat", idat),
			fullBoxOf("iloc", 1, 0, []byte{0x44, 0x00}, u16(len(items)), places))
	}
	_, _, mdat := placesOf(items, 0)
	ftyp := boxOf("ftyp", []byte("heic"), u32(0), []byte("mif1heic"))
	base := len(ftyp) + len(meta(0)) + 8
	return bytes.Join([][]byte{ftyp, meta(base), boxOf("mdat", mdat)}, nil)
}

// placesOf lays out the data of items, in the index or from base on in the
// file, and gives the entries of iloc that tell so.
func placesOf(items []itemOf, base int) (places, idat, mdat []byte) {
	for i, it := range items {
		room, start, method := &mdat, base, 0
		if it.inIndex {
			room, start, method = &idat, 0, 1
		}
		pieces := max(1, it.pieces)
		places = bytes.Join([][]byte{places, u16(i + 1), u16(method), u16(0), u16(pieces)}, nil)
		for n := range pieces {
			piece := it.data[len(it.data)*n/pieces : len(it.data)*(n+1)/pieces]
			places = append(append(places, u32(start+len(*room))...), u32(len(piece))...)
			*room = append(*room, piece...)
			if n+1 < pieces {
				*room = append(*room, "between"...)
			}
		}
	}
	return places, idat, mdat
}

// coded is one picture as HEVC.
type coded struct {
	hvcC, data []byte
	w, h       int
}

func (c coded) item(properties ...[]byte) itemOf {
	return itemOf{kind: "hvc1", data: c.data, properties: append([][]byte{boxOf("hvcC", c.hvcC), ispe(c.w, c.h)}, properties...)}
}

// exifItem is the EXIF of picture 1, with so many bytes before its body.
func exifItem(body []byte, skip int) itemOf {
	return itemOf{kind: "Exif", data: bytes.Join([][]byte{u32(skip), make([]byte, skip), body}, nil), describes: []int{1}}
}

// heifEnc runs the encoder on a picture; where there is none, the test is
// skipped, except in continuous integration, which installs it.
func heifEnc(t testing.TB, picture []byte, ending string, flags ...string) []byte {
	t.Helper()
	tool, err := exec.LookPath("heif-enc")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("no heif-enc here: apt-get install libheif-examples")
		}
		t.Skip("no heif-enc here to make a HEIC with: apt-get install libheif-examples")
	}
	in, out := filepath.Join(t.TempDir(), "in"+ending), filepath.Join(t.TempDir(), "out.heic")
	if err := os.WriteFile(in, picture, 0o600); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"-p", "preset=ultrafast", "-q", "92", "-o", out, in}, flags...)
	if said, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
		t.Fatalf("heif-enc: %v: %s", err, said)
	}
	return readFile(t, out)
}

// encodeHEVC codes a PNG or JPEG and takes the coded picture out of the file.
func encodeHEVC(t testing.TB, picture []byte, flags ...string) coded {
	t.Helper()
	ending := ".png"
	if bytes.HasPrefix(picture, jpegStart) {
		ending = ".jpg"
	}
	p, err := readHEIC(heifEnc(t, picture, ending, flags...))
	if err != nil {
		t.Fatal(err)
	}
	data, ok := p.index.bytesOf(p.item)
	if !ok {
		t.Fatal("the encoder's own file is cut short")
	}
	return coded{p.item.property("hvcC"), data, p.w, p.h}
}

// gridOf puts tiles of one size together, row by row.
func gridOf(tiles []coded, columns, w, h int, properties ...[]byte) []itemOf {
	rows := len(tiles) / columns
	grid := itemOf{kind: "grid", inIndex: true, data: bytes.Join([][]byte{{0, 0, byte(rows - 1), byte(columns - 1)}, u16(w), u16(h)}, nil),
		properties: append([][]byte{ispe(w, h)}, properties...)}
	items := []itemOf{grid}
	for i, c := range tiles {
		items = append(items, c.item())
		items[0].tiles = append(items[0].tiles, i+2)
	}
	return items
}
