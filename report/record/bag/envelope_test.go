package bag

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"hash/crc32"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// rawFile is a file of an archive that is put together byte by byte: the fields of its
// entry in the index, and where they differ those before its bytes.
type rawFile struct {
	name, localName                 string
	host                            byte
	needs, flags, method            uint16
	time, date, disk                uint16
	crc                             uint32
	packed, size                    uint32
	attributes                      uint32
	data, extra, localExtra         []byte
	before, behind                  []byte // bytes around it
	comment                         string
	localFlags, localMethod         uint16
	localTime, localNeeds           uint16
	localCRC, localPacked, localLen uint32
	moved                           int    // its place in the index less the true one
	localSign                       uint32 // added to the true one
}

// rawArchive is such an archive.
type rawArchive struct {
	files                      []rawFile
	beforeIndex, afterIndex    []byte
	behind                     []byte
	comment                    string
	count, total, disk, atDisk int // added to the true ones
	at, size                   int
}

// rawBag is the small bag, stored.
func rawBag(t testing.TB) *rawArchive {
	t.Helper()
	dir := t.TempDir()
	small(t, filepath.Join(dir, "r"))
	z := &rawArchive{}
	root := os.DirFS(dir)
	err := fs.WalkDir(root, "r", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(root, path)
		z.files = append(z.files, stored(path, data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func stored(name string, data []byte) rawFile {
	f := rawFile{name: name, localName: name, host: 3, needs: 20, localNeeds: 20, date: 1<<5 | 1, attributes: 0o100644 << 16}
	f.put(data, 0)
	return f
}

// put gives the file its bytes.
func (f *rawFile) put(data []byte, method uint16) {
	f.data, f.method, f.localMethod = data, method, method
	if method == 8 {
		var b bytes.Buffer
		w, _ := flate.NewWriter(&b, flate.BestSpeed)
		_, _ = w.Write(data)
		_ = w.Close()
		f.data = b.Bytes()
	}
	f.crc, f.packed, f.size = crc32.ChecksumIEEE(data), uint32(len(f.data)), uint32(len(data))
	f.localCRC, f.localPacked, f.localLen = f.crc, f.packed, f.size
}

// file is the file of that name.
func (z *rawArchive) file(name string) *rawFile {
	return &z.files[slices.IndexFunc(z.files, func(f rawFile) bool { return f.name == name })]
}

func (f rawFile) local() []byte {
	le := binary.LittleEndian
	b := le.AppendUint32(nil, localSignature+f.localSign)
	for _, v := range []uint16{f.localNeeds, f.localFlags, f.localMethod, f.localTime, f.date} {
		b = le.AppendUint16(b, v)
	}
	for _, v := range []uint32{f.localCRC, f.localPacked, f.localLen} {
		b = le.AppendUint32(b, v)
	}
	b = le.AppendUint16(le.AppendUint16(b, uint16(len(f.localName))), uint16(len(f.localExtra)))
	return slices.Concat(b, []byte(f.localName), f.localExtra, f.data)
}

func (f rawFile) entry(at int) []byte {
	le := binary.LittleEndian
	b := append(le.AppendUint32(nil, indexSignature), 20, f.host)
	for _, v := range []uint16{f.needs, f.flags, f.method, f.time, f.date} {
		b = le.AppendUint16(b, v)
	}
	for _, v := range []uint32{f.crc, f.packed, f.size} {
		b = le.AppendUint32(b, v)
	}
	for _, v := range []uint16{uint16(len(f.name)), uint16(len(f.extra)), uint16(len(f.comment)), f.disk, 0} {
		b = le.AppendUint16(b, v)
	}
	b = le.AppendUint32(le.AppendUint32(b, f.attributes), uint32(at+f.moved))
	return slices.Concat(b, []byte(f.name), f.extra, []byte(f.comment))
}

func (z *rawArchive) bytes() []byte {
	le := binary.LittleEndian
	var out, index []byte
	for _, f := range z.files {
		out = append(out, f.before...)
		at := len(out)
		out = append(append(out, f.local()...), f.behind...)
		index = append(index, f.entry(at)...)
	}
	out = append(out, z.beforeIndex...)
	at := len(out)
	out = append(append(out, index...), z.afterIndex...)
	out = le.AppendUint32(out, endSignature)
	for _, v := range []int{z.disk, z.atDisk, len(z.files) + z.count, len(z.files) + z.total} {
		out = le.AppendUint16(out, uint16(v))
	}
	out = le.AppendUint32(le.AppendUint32(out, uint32(len(index)+z.size)), uint32(at+z.at))
	out = le.AppendUint16(out, uint16(len(z.comment)))
	return slices.Concat(out, []byte(z.comment), z.behind)
}

// extraField is one extra field.
func extraField(id uint16, data string) []byte {
	return append(binary.LittleEndian.AppendUint16(binary.LittleEndian.AppendUint16(nil, id), uint16(len(data))), data...)
}

// unicodePath is the extra field 0x7075 by which a program gives a file another name
// (APPNOTE.TXT, 4.6.9): version 1, the checksum of the name that it stands for, the name.
func unicodePath(of, name string) []byte {
	return extraField(0x7075, string(append(binary.LittleEndian.AppendUint32([]byte{1}, crc32.ChecksumIEEE([]byte(of))), name...)))
}

// Ways to make an archive mean two things, or hold more than it lists. Each is a
// problem, of a record as of any bag.
var envelopes = []struct {
	name   string
	change func(z *rawArchive)
	words  string
}{
	{"local name", func(z *rawArchive) { z.file("r/data/a.jpg").localName = "r/data/x.exe" }, "is called r/data/x.exe where it lies"},
	{"local name, longer", func(z *rawArchive) { z.file("r/data/a.jpg").localName = "../evil" }, "is called ../evil where it lies"},
	{"local name, cut by a zero", func(z *rawArchive) { z.file("r/data/a.jpg").localName = "r/data/a.jpg\x00.exe" }, "where it lies"},
	{"both names with a zero", func(z *rawArchive) {
		f := z.file("r/data/a.jpg")
		f.name, f.localName = "r/data/a.jpg\x00.exe", "r/data/a.jpg\x00.exe"
	}, "invisible"},
	{"local signature", func(z *rawArchive) { z.file("r/data/a.jpg").localSign = 1 }, "does not lie where"},
	{"local flags", func(z *rawArchive) { z.file("r/data/a.jpg").localFlags = flagUTF8 }, "described otherwise"},
	{"local method", func(z *rawArchive) { z.file("r/data/a.jpg").localMethod = 8 }, "described otherwise"},
	{"local time", func(z *rawArchive) { z.file("r/data/a.jpg").localTime = 77 }, "described otherwise"},
	{"local version", func(z *rawArchive) { z.file("r/data/a.jpg").localNeeds = 63 }, "described otherwise"},
	{"local checksum", func(z *rawArchive) { z.file("r/data/a.jpg").localCRC++ }, "another size or checksum where it lies"},
	{"local packed size", func(z *rawArchive) { z.file("r/data/a.jpg").localPacked-- }, "another size or checksum where it lies"},
	{"local size", func(z *rawArchive) { z.file("r/data/a.jpg").localLen-- }, "another size or checksum where it lies"},
	{"index checksum", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.crc++; f.localCRC++ }, "its checksum in the archive is another"},
	{"index size", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.size--; f.localLen-- }, "stored as it is, and yet in another size"},
	{"hidden entry in front", func(z *rawArchive) { z.files[0].before = stored("r/data/hidden", []byte("x")).local() }, "lies at byte 44 of the archive and not at 0"},
	{"hidden entry between", func(z *rawArchive) { z.files[2].before = stored("r/data/hidden", []byte("x")).local() }, "and not at"},
	{"hidden entry of the same name", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.before = stored(f.name, []byte("other")).local() }, "and not at"},
	{"hidden entry behind", func(z *rawArchive) { z.beforeIndex = stored("r/data/hidden", []byte("x")).local() }, "between its last file and its index"},
	{"hidden entry of the index", func(z *rawArchive) { z.count, z.total = -1, -1 }, ""},
	{"an entry more than there is", func(z *rawArchive) { z.count, z.total = 1, 1 }, ""},
	{"counts that differ", func(z *rawArchive) { z.count = -1 }, "one part of several"},
	{"prefix", func(z *rawArchive) { z.files[0].before = []byte("#!/bin/sh\nexit\n") }, "and not at 0"},
	{"prefix that the index does not count", func(z *rawArchive) { z.files[0].before = []byte("#!/bin/sh\nexit\n"); z.at = -15 }, "right before its end"},
	{"gap between files", func(z *rawArchive) { z.files[1].behind = make([]byte, 9) }, "and not at"},
	{"gap before the index", func(z *rawArchive) { z.beforeIndex = make([]byte, 9) }, "between its last file and its index"},
	{"gap behind the index", func(z *rawArchive) { z.afterIndex = make([]byte, 9) }, "right before its end"},
	{"gap that the index counts", func(z *rawArchive) { z.afterIndex, z.size = make([]byte, 9), 9 }, "9 bytes behind its last entry"},
	{"trailing bytes", func(z *rawArchive) { z.behind = []byte("more") }, "does not end with its index"},
	{"trailing zeros", func(z *rawArchive) { z.behind = make([]byte, endSize) }, "does not end with its index"},
	{"another bag beside it", func(z *rawArchive) { z.files = append(z.files, stored("s/bagit.txt", nil)) }, "s/bagit.txt: lies outside the folder of the bag, r"},
	{"another archive behind", func(z *rawArchive) {
		other := rawArchive{files: []rawFile{stored("r/data/evil", []byte("x"))}}
		z.behind = other.bytes()
	}, ""},
	{"comment of the archive", func(z *rawArchive) { z.comment = "hello" }, "a comment or other bytes follow"},
	{"comment of a file", func(z *rawArchive) { z.file("r/data/a.jpg").comment = "hello" }, "has a comment"},
	{"comment of a file, one letter", func(z *rawArchive) { z.file("r/data/a.jpg").comment = "h" }, "has a comment"},
	{"one byte among large sizes", func(z *rawArchive) { z.file("r/data/a.jpg").extra = extraField(1, "0") }, "more large sizes than it needs"},
	{"another name in an extra field", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.extra = unicodePath(f.name, "r/data/evil.exe") }, "extra field (0x7075)"},
	{"another name in a local extra field", func(z *rawArchive) {
		f := z.file("r/data/a.jpg")
		f.localExtra = unicodePath(f.name, "r/data/evil.exe")
	}, "extra field (0x7075)"},
	{"comment in an extra field", func(z *rawArchive) { z.file("r/data/a.jpg").extra = extraField(0x6375, "hello") }, "extra field (0x6375)"},
	{"a link in an extra field", func(z *rawArchive) { z.file("r/data/a.jpg").extra = extraField(0x756e, "0123456789abcdef") }, "extra field (0x756e)"},
	{"an extra field cut off", func(z *rawArchive) { z.file("r/data/a.jpg").extra = []byte{0x55, 0x54, 9, 0, 1} }, "extra fields that cannot be read"},
	{"an extra field twice", func(z *rawArchive) {
		z.file("r/data/a.jpg").extra = slices.Concat(extraField(0x5455, "\x00"), extraField(0x5455, "\x00"))
	}, "twice"},
	{"large sizes that nothing needs", func(z *rawArchive) { z.file("r/data/a.jpg").extra = extraField(1, "01234567") }, "more large sizes than it needs"},
	{"link, Unix", func(z *rawArchive) { z.file("r/data/a.jpg").attributes = 0o120777 << 16 }, "is a link"},
	{"link, DOS", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes, f.host = 0o120777<<16, 0 }, "is a link"},
	{"link, macOS", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes, f.host = 0o120777<<16, 19 }, "is a link"},
	{"link, NTFS", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes, f.host = 0o120777<<16, 10 }, "is a link"},
	{"reparse point", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes, f.host = 0x400, 10 }, "marked as something else"},
	{"link, BeOS", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes, f.host = 0o120777<<16, 16 }, "comes from a system (16)"},
	{"names of another system", func(z *rawArchive) { z.file("r/data/a.jpg").host = 2 }, "comes from a system (2)"},
	{"pipe", func(z *rawArchive) { z.file("r/data/a.jpg").attributes = 0o010644 << 16 }, "is a link or something else"},
	{"runs as its owner", func(z *rawArchive) { z.file("r/data/a.jpg").attributes = 0o104755 << 16 }, "is a link or something else"},
	{"a folder by its mark", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes |= 0x10 }, "marked as a folder"},
	{"a label", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.attributes |= 0x08 }, "marked as something else"},
	{"a folder that holds bytes", func(z *rawArchive) { z.files = append(z.files, stored("r/data/sub/", []byte("x"))) }, "is called a folder and holds bytes"},
	{"encrypted", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.flags, f.localFlags = 1, 1 }, "flags (0x0001)"},
	{"patch data", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.flags, f.localFlags = 1<<5, 1<<5 }, "flags (0x0020)"},
	{"masked", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.flags, f.localFlags = 1<<13, 1<<13 }, "flags (0x2000)"},
	{"a name that is not marked as UTF-8", func(z *rawArchive) { z.files = append(z.files, stored("r/data/\u00e9.jpg", nil)) }, "not marked as UTF-8"},
	{"a version of a file", func(z *rawArchive) { z.files = append(z.files, stored("r/data/a.jpg;1", []byte("other"))) }, "semicolon"},
	{"another part", func(z *rawArchive) { z.file("r/data/a.jpg").disk = 1 }, "another part"},
	{"several parts", func(z *rawArchive) { z.disk = 1 }, "one part of several"},
	{"a newer version", func(z *rawArchive) { z.file("r/data/a.jpg").needs = 63 }, "version 6.3"},
	{"a method that is not known", func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.method, f.localMethod = 12, 12 }, "packed in a way"},
	{"an entry that starts within another", func(z *rawArchive) { z.file("r/data/a.jpg").moved = 4 }, ""},
	{"two entries of one file", func(z *rawArchive) {
		f := *z.file("r/data/a.jpg")
		z.files = append(z.files, f)
	}, "twice"},
	{"bytes behind the end of packed ones", func(z *rawArchive) {
		f := z.file("r/data/a.jpg")
		f.put([]byte("bytes of a.jpg"), 8)
		f.data = append(f.data, "hidden"...)
		f.packed, f.localPacked = f.packed+6, f.packed+6
	}, "bytes lie behind its end"},
	{"packed bytes that reach into the index", func(z *rawArchive) {
		f := &z.files[len(z.files)-1]
		f.put([]byte("bytes"), 8)
		f.packed, f.localPacked = f.packed+99, f.packed+99
	}, "reaches into the archive's index"},
	{"sizes behind that differ", func(z *rawArchive) {
		f := z.file("r/data/a.jpg")
		f.flags, f.localFlags = flagSizesBehind, flagSizesBehind
		f.behind = binary.LittleEndian.AppendUint32(nil, dataSignature)
		f.behind = append(f.behind, make([]byte, 12)...)
	}, "behind its bytes than in the index"},
	{"no sizes behind", func(z *rawArchive) {
		f := z.file("r/data/a.jpg")
		f.flags, f.localFlags = flagSizesBehind, flagSizesBehind
	}, "behind its bytes than in the index"},
	{"the size of the index", func(z *rawArchive) { z.size = -1 }, ""},
	{"the place of the index", func(z *rawArchive) { z.at = 1 }, ""},
	{"the end of a large archive", func(z *rawArchive) { z.count, z.total = 0xffff-len(z.files), 0xffff-len(z.files) }, ""},
}

