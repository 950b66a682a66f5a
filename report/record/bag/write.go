package bag

import (
	"archive/zip"
	"bufio"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Writer makes a bag of version 1.0 with SHA-256 manifests. Under its final
// name it is whole or not there: until Close it lies in a hidden folder or file
// beside it, named ".NAME.part-" and a number.
type Writer struct {
	target string
	sink   sink
	sums   map[string]string
	files  int
	octets int64
}

// sink is where the bytes of a bag go.
type sink interface {
	create(path string) (io.WriteCloser, error)
	commit(target string) error
	abort()
}

// Seal is a file that vouches for the tag manifest: no manifest can list it.
type Seal struct {
	Path string
	Data []byte
}

// Create begins a bag at target: a zip archive when it ends in .zip, else a
// folder. What is there already is never overwritten.
func Create(target string) (*Writer, error) {
	if _, err := os.Lstat(target); err == nil {
		return nil, &fs.PathError{Op: "create", Path: target, Err: fs.ErrExist}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	w := &Writer{target: target, sums: map[string]string{}}
	var err error
	if isZipName(target) {
		w.sink, err = newZipSink(target)
	} else {
		w.sink, err = newFolderSink(target)
	}
	return w, err
}

// isZipName tells whether Create makes an archive of that name.
func isZipName(target string) bool { return strings.EqualFold(filepath.Ext(target), ".zip") }

// Leftovers are what runs that were cut off left beside a target.
func Leftovers(target string) (paths []string) {
	entries, _ := os.ReadDir(filepath.Dir(target))
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), partName(target)) {
			paths = append(paths, filepath.Join(filepath.Dir(target), e.Name()))
		}
	}
	return paths
}

func partName(target string) string { return "." + filepath.Base(target) + ".part-" }

// Add puts a file into the payload, at "data/" and path, and gives its SHA-256.
func (w *Writer) Add(ctx context.Context, path string, r io.Reader) (sum string, size int64, err error) {
	sum, size, err = w.put(ctx, Payload+path, r)
	w.files++
	w.octets += size
	return sum, size, err
}

func (w *Writer) put(ctx context.Context, path string, r io.Reader) (string, int64, error) {
	if why := unsafe(path); why != "" {
		return "", 0, fmt.Errorf("%s %s", shown(path), why)
	}
	if w.sums[path] != "" {
		return "", 0, fmt.Errorf("%s is in the bag already", shown(path))
	}
	out, err := w.sink.create(path)
	if err != nil {
		return "", 0, err
	}
	h := sha256.New()
	n, err := copyTo(ctx, io.MultiWriter(h, out), r)
	if err = errors.Join(err, out.Close()); err != nil {
		return "", 0, err
	}
	w.sums[path] = hex.EncodeToString(h.Sum(nil))
	return w.sums[path], n, nil
}

// Oxum is the Payload-Oxum of what was added: bytes and files.
func (w *Writer) Oxum() string { return fmt.Sprintf("%d.%d", w.octets, w.files) }

// Close writes bag-info.txt, the other tag files and the manifests, lets seal
// vouch for the tag manifest (nil: nothing does) and puts the bag into place. It
// gives the SHA-256 of the tag manifest, which stands for the whole bag.
func (w *Writer) Close(ctx context.Context, info Info, tags []Seal, seal func(tagManifest []byte) ([]Seal, error)) (digest string, err error) {
	declaration := "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
	files := append([]Seal{{DeclarationFile, []byte(declaration)}, {InfoFile, []byte(info.text())}}, tags...)
	files = append(files, Seal{ManifestFile, w.manifest(true)})
	for _, f := range files {
		if _, _, err := w.put(ctx, f.Path, strings.NewReader(string(f.Data))); err != nil {
			return "", err
		}
	}
	tagManifest := w.manifest(false)
	seals := []Seal{{TagManifestFile, tagManifest}}
	if seal != nil {
		more, err := seal(tagManifest)
		if err != nil {
			return "", err
		}
		seals = append(seals, more...)
	}
	for _, s := range seals {
		if _, _, err := w.put(ctx, s.Path, strings.NewReader(string(s.Data))); err != nil {
			return "", err
		}
	}
	return w.sums[TagManifestFile], w.sink.commit(w.target)
}

// Abort removes what was written; after Close it does nothing.
func (w *Writer) Abort() { w.sink.abort() }

