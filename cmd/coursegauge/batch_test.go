package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// tree makes empty files (folders when the name ends in /) and gives their root.
func tree(t *testing.T, names ...string) string {
	t.Helper()
	root := t.TempDir()
	for _, name := range names {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "/") {
			if err := os.MkdirAll(path, 0o755); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

func names(b batch) []string {
	var out []string
	for _, p := range b.photos {
		out = append(out, p.name)
	}
	return out
}

func TestExpand(t *testing.T) {
	root := tree(t,
		"a/IMG_10.jpg", "a/IMG_9.JPG", "a/img_2.jpeg", "a/x.PNG", "a/notes.txt", "a/schedule.yaml", "a/sub/IMG_1.jpg", "a/.hidden",
		"b/IMG_9.JPG", "b/odd.heic")
	if err := os.Symlink(filepath.Join(root, "a/IMG_10.jpg"), filepath.Join(root, "b/again.jpg")); err != nil {
		t.Fatal(err)
	}
	at := func(names ...string) (out []string) {
		for _, n := range names {
			out = append(out, filepath.Join(root, n))
		}
		return out
	}
	for _, c := range []struct {
		name    string
		args    []string
		want    []string
		skipped int
	}{
		{"a folder, in natural order, without its folders", at("a"), []string{"img_2.jpeg", "IMG_9.JPG", "IMG_10.jpg", "x.PNG"}, 3},
		{"a folder and a file in it, once", at("a", "a/IMG_9.JPG"), []string{"img_2.jpeg", "IMG_9.JPG", "IMG_10.jpg", "x.PNG"}, 3},
		{"two ways to write a file, once", at("a/IMG_9.JPG", "a/../a/IMG_9.JPG", "b/../a/./IMG_9.JPG"), []string{"IMG_9.JPG"}, 0},
		{"a link to a photo that is there, once", at("a/IMG_10.jpg", "b/again.jpg"), []string{"IMG_10.jpg"}, 0},
		{"a pattern", at("a/IMG_*"), []string{"IMG_9.JPG", "IMG_10.jpg"}, 0},
		{"a pattern that takes other files too", at("a/*"), []string{"img_2.jpeg", "IMG_9.JPG", "IMG_10.jpg", "x.PNG"}, 3},
		{"one name in two folders, told apart", at("a/IMG_9.JPG", "b/IMG_9.JPG"), []string{"a/IMG_9.JPG", "b/IMG_9.JPG"}, 0},
		{"a named file of another kind stays, to be refused with its reason", at("b/odd.heic"), []string{"odd.heic"}, 0},
		{"a folder within is another job", at("a/sub", "a/IMG_9.JPG"), []string{"IMG_9.JPG", "sub/IMG_1.jpg"}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := expand(c.args)
			if err != nil {
				t.Fatal(err)
			}
			if got := names(b); !slices.Equal(got, c.want) {
				t.Errorf("photos %q, want %q", got, c.want)
			}
			if b.skipped != c.skipped {
				t.Errorf("skipped %d, want %d", b.skipped, c.skipped)
			}
		})
	}
}

func TestExpandRefuses(t *testing.T) {
	root := tree(t, "empty/", "texts/a.txt", "texts/b.md")
	for _, c := range []struct{ arg, want string }{
		{"none", "no such file or folder"},
		{"empty", "no photos in the folder"},
		{"texts", "(2 other files)"},
		{"texts/*.jpg", "no photo matches"},
		{"texts/*", "(2 other files)"},
		{"texts/[", "bad pattern"},
	} {
		_, err := expand([]string{filepath.Join(root, c.arg)})
		var usage usageError
		if !errors.As(err, &usage) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want wrong use with %q", c.arg, err, c.want)
		}
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: more than one line: %v", c.arg, err)
		}
	}
}

func TestCompareNatural(t *testing.T) {
	inOrder := []string{
		"", "1.jpg", "2.jpg", "010.jpg", "10.jpg", "99999999999999999999.jpg", "100000000000000000000.jpg",
		"a-2.jpg", "a-10.jpg", "a10b2.jpg", "a10b10.jpg", "IMG_9.JPG", "img_10.jpg", "img_10.jpg.png", "é.jpg",
	}
	for i, a := range inOrder {
		for j, b := range inOrder {
			got, want := compareNatural(a, b), 0
			if i < j {
				want = -1
			} else if i > j {
				want = 1
			}
			if got != want {
				t.Errorf("compareNatural(%q, %q) = %d, want %d", a, b, got, want)
			}
		}
	}
}