func TestEnvelopes(t *testing.T) {
	if got := said(t, rawBag(t).bytes()); got != "" {
		t.Fatalf("the archive before any change: %s", got)
	}
	for _, c := range envelopes {
		z := rawBag(t)
		c.change(z)
		got := said(t, z.bytes())
		if !strings.Contains(got, c.words) || got == "" || strings.HasPrefix(got, "warning") {
			t.Errorf("%s: never said %q: %s", c.name, c.words, got)
		}
	}
	if len(envelopes) < 40 {
		t.Errorf("%d kinds", len(envelopes))
	}
}

// What other programs write, and says nothing else than the index, is sound.
func TestEnvelopesOfOtherPrograms(t *testing.T) {
	le := binary.LittleEndian
	sizes := func(f *rawFile, sign bool) {
		f.flags, f.localFlags, f.localCRC, f.localPacked, f.localLen = flagSizesBehind, flagSizesBehind, 0, 0, 0
		if f.behind = nil; sign {
			f.behind = le.AppendUint32(nil, dataSignature)
		}
		f.behind = le.AppendUint32(le.AppendUint32(le.AppendUint32(f.behind, f.crc), f.packed), f.size)
	}
	for name, change := range map[string]func(z *rawArchive){
		"times and owner": func(z *rawArchive) {
			f := z.file("r/data/a.jpg")
			f.extra = slices.Concat(extraField(0x5455, "\x01\x00\x00\x00\x00"), extraField(0x7875, "\x01\x00"))
			f.localExtra = f.extra
		},
		"times of NTFS": func(z *rawArchive) {
			f := z.file("r/data/a.jpg")
			f.host, f.attributes = 10, 0x20
			f.extra = extraField(0x000a, "0123")
		},
		"folders": func(z *rawArchive) {
			f := stored("r/data/", nil)
			f.attributes = 0o040755<<16 | 0x10
			z.files = append(z.files, f)
		},
		"sizes behind":           func(z *rawArchive) { sizes(z.file("r/data/a.jpg"), true) },
		"sizes behind, unsigned": func(z *rawArchive) { sizes(z.file("r/data/a.jpg"), false) },
		"packed":                 func(z *rawArchive) { z.file("r/data/a.jpg").put([]byte("bytes of a.jpg"), 8) },
		"packed hard":            func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.flags, f.localFlags = 2, 2 },
		"a name in UTF-8": func(z *rawArchive) {
			f := z.file("r/data/a.jpg") // APPNOTE.TXT, 4.4.4: bit 11
			f.flags, f.localFlags = 0x0800, 0x0800
		},
		"times of another system": func(z *rawArchive) {
			f := z.file("r/data/a.jpg")
			f.extra, f.localExtra = extraField(0x5855, "01234567"), slices.Concat(extraField(0x5855, "0123456789ab"), extraField(0x7855, "0123"))
		},
		"no attributes, DOS": func(z *rawArchive) { f := z.file("r/data/a.jpg"); f.host, f.attributes = 0, 0 },
	} {
		z := rawBag(t)
		change(z)
		if got := said(t, z.bytes()); got != "" {
			t.Errorf("%s: %s", name, got)
		}
	}
	zip, err := exec.LookPath("zip")
	if err != nil {
		t.Skip("no zip here")
	}
	dir := t.TempDir()
	small(t, filepath.Join(dir, "r"))
	for _, args := range [][]string{{"-r", "a.zip", "r"}, {"-r", "-0", "b.zip", "r"}, {"-r", "-X", "-D", "c.zip", "r"}, {"-r", "-fz", "d.zip", "r"}} {
		c := exec.Command(zip, args...)
		c.Dir = dir
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("zip: %v\n%s", err, out)
		}
		data, err := os.ReadFile(filepath.Join(dir, args[len(args)-2]))
		if err != nil {
			t.Fatal(err)
		}
		if got := said(t, data); got != "" {
			t.Errorf("zip %q: %s", args, got)
		}
	}
}

