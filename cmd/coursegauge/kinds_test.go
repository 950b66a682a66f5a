package main

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What a phone's folder holds beside its photos is counted by what it is.
func TestKindsOfFiles(t *testing.T) {
	root := tree(t, "IMG_1.HEIC", "IMG_1.MOV", "IMG_2.heif", "IMG_2.mov", "IMG_3.dng", "IMG_3.JPG", "IMG_4.webp", "IMG_5.tif",
		"IMG_6.MPO", "._IMG_3.JPG", "IMG_7.aae", "clip.mp4")
	b, err := expand([]string{root})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"IMG_1.HEIC", "IMG_2.heif", "IMG_3.JPG", "IMG_4.webp", "IMG_5.tif", "IMG_6.MPO"}; !slices.Equal(names(b), want) {
		t.Errorf("photos %q, want %q", names(b), want)
	}
	if want := "3 videos, 1 raw file and 2 other files"; b.others.String() != want || b.skipped != 6 {
		t.Errorf("skipped %d: %s; want 6: %s", b.skipped, b.others, want)
	}
	_, err = expand([]string{filepath.Join(root, "*.[dm][no][gv]")})
	if err == nil || !strings.Contains(err.Error(), "(1 video and 1 raw file)") {
		t.Errorf("a pattern of no photos: %v", err)
	}
}

func TestOthersString(t *testing.T) {
	for want, o := range map[string]others{
		"0 other files": {}, "1 video": {videos: 1}, "2 raw files": {raws: 2}, "1 raw file and 1 other file": {raws: 1, rest: 1},
	} {
		if got := o.String(); got != want {
			t.Errorf("%+v: %q, want %q", o, got, want)
		}
	}
}