// manifest lists the payload, or all the rest.
func (w *Writer) manifest(payload bool) []byte {
	var paths []string
	for p := range w.sums {
		if strings.HasPrefix(p, Payload) == payload {
			paths = append(paths, p)
		}
	}
	slices.Sort(paths)
	var b strings.Builder
	for _, p := range paths {
		b.WriteString(manifestLine(w.sums[p], p))
	}
	return []byte(b.String())
}

// folderSink gathers the files in a hidden folder beside the target.
type folderSink struct {
	dir  string
	done bool
}

func newFolderSink(target string) (sink, error) {
	dir, err := os.MkdirTemp(filepath.Dir(target), partName(target))
	return &folderSink{dir: dir}, err
}

func (s *folderSink) create(path string) (io.WriteCloser, error) {
	full := filepath.Join(s.dir, filepath.FromSlash(path))
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		return nil, err
	}
	return os.OpenFile(full, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
}

// commit flushes all to the disk before the folder gets its name.
func (s *folderSink) commit(target string) error {
	err := filepath.WalkDir(s.dir, func(path string, _ fs.DirEntry, err error) error {
		return errors.Join(err, flush(path))
	})
	if err != nil {
		return err
	}
	if err := os.Chmod(s.dir, 0o755); err != nil {
		return err
	}
	if _, err := os.Lstat(target); err == nil {
		return &fs.PathError{Op: "create", Path: target, Err: fs.ErrExist}
	}
	if err := os.Rename(s.dir, target); err != nil {
		return err
	}
	s.done = true
	return flush(filepath.Dir(target))
}

func (s *folderSink) abort() {
	if !s.done {
		os.RemoveAll(s.dir)
	}
}

// flush writes a file or a folder through to the disk.
func flush(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// zipSink packs the files, in one folder named after the archive.
type zipSink struct {
	file    *os.File
	through *bufio.Writer
	z       *zip.Writer
	top     string
	done    bool
}

func newZipSink(target string) (sink, error) {
	f, err := os.CreateTemp(filepath.Dir(target), partName(target))
	if err != nil {
		return nil, err
	}
	top := strings.TrimSuffix(filepath.Base(target), filepath.Ext(target))
	if unsafe(top) != "" || awkward(top) != "" {
		top = "record"
	}
	s := &zipSink{file: f, through: bufio.NewWriterSize(f, 1<<20), top: top + "/"}
	s.z = zip.NewWriter(s.through)
	// Deflated, since programs that read an archive as it comes cannot find the end
	// of a file that is stored plainly; but not squeezed: photos would hardly
	// shrink, and so the same files give the same bytes in years to come.
	s.z.RegisterCompressor(zip.Deflate, unsqueezed)
	return s, nil
}

// header is that of a file in an archive: the same files give the same bytes,
// whenever they are packed.
func header(name string, method uint16) *zip.FileHeader {
	h := &zip.FileHeader{Name: name, Method: method}
	h.SetMode(0o644)
	//lint:ignore SA1019 Modified would add a field of its own, which raw copies of the header lack
	h.ModifiedDate = 1<<5 | 1 // 1 January 1980, the first day that the format knows
	h.CreatorVersion |= 20
	h.ReaderVersion = 20
	return h
}

func (s *zipSink) create(path string) (io.WriteCloser, error) {
	w, err := s.z.CreateHeader(header(s.top+path, zip.Deflate))
	return nopCloser{w}, err
}

func unsqueezed(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.NoCompression) }

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }

func (s *zipSink) commit(target string) error {
	if err := errors.Join(s.z.Close(), s.through.Flush(), s.file.Chmod(0o644), s.file.Sync()); err != nil {
		return err
	}
	if err := s.file.Close(); err != nil {
		return err
	}
	if _, err := os.Lstat(target); err == nil {
		return &fs.PathError{Op: "create", Path: target, Err: fs.ErrExist}
	}
	if err := os.Rename(s.file.Name(), target); err != nil {
		return err
	}
	s.done = true
	return flush(filepath.Dir(target))
}

func (s *zipSink) abort() {
	if !s.done {
		s.file.Close()
		os.Remove(s.file.Name())
	}
}

// Cause is an error without the call and the path that stand around it.
func Cause(err error) error {
	var onPath *fs.PathError
	if errors.As(err, &onPath) {
		return onPath.Err
	}
	return err
}
