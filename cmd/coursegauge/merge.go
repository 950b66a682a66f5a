package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/regular"

	"github.com/spf13/cobra"
)

func newMerge(t *terminal) *cobra.Command {
	out, asJSON := "", false
	c := &cobra.Command{
		Use:   "merge DIR... --out DIR",
		Short: "make one inspection of the parts of a job",
		Long: `merge makes one inspection.json and one fasteners.csv of the parts of a job that
were inspected apart, as with inspect --shard. The parts must come from one
version of the tool and one schedule. The reports of the parts stay as they are:
pictures are not kept in an inspection.`,
		Example: "  coursegauge merge part-1 part-2 --out lot-7-report",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{"no parts given", "name the folders that inspect wrote: coursegauge merge DIR... --out DIR"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runMerge(c.Context(), t, args, out, asJSON) },
	}
	c.Flags().StringVar(&out, "out", "", "the folder `DIR` to write to; made when it is not there")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

// merged is what `merge --json` prints.
type merged struct {
	Format     string            `json:"format"`
	Parts      int               `json:"parts"`
	Totals     inspection.Totals `json:"totals"`
	NotDone    []string          `json:"not_done"`
	Inspection string            `json:"inspection"`
	Fasteners  string            `json:"fasteners"`
}

const mergedFormat = "coursegauge-merged/1"

func runMerge(ctx context.Context, t *terminal, folders []string, out string, asJSON bool) error {
	var parts []inspection.Document
	for _, folder := range folders {
		if out != "" && identity(folder) == identity(out) {
			return usageError{fmt.Sprintf("--out %s is one of the parts", out), "give a folder of its own, so that no part is lost"}
		}
		d, err := readPart(ctx, folder)
		if err != nil {
			return err
		}
		parts = append(parts, d)
	}
	whole, err := inspection.Merge(parts...)
	if err != nil {
		return usageError{err.Error(), ""}
	}
	if err := openFolder("--out", out, nil); err != nil {
		return err
	}
	files := outputsIn(out)
	if err := writeDocument(whole, files); err != nil {
		return err
	}
	if asJSON {
		if err := t.json(merged{mergedFormat, len(parts), whole.Totals, append([]string{}, whole.NotDone...), files.inspection, files.fasteners}); err != nil {
			return failure{fmt.Sprintf("cannot print: %v", err), ""}
		}
	} else {
		t.say("%s merged: %s, %s", plural(len(parts), "part", "parts"), plural(whole.Totals.Photos, "photo", "photos"), plural(whole.Totals.Fasteners, "fastener", "fasteners"))
		t.say("inspection: %s", files.inspection)
		t.say("fasteners: %s", files.fasteners)
	}
	if n := len(whole.NotDone); n > 0 {
		t.warn("incomplete: a part was stopped before %s, which no other part has: %s", plural(n, "photo", "photos"), firstOf(whole.NotDone))
		return errNeedsPerson
	}
	if whole.Totals.Refused > 0 {
		return errNeedsPerson
	}
	return nil
}

// firstOf names the first few.
func firstOf(names []string) string {
	const most = 5
	text := escape.Text(strings.Join(names[:min(most, len(names))], ", "))
	if len(names) > most {
		text += ", ..."
	}
	return text
}

// readPart reads the inspection of a folder.
func readPart(ctx context.Context, folder string) (inspection.Document, error) {
	path := filepath.Join(folder, "inspection.json")
	d, err := readFrom(ctx, func() (inspection.Document, error) { return inspection.ReadFile(path) })
	switch {
	case err == nil:
		return d, nil
	case errors.Is(err, fs.ErrNotExist):
		return d, usageError{"no inspection at " + path, nearPath(folder, "give a folder that inspect wrote")}
	case errors.Is(err, errStopped):
		return d, err
	case errors.Is(err, errLate), errors.Is(err, regular.ErrHeld):
		return d, failure{fmt.Sprintf("cannot read %s: %v", path, err), ""}
	}
	return d, usageError{err.Error(), ""}
}