// Every part of a batch together is the batch, each photo once; which part a
// photo is in depends on its content alone.
func TestShardsCoverTheBatch(t *testing.T) {
	dir := t.TempDir()
	var all []photoFile
	for i := range 40 {
		name := fmt.Sprintf("p%02d.jpg", i)
		writeFile(t, filepath.Join(dir, name), []byte(name))
		all = append(all, photoFile{path: filepath.Join(dir, name), name: name})
	}
	all = append(all, photoFile{path: filepath.Join(dir, "gone.jpg"), name: "gone.jpg"})
	for count := 1; count <= 9; count++ {
		seen := map[string]int{}
		for index := 1; index <= count; index++ {
			s := shard{index, count}
			mine := s.of(t.Context(), all)
			if len(mine) == 0 || count > 1 && len(mine) > len(all)*3/4 {
				t.Errorf("part %d of %d has %d of %d photos", index, count, len(mine), len(all))
			}
			for _, p := range mine {
				seen[p.name]++
				if got := s.of(t.Context(), []photoFile{{path: p.path, name: "another-name.jpg"}}); len(got) != 1 && p.name != "gone.jpg" {
					t.Errorf("%s is in another part when it is alone and has another name", p.name)
				}
			}
		}
		for _, p := range all {
			if seen[p.name] != 1 {
				t.Errorf("%d parts: photo %s %d times", count, p.name, seen[p.name])
			}
		}
	}
}

func TestShardForm(t *testing.T) {
	for text, ok := range map[string]bool{
		"1/1": true, "2/3": true, "0/3": false, "4/3": false, "1/0": false, "1": false, "a/b": false, "-1/2": false, "": false, "1/2/3": false, "env/2": false, "env": false,
	} {
		var s shard
		if err := s.Set(text); (err == nil) != ok {
			t.Errorf("--shard %q: error %v, want fine: %v", text, err, ok)
		}
	}
}

// The schedulers' variables: Kubernetes counts an Indexed Job from 0 (its
// manual, "Indexed Job for Parallel Processing with Static Work Assignment"),
// sbatch(1) tells of the SLURM_ARRAY_TASK_ variables.
func TestShardFromScheduler(t *testing.T) {
	for _, c := range []struct {
		env  string
		want shard // zero: refused
	}{
		{"", shard{}},
		{"JOB_COMPLETION_INDEX=0", shard{1, 8}},
		{"JOB_COMPLETION_INDEX=7", shard{8, 8}},
		{"JOB_COMPLETION_INDEX=8", shard{}},
		{"JOB_COMPLETION_INDEX=", shard{}},
		{"JOB_COMPLETION_INDEX=-1", shard{}},
		{"SLURM_ARRAY_TASK_ID=1", shard{1, 8}},
		{"SLURM_ARRAY_TASK_ID=8 SLURM_ARRAY_TASK_MIN=1 SLURM_ARRAY_TASK_COUNT=8 SLURM_ARRAY_TASK_STEP=1", shard{8, 8}},
		{"SLURM_ARRAY_TASK_ID=0 SLURM_ARRAY_TASK_MIN=0 SLURM_ARRAY_TASK_COUNT=8", shard{1, 8}},
		{"SLURM_ARRAY_TASK_ID=30 SLURM_ARRAY_TASK_MIN=10 SLURM_ARRAY_TASK_STEP=10 SLURM_ARRAY_TASK_COUNT=8", shard{3, 8}},
		{"SLURM_ARRAY_TASK_ID=1 SLURM_ARRAY_TASK_COUNT=4", shard{}}, // half of the photos would be left out
		{"SLURM_ARRAY_TASK_ID=x", shard{}},
		{"SLURM_ARRAY_TASK_ID=1 JOB_COMPLETION_INDEX=3", shard{4, 8}},
	} {
		for _, name := range []string{"JOB_COMPLETION_INDEX", "SLURM_ARRAY_TASK_ID", "SLURM_ARRAY_TASK_MIN", "SLURM_ARRAY_TASK_COUNT", "SLURM_ARRAY_TASK_STEP"} {
			t.Setenv(name, "")
			os.Unsetenv(name)
		}
		for _, v := range strings.Fields(c.env) {
			name, value, _ := strings.Cut(v, "=")
			t.Setenv(name, value)
		}
		var got shard
		if err := got.Set("env/8"); got != c.want || (err == nil) != (c.want.count > 0) {
			t.Errorf("%q: part %v, error %v, want %v", c.env, got, err, c.want)
		}
	}
}