// A bag without a folder around it (RFC 8493, 4.2), and one in two.
func TestFoldersAroundABag(t *testing.T) {
	for folder, words := range map[string]string{"": "lies outside the one folder", "a/b/": "bagit.txt: is missing", "r2/": "", "../": "leaves the bag"} {
		z := rawBag(t)
		for i := range z.files {
			f := &z.files[i]
			f.name = folder + strings.TrimPrefix(f.name, "r/")
			f.localName = f.name
		}
		if got := said(t, z.bytes()); !strings.Contains(got, words) || words == "" && got != "" {
			t.Errorf("%q: never said %q: %s", folder, words, got)
		}
	}
}

// How much a file may shrink: 200 times, or to anything when it has no more than 1 MiB.
func TestPackedSmall(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct {
		size  int
		bytes func(i int) byte
		ok    bool
	}{
		"small, of zeros": {1 << 20, func(int) byte { return 0 }, true},
		"large, of zeros": {1<<20 + 1, func(int) byte { return 0 }, false},
		"large, of noise": {1<<20 + 1, func(i int) byte { return byte(i * i >> 7) }, true},
	} {
		data := make([]byte, c.size)
		for i := range data {
			data[i] = c.bytes(i)
		}
		folder := filepath.Join(dir, name)
		w, err := Create(folder)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := w.Add(t.Context(), "a", bytes.NewReader(data)); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Close(t.Context(), Info{{"Payload-Oxum", w.Oxum()}}, nil, nil); err != nil {
			t.Fatal(err)
		}
		z := &rawArchive{}
		for _, file := range []string{"bag-info.txt", "bagit.txt", "data/a", "manifest-sha256.txt", "tagmanifest-sha256.txt"} {
			b, err := os.ReadFile(filepath.Join(folder, file))
			if err != nil {
				t.Fatal(err)
			}
			z.files = append(z.files, stored("r/"+file, b))
		}
		z.file("r/data/a").put(data, 8)
		if got := said(t, z.bytes()); (got == "") != c.ok || !c.ok && !strings.Contains(got, "as in a bomb") {
			t.Errorf("%s: %s", name, got)
		}
	}
}

