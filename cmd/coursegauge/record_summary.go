package main

import (
	"context"
	"fmt"
	"path/filepath"

	"coursegauge/report/escape"
	"coursegauge/report/record"

	"github.com/spf13/cobra"
)

type recordSummaryOptions struct {
	out, property, authority string
	trust                    []string
	squares                  float64
}

func newRecordSummary(t *terminal) *cobra.Command {
	o := recordSummaryOptions{}
	c := &cobra.Command{
		Use:   "summary FOLDER|FILE.zip --out FILE.html",
		Short: "write two pages for the warranty folder, to be printed",
		Long: `summary writes two pages about a record: what was photographed and when, by which
schedule it was judged, what was found and how it was settled, how well it was
measured, the cautions, and the number that stands for the whole record. Print them,
or save them as PDF, from any browser; the fonts are in the file.

The record is checked first, without measuring again; with a problem nothing is
written. The pages say nothing beyond what was measured.`,
		Example: `  coursegauge record summary lot-7-record.zip --out lot-7-summary.html
  coursegauge record summary lot-7-record.zip --out lot-7-summary.html --squares 24 --trust office.pub`,
		Args: oneBag("coursegauge record summary FILE.zip --out FILE.html"),
		RunE: func(c *cobra.Command, args []string) error { return runRecordSummary(c.Context(), t, o, args[0]) },
	}
	f := c.Flags()
	f.StringVar(&o.out, "out", "", "the page, `FILE.html`")
	f.StringVar(&o.property, "property", "", "whose roof it is or where, `TEXT`, as it is to stand on the page")
	f.Float64Var(&o.squares, "squares", 0, "the size of the roof in squares of 100 sq ft, `N`")
	f.StringArrayVar(&o.trust, "trust", nil, "the public key `NAME.pub` of a signer to trust; may stand several times")
	f.StringVar(&o.authority, "authority", "", "the root certificate `FILE.pem` of a time stamp authority to trust")
	return c
}

func runRecordSummary(ctx context.Context, t *terminal, o recordSummaryOptions, path string) error {
	if o.out == "" {
		return usageError{"--out is missing", "name the page to write: --out FILE.html"}
	}
	if err := wantKind("--out", o.out, pageKinds); err != nil {
		return err
	}
	if !(o.squares >= 0 && o.squares <= 100_000) {
		return usageError{fmt.Sprintf("--squares %v: a number from 0 to 100000 is needed, squares of 100 sq ft", o.squares), ""}
	}
	options, err := recordVerifyOptions{trust: o.trust, authority: o.authority, noMeasuring: true}.options(t)
	if err != nil {
		return err
	}
	src, err := openBag(path, "")
	if err != nil {
		return err
	}
	defer src.Close()
	if identity(o.out) == identity(path) || within(identity(o.out), identity(path)) {
		return usageError{"--out " + o.out + " lies in the record, which must not change", "give a name outside it"}
	}
	v, err := record.Verify(ctx, src, options)
	switch {
	case ctx.Err() != nil:
		return errStopped
	case err != nil:
		return failure{escape.Text(fmt.Sprintf("cannot check %s: %s", path, oneLine(err.Error()))), ""}
	case len(v.Problems) > 0:
		return failure{fmt.Sprintf("%s: something is wrong with the record: %s", escape.Text(path), v.Problems[0]), "nothing was written; coursegauge record verify " + escape.Text(path) + " tells all"}
	}
	page, err := record.Summary(src, v, record.SummaryOptions{Property: o.property, Squares: o.squares, Name: filepath.Base(filepath.Clean(path))})
	if err != nil {
		return failure{escape.Text(fmt.Sprintf("%s: %s", path, oneLine(err.Error()))), ""}
	}
	if err := writeWhole(o.out, page); err != nil {
		return err
	}
	t.say("summary: %s, two pages; print it from a browser", o.out)
	t.say("number: %s", v.Digest)
	return nil
}
