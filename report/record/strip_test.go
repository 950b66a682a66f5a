package record

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/vision/photo"
)

// Published photos with EXIF of real phones lose where they were taken and keep
// what measuring reads; the picture is the same bit for bit.
func TestWithoutLocation(t *testing.T) {
	located := 0
	paths, _ := filepath.Glob(filepath.Join(testdata, "reference/exif/*.jpg"))
	more, _ := filepath.Glob(filepath.Join(testdata, "reference/orientation/*.jpg"))
	rendered, _ := filepath.Glob(filepath.Join(testdata, "photos/laminated-metric/roof-002.jpg"))
	for _, path := range append(append(paths, more...), rendered...) {
		data := mustRead(t, path)
		before := photo.ReadFacts(data)
		out, hash, err := withoutLocation(data)
		if err != nil {
			t.Logf("%s: refused: %v", filepath.Base(path), err)
			continue
		}
		if before.Location != nil {
			located++
		}
		after := photo.ReadFacts(out)
		if after.Location != nil || after.Device != "" || after.Taken != before.Taken || after.Focal35MM != before.Focal35MM || after.FocalMM != before.FocalMM || after.Orientation != before.Orientation {
			t.Errorf("%s: %+v became %+v", filepath.Base(path), before, after)
		}
		again, sameHash, err := withoutLocation(out)
		if err != nil || !bytes.Equal(again, out) || sameHash != hash {
			t.Errorf("%s: writing it anew twice differs: %v", filepath.Base(path), err)
		}
		a, errA := photo.Decode(data, photo.Options{})
		b, errB := photo.Decode(out, photo.Options{})
		if (errA == nil) != (errB == nil) {
			t.Errorf("%s: decodes %v before and %v after", filepath.Base(path), errA, errB)
		}
		if errA == nil && errB == nil && !samePixels(t, a, b) {
			t.Errorf("%s: another picture", filepath.Base(path))
		}
	}
	if located < 2 {
		t.Errorf("%d of the photos tell a location; too few to show anything", located)
	}
}

// samePixels compares grey levels and colours.
func samePixels(t *testing.T, a, b *photo.Picture) bool {
	t.Helper()
	x, errX := a.BGR()
	y, errY := b.BGR()
	if errX != nil || errY != nil {
		t.Fatal(errX, errY)
	}
	defer x.Close()
	defer y.Close()
	return bytes.Equal(a.Gray.ToBytes(), b.Gray.ToBytes()) && bytes.Equal(x.ToBytes(), y.ToBytes())
}

// secrets are put wherever a JPEG can hold them, and none comes through.
func TestNothingHidesInAPhoto(t *testing.T) {
	const secret = "N40 W100 at the barn"
	plain := picture(t, 90)
	segment := func(marker byte, body string) []byte {
		return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(body)+2)), body...)
	}
	data := append([]byte{}, plain[:2]...)
	data = append(data, segment(0xe0, "JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x02\x02"+secret)...) // a preview
	data = append(data, segment(0xe1, "http://ns.adobe.com/xap/1.0/\x00"+secret)...)
	data = append(data, segment(0xed, "Photoshop 3.0\x00"+secret)...)
	data = append(data, segment(0xfe, secret)...)
	data = append(data, segment(0xe2, "MPF\x00"+secret)...)
	data = append(append(data, plain[2:]...), secret...) // behind the picture
	out, _, err := withoutLocation(data)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(out, []byte("barn")) {
		t.Error("a secret came through")
	}
	if p, err := photo.Decode(out, photo.Options{}); err != nil || p.Width() != 48 {
		t.Errorf("the picture is gone: %v", err)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 48, 32))); err != nil {
		t.Fatal(err)
	}
	body := append([]byte("tEXt"), secret...)
	chunk := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(len(secret))), 0)[:4]
	chunk = binary.BigEndian.AppendUint32(append(chunk, body...), crc32.ChecksumIEEE(body))
	end := bytes.Index(b.Bytes(), []byte("IDAT")) - 4
	with := append(append(append([]byte{}, b.Bytes()[:end]...), chunk...), b.Bytes()[end:]...)
	out, _, err = withoutLocation(append(with, secret...))
	if err != nil || bytes.Contains(out, []byte("barn")) || !bytes.Equal(out, b.Bytes()) {
		t.Errorf("PNG: %v, %d bytes, want %d", err, len(out), b.Len())
	}
}