// A large archive has a second end; ours is read with it and without what does not fit.
func TestLargeArchiveEnds(t *testing.T) {
	le := binary.LittleEndian
	whole := rawBag(t).bytes()
	end := len(whole) - endSize
	count, size, at := le.Uint16(whole[end+10:]), le.Uint32(whole[end+12:]), le.Uint32(whole[end+16:])
	large := func(change func(big, where, end []byte)) []byte {
		big := le.AppendUint64(le.AppendUint32(nil, end64Signature), end64Size-12)
		big = append(big, 45, 0, 45, 0, 0, 0, 0, 0, 0, 0, 0, 0)
		for _, v := range []uint64{uint64(count), uint64(count), uint64(size), uint64(at)} {
			big = le.AppendUint64(big, v)
		}
		where := le.AppendUint64(le.AppendUint32(le.AppendUint32(nil, whereSignature), 0), uint64(end))
		where = le.AppendUint32(where, 1)
		last := bytes.Clone(whole[end:])
		le.PutUint32(last[16:], 0xffffffff)
		if change != nil {
			change(big, where, last)
		}
		return slices.Concat(whole[:end], big, where, last)
	}
	if got := said(t, large(nil)); got != "" {
		t.Errorf("sound: %s", got)
	}
	for field, saturated := range map[int]string{4: "\xff\xff", 6: "\xff\xff", 8: "\xff\xff", 10: "\xff\xff", 12: "\xff\xff\xff\xff", 16: "\xff\xff\xff\xff"} {
		got := said(t, large(func(_, _, end []byte) {
			if field == 10 { // the one field of these three that Go's reader takes for a sign of a second end by itself
				le.PutUint32(end[16:], at)
			}
			copy(end[field:], saturated)
		}))
		if got != "" {
			t.Errorf("no room at %d: %s", field, got)
		}
	}
	for i := range end64Size + whereSize + endSize {
		got := said(t, large(func(big, where, end []byte) {
			at := i
			for _, part := range [][]byte{big, where, end} {
				if at >= 0 && at < len(part) {
					part[at] ^= 0x40
				}
				at -= len(part)
			}
		}))
		free := i >= 12 && i < 16 // versions that made it and that it needs
		if (got == "") != free {
			t.Errorf("byte %d changed: %q", i, got)
		}
	}
}

