package record

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/inspection"
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
	data = append(data, segment(0xee, "Adobe\x00\x64\x00\x00\x00\x00\x01"+secret)...)
	data = append(data, segment(0xe2, "ICC_PROFILE\x00\x01\x01"+secret)...)
	data = append(data, segment(0xf3, secret)...)                                                // JPG, reserved
	data = append(data, segment(0xc8, secret)...)                                                // likewise
	data = append(data, segment(0xe0, "JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"+secret)...) // a second one
	body := plain[2 : len(plain)-2]
	data = append(data, body...)
	data = append(data, segment(0xfe, secret)...) // between the scan and the end
	data = append(data, segment(0xe5, secret)...)
	data = append(append(data, 0xff, 0xff, 0xd9), secret...) // behind the picture
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
	if !bytes.Contains(out, []byte("\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x01\xff")) {
		t.Error("the transform of the colours is gone")
	}
	if n := bytes.Count(out, []byte("\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00")); n != 1 || bytes.Count(out, []byte("JFIF")) != 1 {
		t.Errorf("%d segments of JFIF", n)
	}
	table := bytes.Index(plain, []byte{0xff, 0xdb})
	for name, bad := range map[string][]byte{
		"more in a table":                   slices.Concat(plain[:table], segment(0xdb, string(plain[table+4:table+2+int(binary.BigEndian.Uint16(plain[table+2:]))])+secret), plain[table+2+int(binary.BigEndian.Uint16(plain[table+2:])):]),
		"more in restarts":                  slices.Concat(plain[:2], segment(0xdd, "\x00\x00"+secret), plain[2:]),
		"more behind a table between scans": slices.Concat(plain[:len(plain)-2], segment(0xdd, "\x00\x00"), []byte(secret), plain[len(plain)-2:]),
		"no end":                            plain[:len(plain)-2],
	} {
		if out, _, err := withoutLocation(bad); err == nil {
			t.Errorf("%s: %d bytes", name, len(out))
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 48, 32))); err != nil {
		t.Fatal(err)
	}
	body = append([]byte("tEXt"), secret...)
	chunk := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(len(secret))), 0)[:4]
	chunk = binary.BigEndian.AppendUint32(append(chunk, body...), crc32.ChecksumIEEE(body))
	end := bytes.Index(b.Bytes(), []byte("IDAT")) - 4
	with := append(append(append([]byte{}, b.Bytes()[:end]...), chunk...), b.Bytes()[end:]...)
	out, _, err = withoutLocation(append(with, secret...))
	if err != nil || bytes.Contains(out, []byte("barn")) || !bytes.Equal(out, b.Bytes()) {
		t.Errorf("PNG: %v, %d bytes, want %d", err, len(out), b.Len())
	}
}

