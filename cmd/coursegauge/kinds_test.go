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

// A file is not given a name that promises another form; nothing is begun then.
func TestNamesOfWrittenFiles(t *testing.T) {
	t.Parallel()
	dir, _ := reviewFolder(t)
	writeFile(t, filepath.Join(dir, "a.jpg"), cardless(t, 640, 480))
	before := filesIn(t, dir)
	for _, c := range []struct{ line, says string }{
		{"crew first --ledger l --out sheet.pdf", "--out sheet.pdf: the name of this file ends in .html or .htm"},
		{"crew first --ledger l --out sheet", "--out sheet: the name"},
		{"crew first --ledger l --out sheet.html.PDF", "a browser prints the page to a PDF"},
		{"review . --mend mend.pdf", "--mend mend.pdf: the name of this file ends in .html or .htm"},
		{"review . --mend mend.csv", "--mend mend.csv: the name"},
		{"explain a.jpg --out a.pdf", "--out a.pdf: the name of this file ends in .html or .htm"},
		{"record summary r --out r.pdf", "--out r.pdf: the name of this file ends in .html or .htm"},
		{"card make --number 3 --out card.html", "--out card.html: a file named .pdf, .svg or .png is needed"},
		{"card prove --number 3 --length 10in --out cards.html", "--out cards.html: the name of this file ends in .json"},
		{"camera learn a.jpg --out lens.html", "--out lens.html: the name of this file ends in .json"},
	} {
		r := runIn(t, dir, strings.Fields(c.line)...)
		r.said(t, exitUsage, c.says)
	}
	if now := filesIn(t, dir); !slices.Equal(now, before) {
		t.Errorf("the folder holds %q, before %q", now, before)
	}
	for _, name := range []string{"m.html", "m.HTM"} {
		runIn(t, dir, "review", ".", "--mend", name).said(t, exitDone, "mend list: "+name)
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
