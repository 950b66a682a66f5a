package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"coursegauge/report/escape"
	"coursegauge/report/record/bag"

	"github.com/spf13/cobra"
)

func newRecord(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "record",
		Short: "keep a job so that years later anybody can check it: make, verify, summary, key",
		Long: `record puts a job into one folder or .zip file that can be kept for decades: the
photos byte for byte, what was measured and decided, the settings it was measured
by, the report, and a page in plain text for whoever opens it. The form is BagIt 1.0
(RFC 8493), which archives use; its hashes are checked with sha256sum alone.`,
		Example: `  coursegauge record make lot-7-report --out lot-7-record.zip
  coursegauge record verify lot-7-record.zip
  coursegauge record summary lot-7-record.zip --out lot-7-summary.html`,
		Args: noSuchCommand,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(newRecordMake(t), newRecordVerify(t), newRecordSummary(t), newRecordKey(t))
	return c
}

// openBag opens a record or any bag; flag says where its name was given.
func openBag(path, flag string) (bag.Source, error) {
	src, err := bag.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, usageError{fmt.Sprintf("%sno such file or folder: %s", flag, escape.Text(path)), "name a record, the folder or the .zip file that record make wrote"}
	case err != nil:
		return nil, failure{escape.Text(fmt.Sprintf("%s%s: %v", flag, path, cause(err))), "a folder or a .zip file of a record is needed"}
	}
	return src, nil
}

// oneBag is the check of the arguments of a command that takes one record.
func oneBag(example string) func(*cobra.Command, []string) error {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usageError{"one record is needed", example}
		}
		return nil
	}
}

// mustNotExist keeps a command from writing over what is there.
func mustNotExist(flag, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return usageError{fmt.Sprintf("%s %s is there already; nothing is written over", flag, escape.Text(path)), "give another name, or remove it first"}
	}
	return nil
}
