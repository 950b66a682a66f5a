package bag

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// Open opens a bag: a folder, or a zip archive of one.
func Open(path string) (Source, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return openFolder(path)
	}
	return openZip(path)
}

// folder is a bag that lies unpacked. It is read through an os.Root, which
// follows no link out of it.
type folder struct {
	root    *os.Root
	files   []File
	refused []Problem
	empty   []string
}

// openFolder lists the bag in a folder. Links and special files are refused, not followed.
func openFolder(dir string) (Source, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	f := &folder{root: root}
	if err := fs.WalkDir(root.FS(), ".", f.visit); err != nil {
		root.Close()
		return nil, err
	}
	slices.SortFunc(f.files, func(a, b File) int { return compare(a.Path, b.Path) })
	return f, nil
}

func (f *folder) visit(path string, d fs.DirEntry, err error) error {
	refuse := func(text string) { f.refused = append(f.refused, Problem{filepath.ToSlash(path), text}) }
	if err != nil {
		refuse(fmt.Sprintf("cannot be looked at: %v", err))
		if d != nil && d.IsDir() {
			return fs.SkipDir
		}
		return nil
	}
	if path == "." {
		return nil
	}
	name := filepath.ToSlash(path)
	if why := unsafe(name); why != "" {
		refuse(why)
		if d.IsDir() {
			return fs.SkipDir
		}
		return nil
	}
	switch kind := d.Type(); {
	case kind.IsDir():
		if inside, err := fs.ReadDir(f.root.FS(), path); err == nil && len(inside) == 0 {
			f.empty = append(f.empty, name)
		}
		return nil
	case kind&fs.ModeSymlink != 0:
		refuse("is a link; a bag holds files alone")
		return nil
	case !kind.IsRegular():
		refuse("is neither a file nor a folder")
		return nil
	}
	info, err := d.Info()
	if err != nil {
		refuse(fmt.Sprintf("cannot be looked at: %v", err))
		return nil
	}
	if len(f.files) == maxFiles {
		return fmt.Errorf("more than %d files in this folder", maxFiles)
	}
	f.files = append(f.files, File{name, info.Size()})
	return nil
}

func (f *folder) Files() []File      { return f.files }
func (f *folder) Refused() []Problem { return f.refused }
func (f *folder) Folders() []string  { return f.empty }
func (f *folder) Close() error       { return f.root.Close() }

// Open opens a file of the bag. One that became something else since it was
// listed is refused; it is opened so that a pipe in its place cannot block.
func (f *folder) Open(path string) (io.ReadCloser, error) {
	return OpenRegular(f.root, path)
}

// OpenRegular opens a regular file below a folder; what links lead out of it, and
// all else, is refused. A pipe or a device does not block.
func OpenRegular(root *os.Root, path string) (*os.File, error) {
	file, err := root.OpenFile(filepath.FromSlash(path), os.O_RDONLY|nonblock, 0)
	if err != nil {
		return nil, err
	}
	if info, err := file.Stat(); err != nil || !info.Mode().IsRegular() {
		file.Close()
		return nil, fmt.Errorf("%s is no regular file", shown(path))
	}
	return file, nil
}
