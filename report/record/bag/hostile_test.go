package bag

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/md5"
	"encoding/binary"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// small is a sound bag, its files in the order in which an archive holds them.
func small(t testing.TB, target string) {
	t.Helper()
	w, err := Create(target)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a.jpg", "b/c.txt"} {
		if _, _, err := w.Add(context.Background(), name, strings.NewReader("bytes of "+name)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.Close(context.Background(), Info{{"Payload-Oxum", w.Oxum()}}, nil, nil); err != nil {
		t.Fatal(err)
	}
}

// packed is the small bag as an archive, with more entries.
func packed(t testing.TB, more func(z *zip.Writer)) []byte {
	t.Helper()
	dir := t.TempDir()
	small(t, filepath.Join(dir, "r"))
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	root := os.DirFS(dir)
	err := fs.WalkDir(root, "r", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(root, path)
		if err != nil {
			return err
		}
		entry(t, z, path, 0, string(data))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if more != nil {
		more(z)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func entry(t testing.TB, z *zip.Writer, name string, mode fs.FileMode, data string) {
	t.Helper()
	h := &zip.FileHeader{Name: name, Method: zip.Deflate}
	if mode != 0 {
		h.SetMode(mode)
	}
	w, err := z.CreateHeader(h)
	if err == nil {
		_, err = w.Write([]byte(data))
	}
	if err != nil && data != "" {
		t.Fatal(err)
	}
}

// said is all that a check of an archive tells, one line each.
func said(t *testing.T, archive []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "h.zip")
	if err := os.WriteFile(path, archive, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := openZip(path)
	if err != nil {
		return err.Error()
	}
	defer s.Close()
	r, err := Check(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	out := ""
	for _, p := range r.Problems {
		out += "problem " + p.String() + "\n"
	}
	for _, p := range r.Warnings {
		out += "warning " + p.String() + "\n"
	}
	for _, f := range s.Folders() {
		out += "empty " + f + "\n"
	}
	return out
}

// Archives that mean harm are named and refused, and nothing appears on the disk.
func TestHostileArchives(t *testing.T) {
	work := t.TempDir()
	t.Chdir(filepath.Join(mkdir(t, work, "in")))
	add := func(name string, mode fs.FileMode, data string) func(*zip.Writer) {
		return func(z *zip.Writer) { entry(t, z, name, mode, data) }
	}
	for _, c := range []struct {
		name  string
		more  func(*zip.Writer)
		words string
	}{
		{"nothing", nil, ""},
		{"up and out", add("../evil.txt", 0, "x"), "problem ../evil.txt: has a path that leaves the bag"},
		{"up and out within", add("r/data/../../../evil.txt", 0, "x"), "leaves the bag"},
		{"absolute", add("/tmp/evil.txt", 0, "x"), "has an absolute path"},
		{"drive", add("C:/evil.txt", 0, "x"), "names a drive"},
		{"drive, backslash", add(`r\data\evil.txt`, 0, "x"), "backslash"},
		{"network drive", add(`\\server\share\evil.txt`, 0, "x"), "backslash"},
		{"home", add("~/evil.txt", 0, "x"), "somebody's home folder"},
		{"variable", add("%HOMEDRIVE%/evil.txt", 0, "x"), "begins with a variable"},
		{"beside the bag", add("other/evil.txt", 0, "x"), "lies outside the folder of the bag"},
		{"link", add("r/data/link", fs.ModeSymlink|0o777, "/etc/passwd"), "is a link or something else"},
		{"device", add("r/data/dev", fs.ModeDevice|0o600, ""), "is a link or something else"},
		{"twice", add("r/data/a.jpg", 0, "other bytes"), "is in the archive twice"},
		{"added", add("r/data/z.jpg", 0, "x"), "was added"},
		{"case", add("r/data/A.JPG", 0, "x"), "that some systems, or the eye, take for data/A.JPG"},
		{"accents", func(z *zip.Writer) {
			entry(t, z, "r/data/\u00e9.jpg", 0, "x")
			entry(t, z, "r/data/e\u0301.jpg", 0, "x")
		}, "that some systems, or the eye, take for"},
		{"look-alike", add("r/dаta/a.jpg", 0, "x"), "that some systems, or the eye, take for data/a.jpg"},
		{"end that is cut off", add("r/data/a.jpg.", 0, "x"), "whose end Windows cuts off"},
		{"device on Windows", add("r/data/nul.txt", 0, "x"), "means a device"},
		{"turned around", add("r/data/gpj.\u202eexe", 0, "x"), "invisible character"},
		{"no width", add("r/data/a\u200b.jpg", 0, "x"), "invisible character"},
		{"line break", add("r/data/a\nb.jpg", 0, "x"), "invisible character"},
		{"not UTF-8", add("r/data/a\xff.jpg", 0, "x"), "not UTF-8"},
		{"folder", add("r/data/empty/", 0, ""), "empty data/empty"},
		{"bomb", add("r/data/bomb", 0, strings.Repeat("\x00", 20<<20)), "as in a bomb"},
	} {
		got := said(t, packed(t, c.more))
		if c.words == "" && strings.Contains(got, "problem") || !strings.Contains(got, c.words) {
			t.Errorf("%s: never said %q:\n%s", c.name, c.words, got)
		}
	}
	if found := listed(t, work); found != ".\nin\n" {
		t.Errorf("something was written:\n%s", found)
	}
}

func mkdir(t *testing.T, parts ...string) string {
	t.Helper()
	path := filepath.Join(parts...)
	if err := os.MkdirAll(path, 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

func listed(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, _ fs.DirEntry, err error) error {
		fmt.Fprintln(&b, path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// An archive whose index names one file and whose header before the bytes another:
// programs that read from the front unpack the other.
func TestTwoNamesOfOneFile(t *testing.T) {
	whole := packed(t, nil)
	changed := bytes.Replace(whole, []byte("r/data/a.jpg"), []byte("r/data/x.exe"), 1)
	if got := said(t, changed); !strings.Contains(got, "is called r/data/x.exe where it lies in the archive") {
		t.Errorf("%s", got)
	}
}

// Two entries of the index that share the bytes of one file, as bombs do that
// grow with the square of their size.
func TestEntriesThatLieInEachOther(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	entry(t, z, "r/bagit.txt", 0, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
	entry(t, z, "r/data/1", 0, string(bytes.Repeat([]byte("some bytes that do not shrink away: 0123456789"), 1)))
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	data := b.Bytes()
	end := bytes.LastIndex(data, []byte("PK\x05\x06"))
	count, size, offset := binary.LittleEndian.Uint16(data[end+10:]), binary.LittleEndian.Uint32(data[end+12:]), binary.LittleEndian.Uint32(data[end+16:])
	index := data[offset : offset+size]
	record := index[bytes.LastIndex(index, []byte("PK\x01\x02")):]
	out := append([]byte{}, data[:offset+size]...)
	const more = 8
	for i := range more {
		again := bytes.Clone(record)
		again[len(again)-1] = byte('2' + i)
		out = append(out, again...)
	}
	tail := bytes.Clone(data[end:])
	binary.LittleEndian.PutUint16(tail[8:], count+more)
	binary.LittleEndian.PutUint16(tail[10:], count+more)
	binary.LittleEndian.PutUint32(tail[12:], size+more*uint32(len(record)))
	// the archive's own bytes must be fewer than what the index says is in it
	if got := said(t, append(out, tail...)); !strings.Contains(got, "was added") {
		t.Errorf("not read at all: %s", got)
	}
	a := &archive{size: 100, reader: &zip.Reader{File: []*zip.File{{FileHeader: zip.FileHeader{CompressedSize64: 60}}, {FileHeader: zip.FileHeader{CompressedSize64: 60}}}}}
	if a.checkSizes(); len(a.refused) != 1 || !strings.Contains(a.refused[0].Text, "lie in each other") {
		t.Errorf("%v", a.refused)
	}
}

// A folder with links, a pipe and a device name: named, never opened, so that
// nothing blocks.
func TestHostileFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	small(t, dir)
	away := filepath.Join(t.TempDir(), "away.txt")
	if err := os.WriteFile(away, []byte("bytes of a.jpg"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{
		os.Remove(filepath.Join(dir, "data/a.jpg")),
		os.Symlink(away, filepath.Join(dir, "data/a.jpg")),
		os.Symlink("/", filepath.Join(dir, "data/root")),
		syscall.Mkfifo(filepath.Join(dir, "data/pipe"), 0o600),
		os.WriteFile(filepath.Join(dir, "data/x\u202egpj.exe"), nil, 0o600),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	got := text(check(t, dir))
	for _, words := range []string{"data/a.jpg: is a link", "data/root: is a link", "data/pipe: is neither a file nor a folder", "data/a.jpg: is missing", `data/x\u202Egpj.exe: `} {
		if !strings.Contains(got, words) {
			t.Errorf("never said %q:\n%s", words, got)
		}
	}
}

// Tag files are read to 1 MiB; what a manifest lacks, and where it is wrong, is told.
func TestTagFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	change := func(file string, to func(string) string) {
		path := filepath.Join(dir, file)
		data, err := os.ReadFile(path)
		if err == nil {
			err = os.WriteFile(path, []byte(to(string(data))), 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	long := func(n int) func() {
		return func() {
			change(InfoFile, func(s string) string { return s + "X: " + strings.Repeat("x", n-len(s)-4) + "\n" })
		}
	}
	for name, c := range map[string]struct {
		change func()
		words  string
		told   bool
	}{
		"a tag file as long as may be": {long(1 << 20), "are read", false},
		"a tag file that is too long":  {long(1<<20 + 1), "no more than 1048576 are read", true},
		"a manifest that is not listed": {func() {
			change(TagManifestFile, func(s string) string { return dropLine(s, "  "+ManifestFile) })
		}, "does not list " + ManifestFile, true},
		"the same in an older bag": {func() {
			change(TagManifestFile, func(s string) string { return dropLine(s, "  "+ManifestFile) })
			change(DeclarationFile, func(s string) string { return strings.Replace(s, "1.0", "0.97", 1) })
		}, "does not list", false},
		"a file to fetch that is no payload": {func() {
			if err := os.WriteFile(filepath.Join(dir, fetchFile), []byte("http://example.org/a 1 more.txt\n"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, fetchFile + ": more.txt lies outside data/", true},
		"a second manifest that lacks a file": {func() { secondManifest(t, dir) }, "data/b/c.txt: is not listed in manifest-md5.txt", true},
		"the same, in an older bag": {func() {
			secondManifest(t, dir)
			change(DeclarationFile, func(s string) string { return strings.Replace(s, "1.0", "0.97", 1) })
		}, "is not listed in", false},
		"a line to fetch that is none": {func() {
			if err := os.WriteFile(filepath.Join(dir, fetchFile), []byte("http://example.org/a 1 data/a\nhttp://example.org/a\n"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, fetchFile + ": line 2 is ", true},
		"an encoding that is known and cannot be read": {func() {
			change(DeclarationFile, func(s string) string { return strings.Replace(s, "UTF-8", "UTF-7", 1) })
		}, `names the encoding "UTF-7", which is not known`, true},
		"bytes of no encoding": {func() {
			change(InfoFile, func(s string) string { return s + "X: \xff\n" })
		}, InfoFile + ": is not in the encoding that bagit.txt names", true},
		"another spelling of a file, with another checksum": {func() {
			change(ManifestFile, func(s string) string { return s + strings.Repeat("0", 64) + "  data/A.jpg\n" })
		}, "data/A.jpg: is missing", true},
		"another spelling among files that are missing": {func() {
			change(ManifestFile, func(s string) string {
				more := s + s[:66] + "data/A.jpg\n"
				for i := range 20 {
					more += fmt.Sprintf("%064d  data/none-%02d\n", i, i)
				}
				return more
			})
		}, "is missing\n", true},
		"another spelling of a file, with its checksum": {func() {
			change(ManifestFile, func(s string) string { return s + s[:66] + "data/A.jpg\n" })
		}, "data/A.jpg: is here as data/a.jpg alone", true},
		"a line that is none": {func() {
			change(ManifestFile, func(s string) string { return s + "whatever\n" })
		}, ManifestFile + ": line 3: ", true},
		"a short checksum": {func() {
			change(ManifestFile, func(s string) string { return s[2:] })
		}, ManifestFile + ": line 1: a checksum of 62 hex digits; sha256 has 64", true},
	} {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		small(t, dir)
		c.change()
		got := text(check(t, dir))
		if n := strings.Count(got, ": is missing\n"); name == "another spelling among files that are missing" && n != 20 {
			t.Errorf("%d of 20 files are told as missing", n)
		}
		if strings.Contains(got, c.words) != c.told {
			t.Errorf("%s: told of %q: %v\n%s", name, c.words, !c.told, got)
		}
	}
}

// secondManifest adds one that lists the first file alone.
func secondManifest(t *testing.T, dir string) {
	t.Helper()
	line := fmt.Sprintf("%x  data/a.jpg\n", md5.Sum([]byte("bytes of a.jpg")))
	if err := os.WriteFile(filepath.Join(dir, "manifest-md5.txt"), []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
}

// A label is told without the spaces around it, whatever its case.
func TestInfoLabels(t *testing.T) {
	in, err := parseInfo("A label : one\n two\nOTHER:\tthree \n")
	if err != nil || in.Get("a label") != "one\ntwo" || in.Get("Other") != "three" || in.Get("none") != "" {
		t.Errorf("%q, %v", in, err)
	}
	if _, err := parseInfo(" a value"); err == nil || !strings.HasPrefix(err.Error(), "line 1 ") {
		t.Errorf("%v, want the line", err)
	}
	for _, bad := range []string{" : x", "nothing", "A: b\nnothing", " a value"} {
		if in, err := parseInfo(bad); err == nil {
			t.Errorf("%q: %q", bad, in)
		}
	}
}

// dropLine leaves out the lines that hold a text.
func dropLine(s, with string) (out string) {
	for line := range strings.Lines(s) {
		if !strings.Contains(line, with) {
			out += line
		}
	}
	return out
}

// A bomb of a gigabyte costs no more memory than a small file.
func TestBombTakesNoMemory(t *testing.T) {
	data := packed(t, func(z *zip.Writer) {
		w, err := z.Create("r/data/bomb")
		if err != nil {
			t.Fatal(err)
		}
		block := make([]byte, 1<<20)
		for range 256 {
			if _, err := w.Write(block); err != nil {
				t.Fatal(err)
			}
		}
	})
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if got := said(t, data); !strings.Contains(got, "data/bomb: would unpack to") {
		t.Errorf("%s", got)
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 32<<20 {
		t.Errorf("%d MB were used", used>>20)
	}
}

// What Create makes is sound, and Abort leaves nothing.
func TestWriter(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"r", "r.zip"} {
		path := filepath.Join(dir, name)
		small(t, path)
		if r := check(t, path); !r.Valid() || len(r.Warnings) > 0 || r.Files != 2 {
			t.Errorf("%s: %s", name, text(r))
		}
		s, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if !AsWritten(s) {
			t.Errorf("%s: the archive is not as written", name)
		}
		s.Close()
		w, err := Create(filepath.Join(dir, "half-"+name))
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := w.Add(context.Background(), "a", strings.NewReader("x")); err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"../x", "/x", "a", ""} {
			if _, _, err := w.Add(context.Background(), bad, strings.NewReader("x")); err == nil {
				t.Errorf("%q was taken in", bad)
			}
		}
		if left := Leftovers(filepath.Join(dir, "half-"+name)); len(left) != 1 {
			t.Errorf("%d parts while a bag is made", len(left))
		}
		w.Abort()
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 2 {
		t.Errorf("left: %v", entries)
	}
}

func FuzzDeclaration(f *testing.F) {
	f.Add([]byte("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"))
	f.Add([]byte("\xef\xbb\xbfBagIt-Version: 0.97\r\nTag-File-Character-Encoding: UTF-16"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := parseDeclaration(data)
		if err != nil {
			return
		}
		if !strings.Contains(versions, d.Version) {
			t.Errorf("version %q", d.Version)
		}
		_, _ = d.decode(data)
	})
}

func FuzzInfo(f *testing.F) {
	f.Add("Payload-Oxum: 1.2\nA: b\n  c\n")
	f.Add("A : b\r\rC:\td")
	f.Fuzz(func(t *testing.T, s string) {
		in, err := parseInfo(s)
		if err != nil {
			return
		}
		again, err := parseInfo(in.text())
		if err != nil || len(again) != len(in) {
			t.Errorf("%q became %q: %v", in, again, err)
		}
	})
}

func FuzzManifest(f *testing.F) {
	sum := strings.Repeat("ab", 32)
	f.Add(sum + "  data/a%0Ab%25\n" + sum + " *./data/c\r\n")
	f.Add(sum + "  ../../etc/passwd")
	f.Add(sum + "  *././")
	f.Add(sum + " *./ ")
	f.Add(sum + " **a\n" + sum + "  ./\tb")
	f.Fuzz(func(t *testing.T, s string) {
		for _, version := range []string{"0.97", "1.0"} {
			entries, err := parseManifest(s, "sha256", version)
			if err != nil {
				continue
			}
			if again, err := parseManifest(string(Canonical([]byte(s), "1.0")), "sha256", "1.0"); version == "1.0" && (err != nil || !samePaths(entries, again)) {
				t.Errorf("%+v became %+v: %v", entries, again, err)
			}
			for _, e := range entries {
				if unsafe(e.Path) == "" && !filepath.IsLocal(e.Path) {
					t.Errorf("%q counts as harmless", e.Path)
				}
				_, _ = sameTo(e.Path), awkward(e.Path)
			}
		}
		_, _ = parseFetch(s, "1.0")
	})
}

// samePaths tells whether two manifests name the same paths, in any order.
func samePaths(a, b []Entry) bool {
	paths := func(of []Entry) (out []string) {
		for _, e := range of {
			out = append(out, e.Path)
		}
		slices.Sort(out)
		return out
	}
	return slices.Equal(paths(a), paths(b))
}

func FuzzArchive(f *testing.F) {
	f.Add(packed(f, nil))
	f.Add(packed(f, func(z *zip.Writer) { entry(f, z, "../x", 0, "y") }))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := readZip(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return
		}
		for _, file := range a.Files() {
			if !filepath.IsLocal(file.Path) {
				t.Errorf("%q is let through", file.Path)
			}
		}
		if _, err := Check(context.Background(), a); err != nil {
			t.Error(err)
		}
	})
}
