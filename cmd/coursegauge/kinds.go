package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// What files are by their names. The bytes decide what a photo is read as; the
// names only decide which files of a folder are looked at.
var (
	photoKinds = []string{".jpg", ".jpeg", ".heic", ".heif", ".hif", ".png", ".webp", ".tif", ".tiff", ".mpo"}
	videoKinds = []string{".mov", ".mp4", ".m4v", ".3gp", ".avi", ".mts", ".hevc", ".webm"}
	rawKinds   = []string{".dng", ".raw", ".arw", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".orf", ".pef", ".raf", ".rw2", ".srw"}
)

const photoKindsText = ".jpg, .heic, .png, .webp or .tif"

// isPhotoName leaves out hidden files: cards hold leftovers of other systems
// under the names of photos with a dot before.
func isPhotoName(path string) bool {
	return isKind(path, photoKinds) && !strings.HasPrefix(filepath.Base(path), ".")
}

// What files that are written may be called.
var (
	pageKinds = []string{".html", ".htm"}
	dataKinds = []string{".json"}
)

// wantKind refuses a name for a file that promises another form than the file
// will have.
func wantKind(flag, path string, kinds []string) error {
	if isKind(path, kinds) {
		return nil
	}
	hint := ""
	if isKind(path, []string{".pdf"}) && slices.Contains(kinds, pageKinds[0]) {
		hint = "a browser prints the page to a PDF"
	}
	return usageError{fmt.Sprintf("%s %s: the name of this file ends in %s", flag, path, strings.Join(kinds, " or ")), hint}
}

func isKind(path string, kinds []string) bool {
	return slices.Contains(kinds, strings.ToLower(filepath.Ext(path)))
}

// others counts the files beside the photos.
type others struct{ videos, raws, rest int }

func (o *others) add(path string) {
	switch {
	case isKind(path, videoKinds):
		o.videos++
	case isKind(path, rawKinds):
		o.raws++
	default:
		o.rest++
	}
}

func (o others) plus(p others) others {
	return others{o.videos + p.videos, o.raws + p.raws, o.rest + p.rest}
}

func (o others) total() int { return o.videos + o.raws + o.rest }

// String is "2 videos, 1 raw file and 3 other files" as far as there are any.
func (o others) String() string {
	var parts []string
	for _, p := range []struct {
		n         int
		one, many string
	}{{o.videos, "video", "videos"}, {o.raws, "raw file", "raw files"}, {o.rest, "other file", "other files"}} {
		if p.n > 0 {
			parts = append(parts, plural(p.n, p.one, p.many))
		}
	}
	switch n := len(parts); n {
	case 0:
		return "0 other files"
	case 1:
		return parts[0]
	default:
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
}
