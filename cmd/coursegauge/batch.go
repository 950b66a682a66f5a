package main

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
)

// batch is what the arguments of a command come to: each photo once, in
// natural order of its name (IMG_9 before IMG_10).
type batch struct {
	photos  []photoFile
	skipped int      // files of a folder or a pattern that are no photos by their name
	others  others   // what these are
	folders []string // within the folders that were named
}

// photoFile is one photo on disk and the name that it has in every document.
type photoFile struct {
	path  string // as it opens
	name  string // below the folder that all photos of the batch share, with slashes; UTF-8
	bytes string // of the name when that is not UTF-8, percent-encoded
}

// shown is the name on one line for people.
func (p photoFile) shown() string {
	return inspection.Photo{File: p.name, FileBytes: p.bytes}.Shown()
}

// expand turns arguments into a batch. A folder stands for the photos directly
// in it, a pattern for what it matches; a file that is named stands for itself
// whatever its name is.
func expand(args []string) (batch, error) {
	var b batch
	seen := map[string]bool{}
	add := func(path string) {
		if key := identity(path); !seen[key] {
			seen[key] = true
			b.photos = append(b.photos, photoFile{path: path})
		}
	}
	for _, arg := range args {
		paths, skipped, folders, err := expandOne(arg)
		if err != nil {
			return batch{}, err
		}
		b.others = b.others.plus(skipped)
		b.folders = append(b.folders, folders...)
		for _, path := range paths {
			add(path)
		}
	}
	b.skipped = b.others.total()
	b.nameAndSort()
	return b, nil
}

// expandOne gives the files that one argument stands for.
func expandOne(arg string) (paths []string, skipped others, folders []string, err error) {
	info, err := os.Stat(arg)
	switch {
	case err == nil && info.IsDir():
		return expandFolder(arg)
	case err == nil:
		return []string{arg}, others{}, nil, nil
	case strings.ContainsAny(arg, "*?["):
		paths, skipped, err = expandPattern(arg)
		return paths, skipped, nil, err
	case os.IsNotExist(err):
		return nil, others{}, nil, usageError{"no such file or folder: " + escape.Text(arg), nearPath(arg, "give photos, folders of photos, or a pattern in quotes such as 'lot-7/*.jpg'")}
	default:
		return nil, others{}, nil, failure{fmt.Sprintf("cannot look at %s: %v", escape.Text(arg), cause(err)), ""}
	}
}

func expandFolder(folder string) (paths []string, skipped others, folders []string, err error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, others{}, nil, failure{fmt.Sprintf("cannot read the folder %s: %v", escape.Text(folder), cause(err)), ""}
	}
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		info, err := os.Stat(path) // through links
		switch {
		case err == nil && info.IsDir(): // a folder within is another job
			folders = append(folders, path)
		case isPhotoName(path):
			paths = append(paths, path)
		default:
			skipped.add(path)
		}
	}
	if len(paths) == 0 {
		return nil, others{}, nil, usageError{fmt.Sprintf("no photos in the folder %s (%s)", escape.Text(folder), skipped),
			"photos are files named " + photoKindsText + "; folders within it are not looked into"}
	}
	return paths, skipped, folders, nil
}

// skippedFolders are the folders beside the photos that hold photos, too, which
// nobody asked for. Hidden ones, and those that the run writes to, are not meant.
func (b batch) skippedFolders(written ...string) (out []string) {
	for _, folder := range b.folders {
		ours := strings.HasPrefix(filepath.Base(folder), ".")
		for _, w := range written {
			ours = ours || w != "" && within(identity(w), identity(folder))
		}
		asked := slices.ContainsFunc(b.photos, func(p photoFile) bool { return within(identity(p.path), identity(folder)) })
		if !ours && !asked && holdsPhotos(folder) {
			out = append(out, folder)
		}
	}
	return out
}

// holdsPhotos tells whether a photo lies in the folder or below.
func holdsPhotos(folder string) bool {
	found := false
	_ = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return fs.SkipDir // what cannot be looked into
		case path != folder && d.IsDir() && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case !d.IsDir() && isPhotoName(path):
			found = true
			return fs.SkipAll
		}
		return nil
	})
	return found
}

func expandPattern(pattern string) (paths []string, skipped others, err error) {
	matches, err := filepath.Glob(pattern)
	if err != nil {
		return nil, others{}, usageError{fmt.Sprintf("bad pattern %q: %v", pattern, err), "* stands for any letters, ? for one, [abc] for one of them"}
	}
	for _, path := range matches {
		if info, err := os.Stat(path); err == nil && info.IsDir() {
			continue
		}
		if isPhotoName(path) {
			paths = append(paths, path)
		} else {
			skipped.add(path)
		}
	}
	if len(paths) == 0 {
		return nil, others{}, usageError{fmt.Sprintf("no photo matches %q (%s)", pattern, skipped), "photos are files named " + photoKindsText}
	}
	return paths, skipped, nil
}

// identity is the same for two ways to write one file.
func identity(path string) string {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return path
}

// nameAndSort names the photos below the folder that they share and puts them in order.
func (b *batch) nameAndSort() {
	shared := ""
	for i, p := range b.photos {
		abs, err := filepath.Abs(p.path)
		if err != nil {
			abs = p.path
		}
		b.photos[i].name = abs
		if i == 0 {
			shared = filepath.Dir(abs)
		}
		for !within(abs, shared) {
			shared = filepath.Dir(shared)
		}
	}
	for i := range b.photos {
		p := &b.photos[i]
		if rel, err := filepath.Rel(shared, p.name); err == nil {
			p.name = filepath.ToSlash(rel)
		}
	}
	b.writeNames()
	slices.SortFunc(b.photos, func(x, y photoFile) int { return compareNatural(x.name, y.name) })
}

// writeNames gives every photo a name that a document can hold and that no other
// has, also where one is called what another looks like when it is escaped.
func (b *batch) writeNames() {
	taken := map[string]bool{}
	for _, p := range b.photos {
		taken[p.name] = true
	}
	for i := range b.photos {
		p := &b.photos[i]
		file, bytes := inspection.Name(p.name)
		if bytes == "" {
			continue
		}
		for taken[file] {
			file += "~"
		}
		taken[file] = true
		p.name, p.bytes = file, bytes
	}
}

func within(path, folder string) bool {
	rel, err := filepath.Rel(folder, path)
	return err == nil && filepath.IsLocal(rel)
}

// compareNatural orders names as people do: letters without their case, runs
// of digits by their number. Names that are alike so far are ordered by their bytes.
func compareNatural(a, b string) int {
	x, y := strings.ToLower(a), strings.ToLower(b)
	for x != "" && y != "" {
		nx, ny := digits(x), digits(y)
		if nx > 0 && ny > 0 {
			if c := compareNumbers(x[:nx], y[:ny]); c != 0 {
				return c
			}
			x, y = x[nx:], y[ny:]
			continue
		}
		if x[0] != y[0] {
			return cmp.Compare(x[0], y[0])
		}
		x, y = x[1:], y[1:]
	}
	if c := cmp.Compare(len(x), len(y)); c != 0 {
		return c
	}
	return cmp.Compare(a, b)
}

// digits is the length of the run of digits that s begins with.
func digits(s string) int {
	n := 0
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	return n
}

// compareNumbers compares runs of digits of any length by their value.
func compareNumbers(a, b string) int {
	a, b = strings.TrimLeft(a, "0"), strings.TrimLeft(b, "0")
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}
