// Package cmd_test holds the direction of imports of the whole tree: it is the
// lint rule for the arrows that DEVELOPERS.md draws.
package cmd_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const module = "coursegauge"

// goPackage is what `go list -json` says of a package; test files are not held
// to the rules.
type goPackage struct {
	ImportPath string
	Imports    []string
}

// rule says what the packages below a path may import.
type rule struct {
	of      string   // below this path
	only    []string // of the module: nothing but below these paths (its own included by name)
	never   []string // of anything else: none of these paths and below
	because string
}

var rules = []rule{
	{
		of: "vision", only: []string{"vision", "vision/stats"},
		never:   []string{"os", "io/fs", "path/filepath", "flag", "github.com/spf13", "github.com/schollz", "golang.org/x/term", "github.com/google/renameio", "github.com/goccy"},
		because: "vision measures pictures; it knows no rule, no file and no terminal",
	},
	{of: "vision/length", only: []string{"vision/length"}, because: "a length knows nothing of pictures"},
	{of: "vision/photo", only: []string{"vision/photo", "vision/length"}, because: "a picture is there before anything is seen in it"},
	{
		of: "report", only: []string{"report", "vision", "vision/stats"},
		never:   []string{"github.com/spf13", "github.com/schollz", "golang.org/x/term"},
		because: "the report is made from measurements; commands and terminals are cmd's",
	},
	{
		of: "report/judge", only: []string{"report/judge", "report/schedule", "vision/stats", "vision", "!vision/photo", "!vision/card", "!vision/plane", "!vision/course", "!vision/head"},
		never:   []string{"os", "gocv.io", "path/filepath"},
		because: "a rule sees measured lengths, never a picture",
	},
	{of: "report/schedule", only: []string{"report/schedule", "report/yamltext", "vision/length", "vision"}, never: []string{"gocv.io"}, because: "the schedule is read before any photo"},
	{
		of: "report/ledger", only: []string{"report/ledger", "report/inspection", "report/review", "report/escape", "vision/length"},
		never:   []string{"html/template", "gocv.io"},
		because: "the ledger keeps what was measured and decided; what is made of it is the sheets'",
	},
	{
		of: "report/sheet", only: []string{"report/sheet", "report/ledger", "report/inspection", "report/judge", "report/review", "report/sign", "vision/stats", "report/escape", "vision/length"},
		never:   []string{"os", "database/sql", "modernc.org", "gocv.io"},
		because: "a sheet is made of one crew's work; it opens no file and no picture",
	},
	{
		of: "report/record", only: []string{"report/record", "report/inspection", "report/review", "report/page", "report/schedule", "vision/stats", "report/escape", "report/regular", "vision/length", "vision/photo"},
		because: "a record keeps what was measured; what measures again is handed in",
	},
	{of: "report/record/bag", only: []string{"report/record/bag", "report/escape", "report/regular"}, never: []string{"net", "os/exec"}, because: "a bag is a bag, whatever lies in it, and is read without a network"},
	{of: "report/record/seal", only: []string{"report/record/seal"}, because: "a seal vouches for bytes"},
	{of: "report/sign", only: []string{"report/sign"}, never: []string{"os", "html/template"}, because: "a shape is a shape, on whatever page"},
	{of: "report/escape", only: []string{"report/escape"}, never: []string{"os", "net"}, because: "a text is a text, whoever wrote it"},
	{of: "report/proportion", only: []string{"report/proportion"}, never: []string{"os", "database/sql"}, because: "a sampling plan knows nothing of nails"},
	{of: "vision/stats", only: []string{"vision/stats"}, never: []string{"os", "io/fs", "database/sql", "gocv.io"}, because: "statistics know nothing of nails and pictures"},
	{
		of: "calibrate", only: []string{"calibrate", "vision", "report/escape", "vision/stats"},
		never:   []string{"github.com/spf13", "github.com/schollz", "golang.org/x/term"},
		because: "calibration feeds the measurement and knows nothing of its judgement; text of unknown origin is escaped in one place",
	},
}

// TestImports fails with every arrow of the tree that points the wrong way.
func TestImports(t *testing.T) {
	packages := list(t)
	if len(packages) < 3 {
		t.Fatalf("go list found %d packages; the rule looked at nothing", len(packages))
	}
	for _, arrow := range wrongArrows(packages) {
		t.Error(arrow)
	}
}

