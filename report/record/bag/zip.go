package bag

import (
	"archive/zip"
	"bufio"
	"compress/flate"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"
	"os"
	"path"
	"slices"
	"strings"

	"coursegauge/report/regular"
)

// Limits of a zip archive. A photo or a report shrinks at most some twenty times.
const (
	maxRatio   = 200     // of a file, unpacked over packed
	smallEntry = 1 << 20 // unpacked bytes that no ratio makes harmful
)

// ErrDamaged is that a file is no archive, or no longer.
var ErrDamaged = errors.New("this is neither a folder nor a sound zip archive")

// archive is a bag in a zip archive. Files are read where they lie.
type archive struct {
	file    *os.File
	reader  *zip.Reader
	size    int64
	top     string // the one folder of the archive, with a slash
	files   []File
	entries map[string]*zip.File
	refused []Problem
	empty   []string
}

// openZip lists the bag in a zip archive (RFC 8493, 4.2: one folder that holds
// the bag). Entries that lead out of it, are listed twice, are links or unpack
// to absurd sizes are refused and never opened.
func openZip(name string) (Source, error) {
	f, err := regular.Open(name)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	a, err := readZip(f, info.Size())
	if err != nil {
		f.Close()
		return nil, err
	}
	a.file = f
	return a, nil
}

// readZip takes in the index of an archive.
func readZip(r io.ReaderAt, size int64) (*archive, error) {
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if len(z.File) > maxFiles {
		return nil, fmt.Errorf("%w: it lists %d files; no more than %d are read", ErrDamaged, len(z.File), maxFiles)
	}
	a := &archive{reader: z, size: size, entries: map[string]*zip.File{}}
	a.top = topFolder(z.File)
	a.checkSizes()
	a.refused = append(a.refused, envelope(r, size)...)
	parents := map[string]bool{}
	for _, e := range z.File {
		a.take(e, parents)
	}
	for _, e := range a.empty {
		parents[path.Dir(e)] = true
	}
	a.empty = slices.DeleteFunc(a.empty, func(e string) bool { return parents[e] })
	slices.SortFunc(a.files, func(x, y File) int { return compare(x.Path, y.Path) })
	return a, nil
}

// topFolder is the folder in which the shallowest declaration lies, "" without one.
func topFolder(files []*zip.File) string {
	top, found := "", false
	for _, e := range files {
		dir, name := path.Split(e.Name)
		if name == DeclarationFile && (!found || len(dir) < len(top)) {
			top, found = dir, true
		}
	}
	if strings.Count(top, "/") > 1 || top != "" && unsafe(strings.TrimSuffix(top, "/")) != "" {
		return ""
	}
	return top
}

// checkSizes refuses an archive whose files would have to lie in each other.
func (a *archive) checkSizes() {
	var packed uint64
	for _, e := range a.reader.File {
		packed += min(e.CompressedSize64, uint64(a.size)+1)
	}
	if packed > uint64(a.size) {
		a.refused = append(a.refused, Problem{"", "the files of the archive lie in each other, as in a bomb"})
	}
}

func (a *archive) take(e *zip.File, parents map[string]bool) {
	refuse := func(text string) { a.refused = append(a.refused, Problem{e.Name, text}) }
	isFolder := strings.HasSuffix(e.Name, "/")
	if why := unsafe(strings.TrimSuffix(e.Name, "/")); why != "" {
		refuse(why)
		return
	}
	name, inside := strings.CutPrefix(e.Name, a.top)
	switch mode := e.Mode(); {
	case a.top == "" && !strings.Contains(e.Name, "/"):
		refuse("lies outside the one folder that an archived bag has")
	case !inside:
		refuse("lies outside the folder of the bag, " + shown(strings.TrimSuffix(a.top, "/")))
		return
	case isFolder && e.UncompressedSize64 > 0:
		refuse("is called a folder and holds bytes")
		return
	case isFolder:
		if name != "" {
			a.empty = append(a.empty, strings.TrimSuffix(name, "/"))
		}
		return
	case !mode.IsRegular():
		refuse("is a link or something else that is no file; a bag holds files alone")
		return
	case e.UncompressedSize64 > smallEntry && e.UncompressedSize64/maxRatio > e.CompressedSize64:
		refuse(fmt.Sprintf("would unpack to %d times its size, as in a bomb", e.UncompressedSize64/max(e.CompressedSize64, 1)))
		return
	case e.Method != zip.Store && e.Method != zip.Deflate, e.Flags&1 != 0:
		refuse("is packed in a way that is not read (stored or deflated, not encrypted)")
		return
	case a.entries[name] != nil:
		refuse("is in the archive twice")
		return
	}
	for dir := path.Dir(name); dir != "." && !parents[dir]; dir = path.Dir(dir) {
		parents[dir] = true
	}
	a.entries[name] = e
	a.files = append(a.files, File{name, int64(e.UncompressedSize64)})
}

