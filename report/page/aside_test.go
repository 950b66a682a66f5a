package page

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// What a killed process left is swept by the next report in the folder; what a
// living one holds, what is fresh, and what is not ours stays.
func TestSweep(t *testing.T) {
	in := t.TempDir()
	long := time.Now().Add(-time.Hour)
	age := func(dir string) {
		if err := os.Chtimes(dir, long, long); err != nil {
			t.Fatal(err)
		}
	}
	folder := func(name string) string {
		dir := filepath.Join(in, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "part.html"), nil, 0o644); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	left, fresh, other := folder(AsideName+"left"), folder(AsideName+"fresh"), folder("photos")
	age(left)
	age(other)
	held, err := newAside(in)
	if err != nil {
		t.Fatal(err)
	}
	age(held.dir)
	next, err := newAside(in)
	if err != nil {
		t.Fatal(err)
	}
	for dir, want := range map[string]bool{left: false, fresh: true, other: true, held.dir: true, next.dir: true} {
		if _, err := os.Stat(dir); (err == nil) != want {
			t.Errorf("%s is there: %v, want %v", filepath.Base(dir), err == nil, want)
		}
	}
	for _, a := range []*aside{held, next} {
		if err := a.remove(); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(a.dir); !os.IsNotExist(err) {
			t.Errorf("%s is still there", a.dir)
		}
	}
}
