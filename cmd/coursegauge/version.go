package main

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"
	"gocv.io/x/gocv"
)

// version is set by the build to the commit that was built.
var version = "unknown"

// cardFormat names the drawing of the card that this build reads.
const cardFormat = "coursegauge-card/1"

// versions is what `version` and --version print.
type versions struct {
	Version    string `json:"version"`
	OpenCV     string `json:"opencv"`
	CardFormat string `json:"card_format"`
	Go         string `json:"go"`
}

func ownVersions() versions {
	return versions{version, gocv.OpenCVVersion(), cardFormat, runtime.Version()}
}

func (v versions) line() string {
	return fmt.Sprintf("coursegauge %s, OpenCV %s, card format %s, %s", v.Version, v.OpenCV, v.CardFormat, v.Go)
}

func newVersion(t *terminal) *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:     "version",
		Short:   "print the versions of the tool and of what it is built on",
		Example: "  coursegauge version --json",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			if asJSON {
				return t.json(ownVersions())
			}
			t.say("%s", ownVersions().line())
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return usageError{c.CommandPath() + " takes no arguments, got " + args[0], c.CommandPath() + " --help shows an example"}
}
