package main

import (
	"os"
	"path/filepath"
	"testing"
)

// A folder of the user's own is no cache: a run that is given one ends before
// any work, and a film that is larger than a cache may be is still there.
func TestCacheIsNoFolderOfTheUsers(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	film := filepath.Join(dir, "films/roof/film.mp4")
	writeFile(t, film, nil)
	if err := os.Truncate(film, 5<<30); err != nil { // no blocks are taken
		t.Fatal(err)
	}
	inspect := func(cache string) ran {
		return runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--cache", cache)
	}
	r := inspect("films")
	r.said(t, exitUsage, "--cache films: the folder holds other files and is not a result cache; nothing in it was touched", "hint: give a new or an empty folder, or --no-cache")
	r.oneError(t)
	if got := filesIn(t, filepath.Join(dir, "films")); len(got) != 1 {
		t.Errorf("the folder holds %q", got)
	}
	inspect("kept").said(t, exitLook)

	// In a cache, too, nothing but entries is counted and removed.
	if err := os.Rename(filepath.Join(dir, "films/roof"), filepath.Join(dir, "kept/roof")); err != nil {
		t.Fatal(err)
	}
	inspect("kept").said(t, exitLook)
	if info, err := os.Stat(filepath.Join(dir, "kept/roof/film.mp4")); err != nil || info.Size() != 5<<30 {
		t.Errorf("the film in the cache: %v", err)
	}
}
