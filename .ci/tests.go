//go:build ignore

// tests GO ARGUMENT... runs go test with these arguments, prints what it prints,
// and at the end lists the tests that were skipped and why: a test that is skipped
// in silence looks like one that passed. Exit status: that of go test.
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
)

// event is a line of go test -json (go doc test2json).
type event struct {
	Action, Package, Test, Output string
}

// skip is a test that was not run to its end.
type skip struct{ test, why string }

func main() {
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "tests: usage: go run .ci/tests.go GO ARGUMENT...")
		os.Exit(2)
	}
	cmd := exec.Command(os.Args[1], append([]string{"test", "-json"}, os.Args[2:]...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "tests:", err)
		os.Exit(3)
	}
	skipped := filter(out, os.Stdout)
	err = cmd.Wait()
	tell(os.Stdout, skipped)
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		os.Exit(max(exit.ExitCode(), 1))
	case err != nil:
		fmt.Fprintln(os.Stderr, "tests:", err)
		os.Exit(3)
	}
}

// filter prints the lines of packages and of tests that failed, and gives the
// tests that were skipped.
func filter(from io.Reader, to io.Writer) (skipped []skip) {
	said := map[string][]string{} // lines of a test that is not done
	lines := bufio.NewReader(from)
	for {
		line, err := lines.ReadString('\n')
		var e event
		switch {
		case strings.TrimSpace(line) == "":
		case json.Unmarshal([]byte(line), &e) != nil:
			fmt.Fprint(to, line) // no event: what go itself says
		default:
			key := e.Package + "\t" + e.Test
			switch {
			case e.Action == "build-output" || e.Action == "output" && e.Test == "" && e.Output != "PASS\n":
				fmt.Fprint(to, e.Output)
			case e.Action == "output":
				said[key] = append(said[key], e.Output)
			case e.Action == "fail" && e.Test != "":
				fmt.Fprint(to, strings.Join(said[key], ""))
				delete(said, key)
			case e.Action == "skip" && e.Test != "":
				skipped = append(skipped, skip{e.Package + " " + e.Test, reason(said[key])})
				delete(said, key)
			case e.Action == "pass" && e.Test != "":
				delete(said, key)
			}
		}
		if err != nil {
			break
		}
	}
	for key, text := range said { // a test that never ended: its package was killed
		if !strings.HasSuffix(key, "\t") {
			fmt.Fprint(to, strings.Join(text, ""))
		}
	}
	return skipped
}

// reason is what a test said when it skipped itself.
func reason(said []string) string {
	for i := len(said) - 1; i >= 0; i-- {
		text := strings.TrimSpace(said[i])
		if text == "" || strings.HasPrefix(text, "---") || strings.HasPrefix(text, "===") {
			continue
		}
		if place, why, ok := strings.Cut(text, ": "); ok && strings.Contains(place, ".go:") {
			return why
		}
		return text
	}
	return "no reason given"
}

func tell(to io.Writer, skipped []skip) {
	switch len(skipped) {
	case 0:
		return
	case 1:
		fmt.Fprintln(to, "skipped: 1 test")
	default:
		fmt.Fprintf(to, "skipped: %d tests\n", len(skipped))
	}
	for _, s := range skipped {
		fmt.Fprintf(to, "  %s: %s\n", s.test, s.why)
	}
}