func TestOtherFormatsAreRefused(t *testing.T) {
	if _, _, err := withoutLocation([]byte("\x00\x00\x00\x18ftypheic")); err == nil || !strings.Contains(err.Error(), "JPEG and PNG photos alone") {
		t.Errorf("%v", err)
	}
}

// A version to hand over tells neither place nor device nor crew in any file, says
// so, and is sound by itself; its photos name their originals.
func TestHandOver(t *testing.T) {
	in := job(t)
	located := mustRead(t, filepath.Join(testdata, "reference/exif/gps-south.jpg"))
	mustWrite(t, filepath.Join(in.Photos, "north/IMG 1.jpg"), located)
	in.Document.Photos[1].SHA256 = hashOf(located)
	in.Decisions[0].Photo = hashOf(located)
	in.NoLocation, in.NoCrew = true, true
	path := filepath.Join(t.TempDir(), "r")
	m := mustMake(t, in, path)
	v := verdictOf(t, path, Options{})
	if len(v.Problems) > 0 || m.Rewritten != 1 || v.Contents.Photos[1].Original != hashOf(located) {
		t.Errorf("%d written anew\n%s", m.Rewritten, said(v))
	}
	for _, file := range filesIn(t, path) {
		data := mustRead(t, file)
		for _, word := range []string{"first crew", "example phone", "\"lat\""} {
			if bytes.Contains(data, []byte(word)) {
				t.Errorf("%s holds %q", file, word)
			}
		}
	}
	if f := photo.ReadFacts(mustRead(t, filepath.Join(path, "data/photos/north/IMG 1.jpg"))); f.Location != nil {
		t.Errorf("the photo tells %+v", f.Location)
	}
	if _, err := os.Stat(filepath.Join(path, "data/inspection/report.html")); err == nil {
		t.Error("the report, which tells all, is there")
	}
	page := string(mustRead(t, filepath.Join(path, "data/READ-ME.txt")))
	for _, words := range []string{"What was left out on purpose", "1 of 3 photos were written anew", "the names of the crews (1)", "report.html"} {
		if !strings.Contains(strings.Join(strings.Fields(page), " "), words) {
			t.Errorf("the page never says %q", words)
		}
	}
	if info := string(mustRead(t, filepath.Join(path, "bag-info.txt"))); strings.Count(info, "Coursegauge-Left-Out: ") != 4 {
		t.Errorf("%s", info)
	}
}

// A crew's name elsewhere is told, since it is not searched out of texts.
func TestCrewNamesElsewhere(t *testing.T) {
	in := job(t)
	in.NoCrew = true
	in.Decisions[0].Note = "by the First Crew"
	m := mustMake(t, in, filepath.Join(t.TempDir(), "r"))
	if len(m.Doubts) != 1 || !strings.Contains(m.Doubts[0], "holds the name of a crew") {
		t.Errorf("%q", m.Doubts)
	}
}

// Another picture put in place of one without location is found though the lists
// and record.json were written to fit it.
func TestRewrittenPictureIsHeld(t *testing.T) {
	a, hashA, err := withoutLocation(mustRead(t, filepath.Join(testdata, "reference/exif/gps-south.jpg")))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := PictureHash(a); err != nil || got != hashA {
		t.Errorf("%v", err)
	}
	if got, _ := PictureHash(picture(t, 9)); got == hashA {
		t.Error("another picture has the same hash")
	}
}

func FuzzStrip(f *testing.F) {
	f.Add([]byte{0xff, 0xd8, 0xff, 0xda, 0, 2, 1, 0xff, 0xd9})
	f.Add([]byte(pngMagic))
	f.Fuzz(func(t *testing.T, data []byte) {
		out, hash, err := withoutLocation(data)
		if err != nil {
			return
		}
		if f := photo.ReadFacts(out); f.Location != nil || f.Device != "" {
			t.Errorf("%+v is left", f)
		}
		if again, same, err := withoutLocation(out); err != nil || same != hash || !bytes.Equal(again, out) {
			t.Errorf("twice differs: %v", err)
		}
	})
}
