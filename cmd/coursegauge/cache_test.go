package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
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

// Results that another user left in a shared cache are not believed, nor those
// that were moved to the place of another photo.
func TestPlantedResultsAreNotBelieved(t *testing.T) {
	dir := t.TempDir()
	for i := range 2 {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/%d.jpg", i)), cardless(t, 640, 480+i))
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	inspect := func(user string) (kept, measured int) {
		t.Helper()
		c := exec.Command(binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--cache", "shared", "--log-format", "json")
		c.Dir, c.Env = dir, append(os.Environ(), "XDG_CONFIG_HOME="+filepath.Join(dir, user))
		var stderr bytes.Buffer
		c.Stderr = &stderr
		if err := c.Run(); c.ProcessState == nil || c.ProcessState.ExitCode() != exitLook {
			t.Fatalf("%v\n%s", err, stderr.String())
		}
		return keptOf(photosLogged(t, stderr.String()))
	}
	for _, run := range []struct {
		user           string
		kept, measured int
	}{{"other", 0, 2}, {"own", 0, 2}, {"own", 2, 0}, {"other", 2, 0}} {
		if kept, measured := inspect(run.user); kept != run.kept || measured != run.measured {
			t.Errorf("%s: %d kept and %d measured, want %d and %d", run.user, kept, measured, run.kept, run.measured)
		}
	}

	// Every entry takes the place of the next one.
	entries, err := filepath.Glob(filepath.Join(dir, "shared/??/*"))
	if err != nil || len(entries) < 2 {
		t.Fatalf("%q, %v", entries, err)
	}
	first, err := os.ReadFile(entries[0])
	if err != nil {
		t.Fatal(err)
	}
	for i := range entries {
		next := first
		if i+1 < len(entries) {
			if next, err = os.ReadFile(entries[i+1]); err != nil {
				t.Fatal(err)
			}
		}
		writeFile(t, entries[i], next)
	}
	if kept, measured := inspect("own"); kept != 0 || measured != 2 {
		t.Errorf("entries that were moved: %d kept and %d measured", kept, measured)
	}
}

// A key that others can read is none: a folder that was asked for cannot be used
// then, the usual one is done without.
func TestCacheKeyOfOthers(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "photos/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	key := filepath.Join(dir, "settings/coursegauge/cache.key")
	writeFile(t, key, make([]byte, 32))
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "settings"))
	args := []string{"inspect", "photos", "--schedule", "lot.yaml", "--out", "out"}
	r := runIn(t, dir, append(args, "--cache", "kept")...)
	r.said(t, exitFailed, "--cache kept: cannot keep results there: "+key+": other users may use it (mode 0644); chmod 600", "hint: set XDG_CONFIG_HOME")
	r.oneError(t)
	runIn(t, dir, args...).said(t, exitLook, "warning: results are not kept for later runs: "+key)
	if err := os.Chmod(key, 0o600); err != nil {
		t.Fatal(err)
	}
	if r := runIn(t, dir, append(args, "--cache", "kept")...); r.status != exitLook {
		t.Errorf("a key of one's own: %d\n%s", r.status, r.err)
	}
}