// Whatever single bytes of an archive are changed: when nothing is wrong with it, unzip
// gives the files that were checked, each with the bytes that were checked.
func TestUnzipGivesWhatWasChecked(t *testing.T) {
	unzip, err := exec.LookPath("unzip")
	if err != nil {
		t.Skip("no unzip here")
	}
	dir := t.TempDir()
	small(t, filepath.Join(dir, "r.zip"))
	ours, err := os.ReadFile(filepath.Join(dir, "r.zip"))
	if err != nil {
		t.Fatal(err)
	}
	theirs := rawBag(t).bytes()
	random := rand.New(rand.NewPCG(1980, 1))
	sound := 0
	for i := range 600 {
		data := bytes.Clone([][]byte{ours, theirs}[i%2])
		data[random.IntN(len(data))] ^= 1 << random.IntN(8)
		if said(t, data) != "" {
			continue
		}
		sound++
		work := t.TempDir()
		if err := os.WriteFile(filepath.Join(work, "x.zip"), data, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(unzip, "-qq", "-o", filepath.Join(work, "x.zip"), "-d", filepath.Join(work, "out")).CombinedOutput(); err != nil {
			t.Errorf("%d: unzip: %v\n%s", i, err, out)
			continue
		}
		s, err := openZip(filepath.Join(work, "x.zip"))
		if err != nil {
			t.Fatal(err)
		}
		top := s.(*archive).top
		want := map[string]string{}
		for _, f := range s.Files() {
			b, err := Read(s, f.Path, 1<<20)
			if err != nil {
				t.Fatal(err)
			}
			want[top+f.Path] = string(b)
		}
		s.Close()
		root := os.DirFS(filepath.Join(work, "out"))
		err = fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := fs.ReadFile(root, path)
			if text, ok := want[path]; !ok || text != string(b) {
				t.Errorf("%d: unzip gives %s, which was not checked", i, path)
			}
			delete(want, path)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(want) > 0 {
			t.Errorf("%d: unzip does not give %d files that were checked", i, len(want))
		}
	}
	t.Logf("%d of 600 changes leave the archive sound", sound)
}

// An archive that another program packed is told from ours by any byte, as by a date that
// both of its descriptions of a file have.
func TestAsWritten(t *testing.T) {
	dir := t.TempDir()
	small(t, filepath.Join(dir, "r.zip"))
	ours, err := os.ReadFile(filepath.Join(dir, "r.zip"))
	if err != nil {
		t.Fatal(err)
	}
	dated := bytes.Clone(ours)
	index := bytes.Index(dated, []byte("PK\x01\x02"))
	dated[10], dated[index+12] = 9, 9 // the time of the first file
	dated[12], dated[index+14] = 0x22, 0x22
	moded, hosted := bytes.Clone(ours), bytes.Clone(ours)
	moded[index+40] ^= 0x40 // a bit of the upper half of the attributes
	hosted[index+5] = 19
	for name, c := range map[string]struct {
		data []byte
		want bool
	}{"ours": {ours, true}, "another date": {dated, false}, "another mode": {moded, false}, "another system": {hosted, false}, "stored": {rawBag(t).bytes(), false}} {
		if got := said(t, c.data); got != "" {
			t.Errorf("%s: %s", name, got)
		}
		path := filepath.Join(t.TempDir(), "a.zip")
		if err := os.WriteFile(path, c.data, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := openZip(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := AsWritten(s); got != c.want {
			t.Errorf("%s: as written: %v", name, got)
		}
		s.Close()
	}
}

// Lines of fetch.txt (RFC 8493, 2.2.3): a URL, a number or a dash, a path.
func TestFetchLines(t *testing.T) {
	for line, want := range map[string]string{
		"http://example.org/a 12 data/a": "data/a", "http://example.org/a - data/a b": "data/a b", "http://example.org/a\t7\t./data/a": "data/a",
		"http://example.org/a 1a data/a": "", "http://example.org/a 12": "", "http://example.org/a -- data/1": "", "": "",
	} {
		got, err := parseFetch(line, "1.0")
		if line != "" && (err == nil) != (want != "") || want != "" && !slices.Equal(got, []string{want}) {
			t.Errorf("%q: %q, %v", line, got, err)
		}
	}
}