// TestWrongArrows shows that the rule can fail.
func TestWrongArrows(t *testing.T) {
	for _, c := range []struct {
		from, to string
		wrong    bool
	}{
		{"vision/head", "report/judge", true},
		{"vision/head", "os", true},
		{"vision/head", "os/exec", true},
		{"vision", "path/filepath", true},
		{"vision/card", "github.com/spf13/cobra", true},
		{"vision/head", "calibrate/board", true},
		{"vision/photo", "vision/card", true},
		{"report/judge", "vision/photo", true},
		{"report/judge", "gocv.io/x/gocv", true},
		{"report/record", "vision", true},
		{"report/record/bag", "net/http", true},
		{"report/record/bag", "report/record", true},
		{"report/record", "vision/photo", false},
		{"report/page", "cmd/coursegauge", true},
		{"report/page", "calibrate/board", true},
		{"calibrate/board", "report/page", true},
		{"vision/stats", "vision/length", true},
		{"vision/head", "vision/stats", false},
		{"report/judge", "vision/stats", false},
		{"vision/head", "vision/length", false},
		{"vision", "context", false},
		{"vision/head", "gocv.io/x/gocv", false},
		{"report/judge", "vision", false},
		{"report/judge", "vision/length", false},
		{"report/page", "vision", false},
		{"cmd/coursegauge", "report/page", false},
		{"cmd/coursegauge", "os", false},
		{"calibrate/board", "vision/card", false},
	} {
		to := c.to
		if first, _, _ := strings.Cut(to, "/"); slices.Contains([]string{"vision", "report", "calibrate", "cmd", "vision/stats"}, first) {
			to = module + "/" + to
		}
		got := wrongArrows([]goPackage{{ImportPath: module + "/" + c.from, Imports: []string{to}}})
		if (len(got) > 0) != c.wrong {
			t.Errorf("%s -> %s: wrong arrows %q, want some: %v", c.from, c.to, got, c.wrong)
		}
	}
}

// wrongArrows names each import that breaks a rule, and why it is wrong.
func wrongArrows(packages []goPackage) []string {
	var wrong []string
	for _, p := range packages {
		from, _ := strings.CutPrefix(p.ImportPath, module+"/")
		for _, r := range rules {
			if !below(from, r.of) {
				continue
			}
			for _, path := range p.Imports {
				if !r.allows(path) {
					wrong = append(wrong, fmt.Sprintf("%s -> %s: %s", from, path, r.because))
				}
			}
		}
	}
	return wrong
}

func (r rule) allows(path string) bool {
	ours, isOurs := strings.CutPrefix(path, module+"/")
	if !isOurs {
		return !slices.ContainsFunc(r.never, func(n string) bool { return below(path, n) })
	}
	allowed := false
	for _, o := range r.only {
		if not, excluded := strings.CutPrefix(o, "!"); excluded && below(ours, not) {
			return false
		}
		allowed = allowed || below(ours, o)
	}
	return allowed
}

func below(path, root string) bool { return path == root || strings.HasPrefix(path, root+"/") }

func list(t *testing.T) []goPackage {
	t.Helper()
	c := exec.Command("go", "list", "-json=ImportPath,Imports", module+"/...")
	var stderr bytes.Buffer
	c.Stderr = &stderr
	out, err := c.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	var packages []goPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return packages
		} else if err != nil {
			t.Fatal(err)
		}
		packages = append(packages, p)
	}
}

// TestPagesAreEscaped holds every page of the tree to escape.Execute: html/template
// lets a name turn the direction of the text around it.
func TestPagesAreEscaped(t *testing.T) {
	looked := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasPrefix(path, "../report/escape/") {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil || !bytes.Contains(data, []byte(`"html/template"`)) {
			return err
		}
		looked++
		data = bytes.ReplaceAll(data, []byte("escape.Execute("), nil)
		if at := filled.FindIndex(data); at != nil {
			t.Errorf("%s:%d: a template is filled without escape.Execute", path, 1+bytes.Count(data[:at[0]], []byte("\n")))
		}
		return nil
	})
	if err != nil || looked < 5 {
		t.Errorf("%d files with templates, %v", looked, err)
	}
}

var filled = regexp.MustCompile(`\.Execute(Template)?\(`)
