// Package crew says which crew a photo belongs to. In: the bytes of crews.yaml
// and what is known of a photo. Out: a name, or one line that says where the
// file is wrong.
//
//	cards:   {3: first crew, 4: second crew}   # numbers of the printed cards
//	folders: {north: first crew}               # names of folders that hold photos
//	devices: {example phone 12: first crew}    # phones as their photos name them
//
// Each of the three may be left out.
package crew

import (
	"maps"
	"path/filepath"
	"slices"
	"strings"
)

// Photo is what tells a crew.
type Photo struct {
	Card   int    // -1 when no card was seen
	Path   string // absolute path of the file
	Device string // "" when the file names none
}

// List is a file of crews. The zero value knows none.
type List struct {
	cards   map[int]string
	folders map[string]string // elements joined by slashes
	devices map[string]string // folded
}

// Of names the crew of a photo, "" when nothing tells it. The card in the
// picture tells first, then the folder, then the device; rivals are the names
// that the lesser ones would have given instead.
func (l List) Of(p Photo) (name string, rivals []string) {
	for _, n := range []string{l.cards[p.Card], l.folder(p.Path), l.devices[fold(p.Device)]} {
		switch {
		case n == "":
		case name == "":
			name = n
		case n != name && !slices.Contains(rivals, n):
			rivals = append(rivals, n)
		}
	}
	return name, rivals
}

// Unused are the folders of the list in which none of these photos (absolute
// paths) lies, in order: a name that was misspelt is one of them.
func (l List) Unused(paths []string) []string {
	used := map[string]bool{}
	for _, p := range paths {
		elements := folders(p)
		for from := range elements {
			for end := from + 1; end <= len(elements); end++ {
				used[strings.Join(elements[from:end], "/")] = true
			}
		}
	}
	var out []string
	for name := range l.folders {
		if !used[name] {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// folders are the names of the folders that a file lies in, from the root.
func folders(path string) []string {
	return strings.Split(strings.Trim(filepath.ToSlash(filepath.Dir(path)), "/"), "/")
}

// folder looks for the folders of the file, from the one it lies in upwards;
// of several that end at the same one the longest counts.
func (l List) folder(path string) string {
	elements := folders(path)
	for end := len(elements); end > 0; end-- {
		for from := range end {
			if n := l.folders[strings.Join(elements[from:end], "/")]; n != "" {
				return n
			}
		}
	}
	return ""
}

// fold makes two ways to write a device alike.
func fold(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// Names are the crews that the list knows, in order, each once.
func (l List) Names() []string {
	var all []string
	for _, m := range []map[string]string{l.folders, l.devices} {
		all = slices.AppendSeq(all, maps.Values(m))
	}
	all = slices.AppendSeq(all, maps.Values(l.cards))
	slices.Sort(all)
	return slices.Compact(all)
}
