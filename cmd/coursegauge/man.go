package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// newMan makes the manual pages of a package; people read them with man.
func newMan() *cobra.Command {
	return &cobra.Command{
		Use:    "man DIR",
		Short:  "write the manual pages into a folder",
		Hidden: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				return nil
			}
			return usageError{fmt.Sprintf("man takes one folder, got %d", len(args)), "coursegauge man DIR"}
		},
		RunE: func(c *cobra.Command, args []string) error { return writeManual(c.Root(), args[0]) },
	}
}

// writeManual writes one page a command. They carry the date of
// SOURCE_DATE_EPOCH (seconds since 1970), so that equal sources give equal pages.
func writeManual(root *cobra.Command, dir string) error {
	seconds, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	if err != nil {
		seconds = time.Now().Unix()
	}
	date := time.Unix(seconds, 0).UTC()
	root.DisableAutoGenTag = true
	indentBlocks(root)
	if err := doc.GenManTree(root, &doc.GenManHeader{Section: "1", Date: &date, Source: "coursegauge " + version, Manual: "coursegauge"}, dir); err != nil {
		return failure{fmt.Sprintf("cannot write the manual into %s: %v", dir, cause(err)), "the folder must be there and writable"}
	}
	return nil
}

// indentBlocks moves indented lines of the long texts to where the pages' maker
// takes them for a block to be left as it is.
func indentBlocks(c *cobra.Command) {
	c.Long = strings.ReplaceAll(c.Long, "\n  ", "\n      ")
	for _, sub := range c.Commands() {
		indentBlocks(sub)
	}
}