func (a *archive) Files() []File      { return a.files }
func (a *archive) Refused() []Problem { return a.refused }
func (a *archive) Folders() []string  { return a.empty }
func (a *archive) Close() error {
	if a.file == nil {
		return nil
	}
	return a.file.Close()
}

// Open unpacks a file in memory's own time; no more bytes come out than the
// index tells.
func (a *archive) Open(path string) (io.ReadCloser, error) {
	e := a.entries[path]
	if e == nil {
		return nil, fmt.Errorf("%s is not in the archive", shown(path))
	}
	raw, err := e.OpenRaw()
	if err != nil {
		return nil, err
	}
	u := &unpacker{packed: bufio.NewReaderSize(raw, 64<<10), sum: crc32.NewIEEE(), entry: e}
	u.bytes = u.packed
	if e.Method == zip.Deflate {
		u.bytes = flate.NewReader(u.packed) // takes single bytes from it, and none behind the end
	}
	return u, nil
}

// unpacker gives the bytes of a file. At their end it holds them to size and checksum,
// and finds bytes that are packed in with them and belong to nothing.
type unpacker struct {
	packed *bufio.Reader
	bytes  io.Reader
	sum    hash.Hash32
	count  uint64
	entry  *zip.File
}

func (u *unpacker) Read(p []byte) (int, error) {
	n, err := u.bytes.Read(p)
	u.sum.Write(p[:n])
	u.count += uint64(n)
	switch {
	case u.count > u.entry.UncompressedSize64:
		return n, errors.New("it unpacks to more bytes than the archive's index tells")
	case !errors.Is(err, io.EOF):
		return n, err
	case u.count != u.entry.UncompressedSize64:
		return n, errors.New("it unpacks to fewer bytes than the archive's index tells")
	case u.sum.Sum32() != u.entry.CRC32:
		return n, errors.New("its checksum in the archive is another")
	}
	if _, more := u.packed.ReadByte(); more == nil {
		return n, errors.New("bytes lie behind its end within its place in the archive")
	}
	return n, io.EOF
}

func (u *unpacker) Close() error { return nil }

// AsWritten tells whether an archive is the one that Writer makes of its files, byte
// for byte, and not as another program packs them; a folder is.
func AsWritten(s Source) bool {
	a, isZip := s.(*archive)
	return !isZip || a.canonical()
}

// canonical packs the index again and holds it against the archive.
func (a *archive) canonical() bool {
	if a.reader.Comment != "" {
		return false
	}
	same := &comparer{with: io.NewSectionReader(a.file, 0, a.size)}
	z := zip.NewWriter(same)
	for _, e := range a.reader.File {
		h := header(e.Name, e.Method)
		if e.ExternalAttrs != h.ExternalAttrs || e.CreatorVersion>>8 != h.CreatorVersion>>8 || e.Comment != "" {
			return false
		}
		h.Flags, h.CRC32, h.CompressedSize64, h.UncompressedSize64 = e.Flags, e.CRC32, e.CompressedSize64, e.UncompressedSize64
		w, err := z.CreateRaw(h)
		if err != nil || !packAgain(w, e) {
			return false
		}
	}
	return z.Close() == nil && same.at == a.size
}

// packAgain packs what is in a file anew: its packed bytes have bits that mean nothing.
func packAgain(w io.Writer, e *zip.File) bool {
	r, err := e.Open()
	if err != nil {
		return false
	}
	defer r.Close()
	out, err := unsqueezed(w)
	if err != nil {
		return false
	}
	_, err = io.Copy(out, r)
	return err == nil && out.Close() == nil
}

var errDiffers = errors.New("the archive differs")

// comparer takes bytes as long as they are those of another reader.
type comparer struct {
	with io.ReaderAt
	at   int64
	have []byte
}

func (c *comparer) Write(p []byte) (int, error) {
	if len(c.have) < len(p) {
		c.have = make([]byte, len(p))
	}
	n, _ := c.with.ReadAt(c.have[:len(p)], c.at)
	c.at += int64(n)
	if n != len(p) || string(c.have[:n]) != string(p) {
		return 0, errDiffers
	}
	return n, nil
}