// Chunks of a PNG that have room for more than a picture, rows that it does not show and
// bytes behind its rows.
func TestNothingHidesInAPNG(t *testing.T) {
	var b bytes.Buffer
	m := image.NewGray(image.Rect(0, 0, 48, 32))
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	plain := b.Bytes()
	chunk := func(kind, data string) []byte {
		body := append([]byte(kind), data...)
		return binary.BigEndian.AppendUint32(append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), body...), crc32.ChecksumIEEE(body))
	}
	rows := func(n int, more string) string {
		var z bytes.Buffer
		w := zlib.NewWriter(&z)
		_, _ = w.Write(make([]byte, 49*n))
		_ = w.Close()
		return z.String() + more
	}
	head := plain[:8+25]
	adam7 := chunk("IHDR", "\x00\x00\x00\x03\x00\x00\x00\x02\x08\x00\x00\x00\x01")
	for _, c := range []struct {
		name string
		data []byte
		ok   bool
	}{
		{"as it is", plain, true},
		{"rows of its own", slices.Concat(head, chunk("IDAT", rows(32, "")), chunk("IEND", "")), true},
		{"in two pieces", slices.Concat(head, chunk("IDAT", rows(32, "")[:9]), chunk("IDAT", rows(32, "")[9:]), chunk("IEND", "")), true},
		{"a profile", slices.Concat(head, chunk("iCCP", "barn\x00\x00barn"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), true},
		// passes of a picture of 3 x 2: pixel (0,0); none; none; (2,0); none; (1,0); row 1
		{"in passes", slices.Concat(plain[:8], adam7, chunk("IDAT", passes(2+2+2+4)), chunk("IEND", "")), true},
		{"a row more in passes", slices.Concat(plain[:8], adam7, chunk("IDAT", passes(2+2+2+4+1)), chunk("IEND", "")), false},
		{"a row more", slices.Concat(head, chunk("IDAT", rows(33, "")), chunk("IEND", "")), false},
		{"a row less", slices.Concat(head, chunk("IDAT", rows(31, "")), chunk("IEND", "")), false},
		{"behind the rows", slices.Concat(head, chunk("IDAT", rows(32, "barn")), chunk("IEND", "")), false},
		{"a long gamma", slices.Concat(head, chunk("gAMA", "0123barn"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"two gammas", slices.Concat(head, chunk("gAMA", "0123"), chunk("gAMA", "barn"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"an end that holds bytes", slices.Concat(head, chunk("IDAT", rows(32, "")), chunk("IEND", "barn")), false},
		{"a palette of 256", slices.Concat(head, chunk("PLTE", strings.Repeat("x", 768)), chunk("IDAT", rows(32, "")), chunk("IEND", "")), true},
		{"a palette of more", slices.Concat(head, chunk("PLTE", strings.Repeat("x", 769)), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"chromaticities", slices.Concat(head, chunk("cHRM", strings.Repeat("x", 32)), chunk("tRNS", strings.Repeat("x", 256)), chunk("sBIT", "1234"), chunk("sRGB", "1"), chunk("cICP", "1234"), chunk("gAMA", "1234"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), true},
		{"long chromaticities", slices.Concat(head, chunk("cHRM", strings.Repeat("x", 33)), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"long transparency", slices.Concat(head, chunk("tRNS", strings.Repeat("x", 257)), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"long bits", slices.Concat(head, chunk("sBIT", "12345"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"a long space of colours", slices.Concat(head, chunk("sRGB", "12"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"a long code of colours", slices.Concat(head, chunk("cICP", "12345"), chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
		{"a checksum of its own", append(bytes.Clone(plain[:len(plain)-4]), "barn"...), false},
		{"no header", slices.Concat(plain[:8], chunk("IDAT", rows(32, "")), chunk("IEND", "")), false},
	} {
		out, _, err := withoutLocation(c.data)
		if (err == nil) != c.ok || bytes.Contains(out, []byte("barn")) {
			t.Errorf("%s: %v, %d bytes", c.name, err, len(out))
		}
	}
}

func passes(n int) string {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	_, _ = w.Write(make([]byte, n))
	_ = w.Close()
	return z.String()
}

// A photo that cannot be written anew does not hold up the record: it is left out, and
// the record, its page and verify say so.
func TestPhotoThatCannotBeWrittenAnew(t *testing.T) {
	in := job(t)
	mustWrite(t, filepath.Join(in.Photos, "Straße.jpg"), []byte("noise"))
	in.Document.Photos[0].SHA256 = hashOf([]byte("noise"))
	in.NoLocation = true
	path := filepath.Join(t.TempDir(), "r")
	m := mustMake(t, in, path)
	if len(m.Contents.Photos) != 2 || len(m.Contents.Omitted) != 1 || m.Contents.Omitted[0].File != "Straße.jpg" {
		t.Errorf("%+v", m.Contents)
	}
	v := verdictOf(t, path, Options{})
	if len(v.Problems) > 0 || !slices.Contains(v.Unchecked, "1 photo that was left out on purpose") {
		t.Errorf("%q\n%s", v.Unchecked, said(v))
	}
	if page := flat(t, path); !strings.Contains(page, "the photo Straße.jpg: it cannot be written anew without its location") {
		t.Errorf("%s", page)
	}
}

// flat is the plain page of a record on one line.
func flat(t *testing.T, record string) string {
	t.Helper()
	return strings.Join(strings.Fields(string(mustRead(t, filepath.Join(record, "data/READ-ME.txt")))), " ")
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
	page := flat(t, path)
	for _, words := range []string{"What was left out on purpose", "1 of 3 photos were written anew", "the names of the crews (1)", "report.html", "3 files (most are JPEG, which any program that shows pictures opens): 2 byte for byte as the cameras made them, 1 written anew", "Of 3 photos in this record 2 are byte for byte those that were inspected; 1 were written anew"} {
		if !strings.Contains(page, words) {
			t.Errorf("the page never says %q", words)
		}
	}
	if info := string(mustRead(t, filepath.Join(path, "bag-info.txt"))); strings.Count(info, "Coursegauge-Left-Out: ") != 4 {
		t.Errorf("%s", info)
	}
}

// The names of crews are nowhere in the record: not as who decided, in notes, in names
// of files and folders, in the table, in the plain page. The same crew has the same
// pseudonym everywhere.
func TestCrewNamesAreReplaced(t *testing.T) {
	in := job(t)
	in.NoCrew = true
	in.CrewNames = []string{"Quiet Hands", "zeta"}
	d := &in.Document
	d.Schedule.Title = "South slope, by QUIET HANDS"
	for i := range d.Photos {
		p := &d.Photos[i]
		was := p.File
		p.Crew, p.File = "quiet hands", "quiet_hands/"+filepath.Base(was)
		p.Checks = []inspection.Check{{Name: "crew", Text: "crew Quiet Hands, though zeta too"}}
		mustWrite(t, filepath.Join(in.Photos, p.File), mustRead(t, filepath.Join(in.Photos, was)))
	}
	in.Decisions[0].Who, in.Decisions[0].Note, in.Decisions[0].File = "Quiet-Hands", "QuietHands, quiet hands and Zeta looked", "quiet_hands/IMG 1.jpg"
	in.Decisions[1].Target, in.Decisions[1].Who = "head/77", "zeta" // of an earlier inspection
	in.Schedule.Name, in.Crews = "quiet hands.yaml", &NamedFile{"crews.yaml", []byte("cards: {1: Quiet Hands}")}
	path := filepath.Join(t.TempDir(), "r")
	m := mustMake(t, in, path)
	if len(m.Doubts) > 0 {
		t.Errorf("left: %q", m.Doubts)
	}
	for _, file := range filesIn(t, path) {
		name := strings.TrimPrefix(file, path)
		if text := strings.ToLower(name + string(mustRead(t, file))); strings.Contains(text, "hands") || strings.Contains(text, "zeta") {
			t.Errorf("%s holds a name", name)
		}
	}
	v := verdictOf(t, path, Options{})
	if len(v.Problems) > 0 {
		t.Errorf("%s", said(v))
	}
	if p := v.Document.Photos[0]; p.Crew != "crew 1" || !strings.HasPrefix(p.File, "crew 1/") || v.Contents.Title != "South slope, by crew 1" {
		t.Errorf("%q, %q, %q", p.Crew, p.File, v.Contents.Title)
	}
	if page := flat(t, path); !strings.Contains(page, "crew 1, crew 1 and crew 2 looked") {
		t.Errorf("%s", page)
	}
}

// What cannot be replaced, the schedule's own text or a word of a name, is told.
func TestCrewNamesThatAreLeft(t *testing.T) {
	for name, change := range map[string]func(in *Input){
		"the schedule": func(in *Input) {
			in.Schedule.Data = append(in.Schedule.Data, "# for Quiet Hands\n"...)
			in.Document.Schedule.SHA256 = hashOf(in.Schedule.Data)
		},
		"a word of it":       func(in *Input) { in.Decisions[0].Note = "Hands looked" },
		"a word of it alone": func(in *Input) { in.Decisions[0].Who = "J. Quiet" },
		"a word of it in a photo": func(in *Input) {
			in.CrewNames = []string{"Quieter Hands"}
			data := mustRead(t, filepath.Join(in.Photos, in.Document.Photos[0].File))
			data = append(data, "by QUIETER, who has hands"...)
			mustWrite(t, filepath.Join(in.Photos, in.Document.Photos[0].File), data)
			in.Document.Photos[0].SHA256 = hashOf(data)
		},
		"a photo": func(in *Input) {
			data := mustRead(t, filepath.Join(in.Photos, in.Document.Photos[0].File))
			data = append(data, "by quiet hands"...)
			mustWrite(t, filepath.Join(in.Photos, in.Document.Photos[0].File), data)
			in.Document.Photos[0].SHA256 = hashOf(data)
		},
	} {
		in := job(t)
		in.NoCrew, in.CrewNames = true, []string{"Quiet Hands"}
		change(&in)
		in.Document.Photos = slices.Clone(in.Document.Photos)
		for i := range in.Document.Photos {
			in.Document.Photos[i].Crew = ""
		}
		m := mustMake(t, in, filepath.Join(t.TempDir(), "r"))
		if name == "a word of it in a photo" && len(m.Doubts) != 1 {
			t.Errorf("%s: %q; words of fewer than six letters stand in pictures by chance", name, m.Doubts)
		}
		if len(m.Doubts) == 0 || !strings.Contains(m.Doubts[0], "of a crew's name") {
			t.Errorf("%s: %q", name, m.Doubts)
		}
	}
}

func TestPseudonyms(t *testing.T) {
	if words := newPseudonyms([]string{"First Crew", "Ann Quiet", "Loud roofing"}).words; !slices.Equal(words, []string{"quiet", "loud"}) {
		t.Errorf("words that tell a crew: %q", words)
	}
	p := newPseudonyms([]string{"Red", "red team", "A&B (north)", "", "--"})
	for _, c := range []struct{ in, want string }{
		{"red", "crew 2"}, {"RED TEAM", "crew 3"}, {"red_team", "crew 3"}, {"hundred", "hundred"}, {"reduce", "reduce"}, {"red red, red", "crew 2 crew 2, crew 2"},
		{"a b north", "crew 1"}, {"crew 1", "crew 1"}, {"", ""},
	} {
		if got := p.replace(c.in); got != c.want {
			t.Errorf("%q: %q, want %q", c.in, got, c.want)
		}
	}
}

// Names of photos and folders that read as coordinates, or hold those of the photo, are
// replaced in the photos' paths, the inspection and the decisions.
func TestPlacesInNames(t *testing.T) {
	for _, c := range []struct {
		name  string
		tells bool
	}{
		{"IMG_0001", false}, {"20260504_103000", false}, {"lot 7, south slope", false}, {"roof-002", false}, {"PXL_20260504_103000123", false}, {"DSC00012", false}, {"north", false}, {"2026.05.04 10.30.00", false},
		{"40.7128,-74.0060", true}, {"at 40,7128", true}, {"N40 42 46 W74 0 21", true}, {"n40_42_46", true}, {"N40.71", true}, {"40 42 46 N 74 0 21 W", true}, {"40°42", true}, {"86HF+2XQ", true}, {"87G8Q23F+GM", true},
	} {
		if got := tellsPlace(c.name); got != c.tells {
			t.Errorf("%q: %v", c.name, got)
		}
	}
	in := job(t)
	in.NoLocation = true
	for i, name := range []string{"a.jpg", "40.7128,-74.0060/N40 42 46.jpg", "at 40.00.jpg"} { // the last has the latitude that it tells
		p := &in.Document.Photos[i]
		mustWrite(t, filepath.Join(in.Photos, name), mustRead(t, filepath.Join(in.Photos, p.File)))
		for k := range in.Decisions {
			if in.Decisions[k].File == p.File {
				in.Decisions[k].File = name
			}
		}
		p.File = name
	}
	in.Decisions = append(in.Decisions, in.Decisions[0])
	in.Decisions[2].Target, in.Decisions[2].File = "head/77", "earlier 40.7128.jpg"
	in.Decisions[0].Note = "seen at 40.7128, -74.0060, near the ridge"
	in.Document.NotDone = []string{"40.7128,-74.0060.jpg", "z.jpg"}
	path := filepath.Join(t.TempDir(), "r")
	m := mustMake(t, in, path)
	if page := flat(t, path); !strings.Contains(page, "note: seen at (a place, left out) ") || !strings.Contains(page, "near the ridge") {
		t.Errorf("%s", page)
	}
	if stopped := flat(t, path); !strings.Contains(stopped, "* a photo that was not done (1) * z.jpg") {
		t.Errorf("%s", stopped)
	}
	var names []string
	for _, p := range m.Contents.Photos {
		names = append(names, p.File, p.Path)
	}
	want := []string{"a.jpg", "photos/a.jpg", "folder/photo-2.jpg", "photos/folder/photo-2.jpg", "photo-3.jpg", "photos/photo-3.jpg"}
	if !slices.Equal(names, want) || !slices.ContainsFunc(m.Contents.LeftOut, func(s string) bool { return strings.Contains(s, "the names of 2 photos") }) {
		t.Errorf("%q, left out %q", names, m.Contents.LeftOut)
	}
	for _, file := range filesIn(t, path) {
		if text := strings.TrimPrefix(file, path) + string(mustRead(t, file)); strings.Contains(text, "40.7128") || strings.Contains(text, "40 42 46") || strings.Contains(text, "at 40.00") {
			t.Errorf("%s tells the place", file)
		}
	}
	if v := verdictOf(t, path, Options{}); len(v.Problems) > 0 {
		t.Errorf("%s", said(v))
	}
}

// Another picture put in place of one without location is found though the lists
// and record.json were written to fit it.
func TestRewrittenPictureIsHeld(t *testing.T) {
	a, hashA, err := withoutLocation(mustRead(t, filepath.Join(testdata, "reference/exif/gps-south.jpg")))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := pictureHash(a); err != nil || got != hashA {
		t.Errorf("%v", err)
	}
	if got, _ := pictureHash(picture(t, 9)); got == hashA {
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

// The smallest and largest sound segments of a JPEG are taken for sound, one byte less
// or more is not (T.81, B.2).
func TestWholeTables(t *testing.T) {
	zeros := func(n int) string { return strings.Repeat("\x00", n) }
	for _, c := range []struct {
		name   string
		marker byte
		body   string
		ok     bool
	}{
		{"8-bit table", 0xdb, "\x00" + zeros(64), true},
		{"16-bit table", 0xdb, "\x10" + zeros(128), true},
		{"two tables", 0xdb, "\x00" + zeros(64) + "\x11" + zeros(128), true},
		{"precision 2", 0xdb, "\x20" + zeros(192), false},
		{"a byte less", 0xdb, "\x00" + zeros(63), false},
		{"a byte more", 0xdb, "\x00" + zeros(65), false},
		{"codes", 0xc4, "\x00\x01" + zeros(15) + "\x05", true},
		{"no codes", 0xc4, zeros(17), true},
		{"two lists of codes", 0xc4, zeros(17) + "\x10\x02" + zeros(15) + "\x05\x06", true},
		{"a code less", 0xc4, "\x00\x02" + zeros(15) + "\x05", false},
		{"a code more", 0xc4, "\x00\x01" + zeros(15) + "\x05\x06", false},
		{"arithmetic", 0xcc, "\x00\x01", true},
		{"arithmetic, odd", 0xcc, "\x00\x01\x02", false},
		{"restarts", 0xdd, "\x00\x08", true},
		{"restarts, short", 0xdd, "\x00", false},
		{"scan of one", 0xda, "\x01\x01\x00\x00\x3f\x00", true},
		{"scan, a byte more", 0xda, "\x01\x01\x00\x00\x3f\x00\x00", false},
		{"scan, empty", 0xda, "", false},
		{"frame of one", 0xc0, "\x08\x00\x10\x00\x10\x01\x01\x11\x00", true},
		{"frame, a byte more", 0xc0, "\x08\x00\x10\x00\x10\x01\x01\x11\x00\x00", false},
		{"frame, cut", 0xc0, "\x08\x00\x10\x00\x10", false},
	} {
		if got := wholeTable(c.marker, []byte(c.body)); got != c.ok {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	for marker := range 256 {
		want := strings.ContainsRune("\u00c0\u00c1\u00c2\u00c3\u00c4\u00c5\u00c6\u00c7\u00c9\u00ca\u00cb\u00cc\u00cd\u00ce\u00cf\u00da\u00db\u00dd", rune(marker))
		if got := decodes(byte(marker)); got != want {
			t.Errorf("marker %02X: %v", marker, got)
		}
	}
}

// Empty segments and fill bytes are sound, and do not come through.
func TestEmptySegments(t *testing.T) {
	plain := picture(t, 90)
	with := slices.Concat(plain[:2], []byte{0xff, 0xfe, 0, 2, 0xff, 0xff, 0xff, 0xe9, 0, 2}, plain[2:len(plain)-2], []byte{0xff, 0xfe, 0, 2, 0xff, 0xff, 0xd9})
	a, _, errA := withoutLocation(plain)
	b, _, errB := withoutLocation(with)
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("%v, %v, equal %v", errA, errB, bytes.Equal(a, b))
	}
	// a marker right behind a stuffed byte and behind a restart (T.81, B.1.1.5)
	for _, coded := range []string{"\xff\x00\xff\xd9", "\x05\xff\xd7\xff\xd9", "\xff\xd0\xff\x00\xff\xd9"} {
		if out, err := stripScans([]byte("scan:"), []byte(coded+"behind"), 0); err != nil || string(out) != "scan:"+coded {
			t.Errorf("%q: %q, %v", coded, out, err)
		}
	}
	// the number of lines (T.81, B.2.5) is kept when it is no more than that
	for between, want := range map[string]string{"\xff\xdc\x00\x04\x00\x20": "\xff\xdc\x00\x04\x00\x20", "\xff\xdc\x00\x05\x00\x20x": "", "\xff\xdc\x00\x03\x00": ""} {
		if out, err := stripScans([]byte("scan:"), []byte("\x05"+between+"\xff\xd9"), 0); err != nil || string(out) != "scan:\x05"+want+"\xff\xd9" {
			t.Errorf("%q: %q, %v", between, out, err)
		}
	}
	for name, bad := range map[string][]byte{
		"a length of one": slices.Concat(plain[:2], []byte{0xff, 0xfe, 0, 1}, plain[2:]), "cut in a segment": plain[:9], "ends in fill": slices.Concat(plain[:len(plain)-2], []byte{0xff, 0xff, 0xff}),
		"an end before the scan": slices.Concat(plain[:2], []byte{0xff, 0xd9, 0, 2}, plain[2:]),
	} {
		if _, _, err := withoutLocation(bad); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// What the clock and the lens told is written as EXIF and read again.
func TestEXIFOfFacts(t *testing.T) {
	for _, f := range []photo.Facts{
		{Orientation: 1}, {Orientation: 2}, {Orientation: 8, Taken: "2026-05-04T10:00:00-07:00"}, {Orientation: 1, Taken: "2026-05-04T10:00:00Z"}, {Orientation: 1, Taken: "2026-05-04T10:00:00"},
		{Orientation: 6, FocalMM: 4.38, Focal35MM: 26, DigitalZoom: 1.25, SensorW: 4032, SensorH: 3024}, {Orientation: 1, FocalMM: 1.0 / 3},
	} {
		data := picture(t, 20)
		out := slices.Concat(data[:2], segmentOf(exifOf(f)), data[2:])
		if got := photo.ReadFacts(out); got != f {
			t.Errorf("%+v became %+v", f, got)
		}
	}
	if exifOf(photo.Facts{Orientation: 1}) != nil {
		t.Error("EXIF that says nothing")
	}
	for v, want := range map[float64][2]uint32{4.38: {219, 50}, 2: {2, 1}, 0.5: {1, 2}, 1.25: {5, 4}} {
		got := exifRatio(0x920a, v)
		if num, den := binary.LittleEndian.Uint32(got.value), binary.LittleEndian.Uint32(got.value[4:]); num != want[0] || den != want[1] {
			t.Errorf("%g is %d/%d, want %d/%d", v, num, den, want[0], want[1])
		}
	}
	// values begin at even places (TIFF 6.0, section 2)
	texts := exifDirectory(nil, []exifField{exifText(1, "abcd"), exifText(2, "abcdef"), exifText(3, "abcdefgh")})
	for at := 2; at < 2+3*12; at += 12 {
		if offset := binary.LittleEndian.Uint32(texts[at+8:]); offset%2 != 0 || texts[offset] != 'a' {
			t.Errorf("entry at %d: its value is at %d", at, offset)
		}
	}
	// a header, a directory of two entries and an empty one: nothing is written that is not known
	if n := len(exifOf(photo.Facts{Orientation: 2})); n != 8+(2+2*12+4)+(2+4) {
		t.Errorf("an orientation alone takes %d bytes", n)
	}
}

// PNG of every kind of colour and depth is taken, whatever its width.
func TestKindsOfPNG(t *testing.T) {
	for kind, samples := range map[byte]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4} {
		for _, depth := range []int{1, 2, 4, 8, 16} {
			for _, w := range []int{1, 7, 8, 9} {
				ihdr := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(w)), 3)
				ihdr = append(ihdr, byte(depth), kind, 0, 0, 0)
				row := 1 + (w*samples*depth+7)/8
				for more, want := range map[int]bool{0: true, 1: false, -1: false} {
					kept := slices.Concat(binary.BigEndian.AppendUint32(nil, 13), []byte("IHDR"), ihdr)
					if err := nothingBehindPixels(kept, []byte(passes(3*row+more))); (err == nil) != want {
						t.Errorf("kind %d, %d bits, %d wide, %d bytes more: %v", kind, depth, w, more, err)
					}
				}
			}
		}
	}
}

// A PNG without a size, of a size that no camera has, or of a kind of colour that does
// not exist is not taken.
func TestSizesOfPNG(t *testing.T) {
	for _, c := range []struct {
		w, h, depth, kind int
		ok                bool
	}{
		{1, 1, 8, 0, true}, {0, 1, 8, 0, false}, {1, 0, 8, 0, false}, {1<<20 + 1, 0, 8, 0, false}, {0, 1<<20 + 1, 8, 0, false}, {1, 1, 0, 0, false}, {1, 1, 8, 5, false}, {1, 1, 17, 6, false},
	} {
		kept := slices.Concat([]byte{0, 0, 0, 13}, []byte("IHDR"), binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(c.w)), uint32(c.h)), []byte{byte(c.depth), byte(c.kind), 0, 0, 0})
		rows := 0
		if c.w > 0 && c.h > 0 {
			rows = c.h * (1 + (c.w*c.depth*map[int]int{0: 1, 6: 4}[c.kind]+7)/8)
		}
		if err := nothingBehindPixels(kept, []byte(passes(rows))); (err == nil) != c.ok {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

// The rows of the seven passes of Adam7 (ISO/IEC 15948, 8.2), worked out by hand, 8 bits grey.
func TestPassesOfPNG(t *testing.T) {
	for _, c := range []struct{ w, h, bytes int }{
		{8, 8, 2 + 2 + 3 + 2*3 + 2*5 + 4*5 + 4*9}, {5, 5, 2 + 2 + 3 + 2*2 + 4 + 3*3 + 2*6}, {1, 1, 2}, {1, 2, 2 + 2}, {4, 1, 2 + 2 + 3},
	} {
		for more, want := range map[int]bool{0: true, 1: false, -1: false} {
			kept := slices.Concat([]byte{0, 0, 0, 13}, []byte("IHDR"), binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(c.w)), uint32(c.h)), []byte{8, 0, 0, 0, 1})
			if err := nothingBehindPixels(kept, []byte(passes(c.bytes+more))); (err == nil) != want {
				t.Errorf("%+v, %d bytes more: %v", c, more, err)
			}
		}
	}
}
