package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// Every command that a person may type has a page that holds its example.
func TestManual(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1767225600") // 2026-01-01
	dir := t.TempDir()
	root := newRoot(newTerminal())
	if err := writeManual(root, dir); err != nil {
		t.Fatal(err)
	}
	pages := 0
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		if !c.IsAvailableCommand() {
			return
		}
		pages++
		page, err := os.ReadFile(filepath.Join(dir, strings.ReplaceAll(c.CommandPath(), " ", "-")+".1"))
		if err != nil {
			t.Error(err)
			return
		}
		if !strings.Contains(string(page), `"Jan 2026"`) {
			t.Errorf("%s: the page has another date than the sources", c.CommandPath())
		}
		for _, sub := range c.Commands() {
			look(sub)
		}
	}
	look(root)
	written, err := filepath.Glob(filepath.Join(dir, "*.1"))
	if err != nil || len(written) != pages || pages < 8 {
		t.Errorf("%d pages for %d commands, %v", len(written), pages, err)
	}
	inspect, err := os.ReadFile(filepath.Join(dir, "coursegauge-inspect.1"))
	if err != nil || !strings.Contains(string(inspect), "cards:   {3: first crew") {
		t.Errorf("the block of the help text is not left as it is: %v", err)
	}
}

func TestManualRefuses(t *testing.T) {
	if err := writeManual(newRoot(newTerminal()), filepath.Join(t.TempDir(), "none")); err == nil || exitStatus(err) != exitFailed {
		t.Errorf("a folder that is not there: %v", err)
	}
}
