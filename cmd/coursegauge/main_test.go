package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/inspection"
)

var update = flag.Bool("update", false, "renew the goldens from what comes out now")

// binary is the program as people run it, built once for all tests.
var binary string

func TestMain(m *testing.M) {
	if isWorker() { // of a batch that a test runs in this process
		os.Exit(work(inspectFaulty))
	}
	flag.Parse()
	os.Exit(buildAndTest(m))
}

func buildAndTest(m *testing.M) int {
	dir, err := os.MkdirTemp("", "coursegauge-test-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	if binary = os.Getenv("COURSEGAUGE_BINARY"); binary == "" { // a soak proves the one that was built
		binary = filepath.Join(dir, "coursegauge")
		if out, err := exec.Command("go", "build", "-buildvcs=false", "-o", binary, ".").CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "go build: %v\n%s", err, out)
			return 1
		}
	}
	// Nothing of the user's own; only now, since Go keeps what it has built there too.
	for name, folder := range map[string]string{"XDG_CACHE_HOME": "cache", "XDG_CONFIG_HOME": "config"} {
		if err := os.Setenv(name, filepath.Join(dir, folder)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return m.Run()
}

// ran is what a run of the program left.
type ran struct {
	status   int
	out, err string
}

// runIn runs the program in a folder until it ends.
func runIn(t *testing.T, dir string, args ...string) ran {
	t.Helper()
	c := exec.Command(binary, args...)
	c.Dir = dir
	var out, stderr bytes.Buffer
	c.Stdout, c.Stderr = &out, &stderr
	err := c.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return ran{c.ProcessState.ExitCode(), out.String(), stderr.String()}
}

// said fails unless the run ended with the status and said each of the words;
// whatever it said, it must be no stack trace and no raw panic.
func (r ran) said(t *testing.T, status int, words ...string) {
	t.Helper()
	if r.status != status {
		t.Errorf("exit status %d, want %d", r.status, status)
	}
	for _, w := range words {
		if !strings.Contains(r.out+r.err, w) {
			t.Errorf("never said %q", w)
		}
	}
	for _, w := range []string{"goroutine ", "panic:", "runtime error", ".go:"} {
		if strings.Contains(r.out+r.err, w) {
			t.Errorf("said %q, a trace", w)
		}
	}
	if t.Failed() {
		t.Logf("standard output:\n%sstandard error:\n%s", r.out, r.err)
	}
}

// oneError fails unless the error is one line, with no more than a hint below.
func (r ran) oneError(t *testing.T) {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(r.err, "\n"), "\n")
	if r.out != "" || !strings.HasPrefix(lines[0], "coursegauge: ") || len(lines) > 2 || len(lines) == 2 && !strings.HasPrefix(lines[1], "hint: ") {
		t.Errorf("want one error line and at most a hint, got\n%s%s", r.out, r.err)
	}
}

const goodSchedule = `title: Test shed
product: {family: laminated, width: 39-3/8 in, height: 13-1/4 in, exposure: 5-5/8 in}
band: {low: 5.9 in, high: 7.0 in}
fasteners: {per_piece: 4}
`

func writeFile(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// cardless is a sharp picture of uneven bars without a card.
func cardless(t *testing.T, width, height int) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, width, height))
	state := uint32(1)
	for x := range width {
		if x%2 == 0 {
			state = state*1664525 + 1013904223 // Numerical Recipes' linear congruence
		}
		for y := range height {
			m.Pix[y*m.Stride+x] = uint8(60 + state>>25)
		}
	}
	m.Set(0, 0, color.White)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// inspectionIn reads what a run wrote, by the rules of its form.
func inspectionIn(t *testing.T, folder string) inspection.Document {
	t.Helper()
	d, err := inspection.ReadFile(filepath.Join(folder, "inspection.json"))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// filesIn lists what lies in a folder, hidden files too.
func filesIn(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}
