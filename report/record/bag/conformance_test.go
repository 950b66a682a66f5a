package bag

import (
	"archive/tar"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const suite = "../../../testdata/reference/bagit-conformance"

// suiteCopy is the suite with the bags of its tar file in their places, and the
// file that its source could not hold.
func suiteCopy(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(suite)); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join(suite, "odd-names.tar"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for r := tar.NewReader(f); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, h.Name)
		if strings.HasSuffix(h.Name, "/") {
			err = os.MkdirAll(path, 0o755)
		} else {
			var data []byte
			if data, err = io.ReadAll(r); err == nil {
				err = os.WriteFile(path, data, 0o644)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	system := filepath.Join(dir, "v0.97/warning/special-system-files/data/.DS_Store")
	if err := os.WriteFile(system, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Every bag of the suite is accepted, warned about or refused as its folder says.
func TestConformanceSuite(t *testing.T) {
	dir := suiteCopy(t)
	bags, err := filepath.Glob(filepath.Join(dir, "v*/*/*"))
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for _, path := range bags {
		expected := filepath.Base(filepath.Dir(path))
		counts[expected]++
		name, _ := filepath.Rel(dir, path)
		t.Run(name, func(t *testing.T) {
			r := check(t, path)
			ok := r.Valid()
			switch expected {
			case "valid":
			case "warning":
				ok = ok && len(r.Warnings) > 0
			case "invalid", "linux-only", "windows-only":
				ok = !ok
			default:
				t.Fatalf("a folder named %s says nothing", expected)
			}
			if !ok {
				t.Errorf("problems %q, warnings %q", r.Problems, r.Warnings)
			}
			t.Logf("problems %q, warnings %q", r.Problems, r.Warnings)
		})
	}
	// 46 bags, as its README counts them: 39 folders and 7 in the tar file
	if len(bags) != 46 {
		t.Errorf("%d bags %v, want 46", len(bags), counts)
	}
	t.Log(counts)
}

func check(t *testing.T, path string) Report {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	r, err := Check(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The reason for a refusal is the one that the bag was made for.
func TestConformanceReasons(t *testing.T) {
	dir := suiteCopy(t)
	for bag, words := range map[string]string{
		"v0.97/invalid/baginfo-missing-encoding":                             "has 1 lines",
		"v0.97/invalid/bom-in-bagit.txt":                                     "byte order mark",
		"v0.97/invalid/corrupt-data-file":                                    "was changed",
		"v0.97/invalid/corrupt-tag-file":                                     "was changed",
		"v0.97/invalid/extra-file-in-bag":                                    "was added",
		"v0.97/invalid/invalid-version-number":                               `"BagIt-Version: .97"`,
		"v0.97/invalid/missing-baginfo":                                      "bag-info.txt: is missing",
		"v0.97/invalid/missing-bagit.txt":                                    "bagit.txt: is missing",
		"v0.97/invalid/out-of-scope-file-paths-using-dot-notation":           "leaves the bag",
		"v0.97/invalid/out-of-scope-file-paths-using-dot-notation-for-fetch": "leaves the bag",
		"v0.97/invalid/same-filename-listed-twice-with-different-hashes":     "listed twice with different checksums",
		"v1.0/invalid/notAllManifestsListAllFiles":                           "no manifest lists it",
		"v1.0/invalid/bagit-with-invalid-whitespace":                         `"BagIt-Version : 1.0"`,
		"v1.0/invalid/same-filename-listed-twice-with-the-same-hash":         "listed twice",
		"v0.97/linux-only/out-of-scope-file-paths-using-absolute-path":       "absolute path",
		"v0.97/linux-only/out-of-scope-file-paths-using-shortcut-username":   "home folder",
		"v0.97/windows-only/out-of-scope-file-paths-using-absolute-path":     "names a drive",
		"v0.97/windows-only/out-of-scope-file-paths-using-shortcut":          "variable",
		"v0.97/windows-only/out-of-scope-file-paths-using-unc-for-fetch":     "backslash",
		"v0.97/warning/duplicate-file-with-different-case":                   "one file on systems that do not tell",
		"v0.97/warning/same-filename-listed-twice-with-the-same-hash":        "listed twice",
		"v0.97/warning/made-with-md5sum-tools":                               "marked with a *",
	} {
		r := check(t, filepath.Join(dir, bag))
		if said := text(r); !strings.Contains(said, words) {
			t.Errorf("%s: never said %q:\n%s", bag, words, said)
		}
	}
}

func text(r Report) string {
	var b strings.Builder
	for _, p := range append(r.Problems, r.Warnings...) {
		b.WriteString(p.String() + "\n")
	}
	return b.String()
}
