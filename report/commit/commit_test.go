package commit

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// content is the files of a folder with their texts, "folder" for a folder.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	found, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, f := range found {
		if f.IsDir() {
			out[f.Name()] = "folder"
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		out[f.Name()] = string(data)
	}
	return out
}

func staged(t *testing.T, dir string) *Staged {
	t.Helper()
	aside := filepath.Join(dir, ".aside")
	if err := os.MkdirAll(aside, 0o755); err != nil {
		t.Fatal(err)
	}
	s, err := Stage(dir, aside)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		write(t, s.Path(name), "new")
	}
	return s
}

func TestCommit(t *testing.T) {
	for _, old := range []map[string]string{{}, {"inspection.json": "old"}, {"inspection.json": "old", "report.html": "old", "fasteners.csv": "old", "decisions.jsonl": "own"}} {
		dir := t.TempDir()
		for name, text := range old {
			write(t, filepath.Join(dir, name), text)
		}
		s := staged(t, dir)
		want := maps.Clone(old)
		want[".aside"] = "folder"
		if got := content(t, dir); !maps.Equal(got, want) {
			t.Errorf("before: %v, want %v", got, want)
		}
		if err := s.Commit(); err != nil {
			t.Fatal(err)
		}
		s.Discard()
		for _, name := range names {
			want[name] = "new"
		}
		if got := content(t, dir); !maps.Equal(got, want) {
			t.Errorf("after: %v, want %v", got, want)
		}
	}
}

// However far a program got after the commit point, the next one finishes it;
// one that ended before leaves the old files.
func TestCutShort(t *testing.T) {
	for moved := range len(names) + 1 {
		dir := t.TempDir()
		write(t, filepath.Join(dir, "decisions.jsonl"), "own")
		if err := os.Mkdir(filepath.Join(dir, Folder), 0o755); err != nil {
			t.Fatal(err)
		}
		for i, name := range names {
			if i < moved {
				write(t, filepath.Join(dir, name), "new")
				continue
			}
			write(t, filepath.Join(dir, name), "old")
			write(t, filepath.Join(dir, Folder, name), "new")
		}
		if err := Recover(dir); err != nil {
			t.Fatal(err)
		}
		want := map[string]string{"decisions.jsonl": "own", "fasteners.csv": "new", "inspection.json": "new", "report.html": "new"}
		if got := content(t, dir); !maps.Equal(got, want) {
			t.Errorf("%d moved: %v", moved, got)
		}
		if err := Recover(dir); err != nil {
			t.Errorf("a second time: %v", err)
		}
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "report.html"), "old")
	staged(t, dir)
	if err := Recover(dir); err != nil {
		t.Fatal(err)
	}
	if got := content(t, dir); got["report.html"] != "old" || len(got) != 2 {
		t.Errorf("before the commit point: %v", got)
	}
}

// A commit finishes an earlier one first, so that none of its files comes later.
func TestCommitAfterOneCutShort(t *testing.T) {
	dir := t.TempDir()
	for _, name := range names {
		write(t, filepath.Join(dir, Folder, name), "older")
	}
	if err := staged(t, dir).Commit(); err != nil {
		t.Fatal(err)
	}
	for name, text := range content(t, dir) {
		if slices.Contains(names, name) && text != "new" {
			t.Errorf("%s is %s", name, text)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, Folder)); !os.IsNotExist(err) {
		t.Error("the folder is still there")
	}
}

// A file that cannot be replaced is found before the commit point.
func TestNothingIsReplacedWhenOneCannotBe(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "fasteners.csv"), "old")
	write(t, filepath.Join(dir, "report.html/mine.txt"), "own")
	err := staged(t, dir).Commit()
	var unfinished Unfinished
	if !errors.Is(err, syscall.EISDIR) || errors.As(err, &unfinished) {
		t.Errorf("%v", err)
	}
	want := map[string]string{".aside": "folder", "fasteners.csv": "old", "report.html": "folder"}
	if got := content(t, dir); !maps.Equal(got, want) {
		t.Errorf("%v", got)
	}
}

// What somebody else put there under the name of the folder is not moved.
func TestRecoverMovesOursAlone(t *testing.T) {
	for name, plant := range map[string]func(t *testing.T, dir string) error{
		"another file": func(t *testing.T, dir string) error {
			write(t, filepath.Join(dir, Folder, "decisions.jsonl"), "theirs")
			write(t, filepath.Join(dir, Folder, "report.html"), "theirs")
			return nil
		},
		"a link": func(t *testing.T, dir string) error {
			write(t, filepath.Join(dir, Folder, "fasteners.csv"), "theirs")
			return os.Symlink("../decisions.jsonl", filepath.Join(dir, Folder, "report.html"))
		},
		"a link as the folder": func(t *testing.T, dir string) error {
			elsewhere := t.TempDir()
			write(t, filepath.Join(elsewhere, "report.html"), "theirs")
			return os.Symlink(elsewhere, filepath.Join(dir, Folder))
		},
		"a file as the folder": func(t *testing.T, dir string) error { write(t, filepath.Join(dir, Folder), "theirs"); return nil },
	} {
		dir := t.TempDir()
		for _, own := range []string{"decisions.jsonl", "report.html", "fasteners.csv"} {
			write(t, filepath.Join(dir, own), "own")
		}
		if err := plant(t, dir); err != nil {
			t.Fatal(err)
		}
		var unfinished Unfinished
		if err := Recover(dir); !errors.As(err, &unfinished) {
			t.Errorf("%s: %v", name, err)
		}
		for _, own := range []string{"decisions.jsonl", "report.html", "fasteners.csv"} {
			if data, err := os.ReadFile(filepath.Join(dir, own)); err != nil || string(data) != "own" {
				t.Errorf("%s: %s is %q (%v)", name, own, data, err)
			}
		}
	}
	for _, dir := range []string{"nowhere", "commit.go/nowhere"} {
		if err := Recover(dir); err != nil {
			t.Errorf("%s: %v", dir, err)
		}
	}
}
