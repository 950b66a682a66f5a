package cmd

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// What make test runs the tests by lists those that were skipped and why, shows
// what a failed one said, and ends as go test ends.
func TestSkippedTestsAreListed(t *testing.T) {
	runner := filepath.Join(t.TempDir(), "tests")
	if out, err := exec.Command("go", "build", "-o", runner, "../.ci/tests.go").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	const head = "package t\nimport \"testing\"\n"
	for _, c := range []struct {
		name, code string
		status     int
		says, not  []string
	}{
		{"all pass", `func TestA(t *testing.T) { t.Log("quiet") }`, 0, []string{"ok  \tt\t"}, []string{"skipped", "quiet"}},
		{"one is skipped", `func TestA(t *testing.T) { t.Log("first"); t.Skip("no reader: apt-get install reader") }`, 0,
			[]string{"ok  \tt\t", "skipped: 1 test\n", "  t TestA: no reader: apt-get install reader\n"}, []string{"first"}},
		{"one below another", `func TestA(t *testing.T) { t.Run("x", func(t *testing.T) { t.Skipf("no %s", "disk") }) }`, 0, []string{"  t TestA/x: no disk\n"}, nil},
		{"no reason", `func TestA(t *testing.T) { t.SkipNow() }`, 0, []string{"  t TestA: no reason given\n"}, nil},
		{"one fails", `func TestA(t *testing.T) { t.Error("broken") }` + "\n" + `func TestB(t *testing.T) { t.Skip("later") }`, 1,
			[]string{"broken", "--- FAIL: TestA", "FAIL\tt\t", "skipped: 1 test\n"}, nil},
		{"a panic", `func TestA(t *testing.T) { panic("oh") }`, 1, []string{"panic: oh", "FAIL\tt\t"}, nil},
		{"does not compile", `func TestA(t *testing.T) { x }`, 1, []string{"undefined: x", "[build failed]"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			for name, text := range map[string]string{"go.mod": "module t\n\ngo 1.26\n", "a_test.go": head + c.code + "\n"} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			run := exec.Command(runner, "go", "-vet=off", "./...")
			run.Dir, run.Env = dir, append(os.Environ(), "GOFLAGS=", "GOPROXY=off")
			out, err := run.CombinedOutput()
			var exit *exec.ExitError
			if err != nil && !errors.As(err, &exit) {
				t.Fatal(err)
			}
			if s := run.ProcessState.ExitCode(); s != c.status {
				t.Errorf("exit status %d, want %d", s, c.status)
			}
			for _, w := range c.says {
				if !strings.Contains(string(out), w) {
					t.Errorf("never said %q", w)
				}
			}
			for _, w := range c.not {
				if strings.Contains(string(out), w) {
					t.Errorf("said %q", w)
				}
			}
			if t.Failed() {
				t.Logf("%s", out)
			}
		})
	}
}
