package main

import (
	"runtime"

	"github.com/spf13/cobra"
	"gocv.io/x/gocv"
)

// version is set by the build to the commit that was built.
var version = "unknown"

// cardFormat names the drawing of the card that this build reads.
const cardFormat = "coursegauge-card/1"

// versions is what `version --json` prints.
type versions struct {
	Version    string `json:"version"`
	OpenCV     string `json:"opencv"`
	CardFormat string `json:"card_format"`
	Go         string `json:"go"`
}

func newVersion(t *terminal) *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:     "version",
		Short:   "print the versions of the tool and of what it is built on",
		Example: "  coursegauge version --json",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			v := versions{version, gocv.OpenCVVersion(), cardFormat, runtime.Version()}
			if asJSON {
				return t.json(v)
			}
			t.say("coursegauge %s, OpenCV %s, card format %s, %s", v.Version, v.OpenCV, v.CardFormat, v.Go)
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
