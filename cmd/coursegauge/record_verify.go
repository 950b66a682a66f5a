package main

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/record"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal"

	"github.com/spf13/cobra"
)

type recordVerifyOptions struct {
	trust, earlier              []string
	authority                   string
	bagOnly, alone, noMeasuring bool
	json                        bool
}

func newRecordVerify(t *terminal) *cobra.Command {
	o := recordVerifyOptions{}
	c := &cobra.Command{
		Use:   "verify FOLDER|FILE.zip",
		Short: "check that a record is complete, unchanged and fits together",
		Long: `verify checks a record without a network and without writing anything: every file
there and unchanged, none added, no name that leads out of it; signed and time
stamped as it says; the photos those that were inspected, every decision about a
fastener that exists; and it measures every photo again by the settings in the
record. Each problem is one line.

--trust names the public key of a signer, once for each; a record that is not signed
with one of them is a problem. Without it a signature shows only that nothing was
changed since somebody signed. --authority names the root certificate of a time
stamp authority.

A record that adds to an earlier one names it by its number. That one is looked for
beside it, under the name that it had, or where --earlier says, and is checked too.

--bag-only checks any bag of BagIt 0.93 to 1.0 and nothing of ours.

Exit status: 0 nothing is wrong; 1 something is, a line for each; 2 wrong use; 3
could not do it; 130 stopped.`,
		Example: `  coursegauge record verify lot-7-record.zip --trust office.pub
  coursegauge record verify lot-7-record --no-measuring
  coursegauge record verify somebodys-bag --bag-only`,
		Args: oneBag("coursegauge record verify FILE.zip"),
		RunE: func(c *cobra.Command, args []string) error { return runRecordVerify(c.Context(), t, o, args[0]) },
	}
	f := c.Flags()
	f.StringArrayVar(&o.trust, "trust", nil, "the public key `NAME.pub` of a signer to trust; may stand several times")
	f.StringVar(&o.authority, "authority", "", "the root certificate `FILE.pem` of a time stamp authority to trust")
	f.StringArrayVar(&o.earlier, "earlier", nil, "where an earlier record lies, `FOLDER|FILE.zip`; may stand several times")
	f.BoolVar(&o.alone, "alone", false, "check this record alone, not those that it adds to")
	f.BoolVar(&o.noMeasuring, "no-measuring", false, "do not measure the photos again")
	f.BoolVar(&o.bagOnly, "bag-only", false, "check RFC 8493 alone, of any bag")
	f.BoolVar(&o.json, "json", false, "print the outcome as one JSON object")
	return c
}

// verified is the outcome of one record, for scripts too.
type verified struct {
	Format   string        `json:"format"`
	Record   string        `json:"record"`
	Number   string        `json:"number,omitempty"`
	Title    string        `json:"title,omitempty"`
	Made     string        `json:"made,omitempty"`
	Files    int           `json:"files"`
	Bytes    int64         `json:"bytes"`
	Signed   string        `json:"signed_by,omitempty"`
	Stamp    *seal.Stamp   `json:"time_stamp,omitempty"`
	Again    int           `json:"photos_measured_again"`
	Problems []bag.Problem `json:"problems"`
	Notes    []string      `json:"notes"`
	// Unchecked is what nothing could be held against, with counts.
	Unchecked []string  `json:"not_checked"`
	Earlier   *verified `json:"earlier,omitempty"`
}

func runRecordVerify(ctx context.Context, t *terminal, o recordVerifyOptions, path string) error {
	if o.bagOnly {
		return verifyBag(ctx, t, path, o.json)
	}
	options, err := o.options(t)
	if err != nil {
		return err
	}
	v, err := o.chain(ctx, path, options, map[string]bool{})
	switch {
	case ctx.Err() != nil:
		return errStopped
	case err != nil:
		return err
	}
	if o.json {
		if err := t.json(v); err != nil {
			return failure{fmt.Sprintf("cannot print: %v", err), ""}
		}
	} else {
		v.print(t)
	}
	for r := v; r != nil; r = r.Earlier {
		if len(r.Problems) > 0 {
			return errNeedsPerson
		}
	}
	return nil
}

func (o recordVerifyOptions) options(t *terminal) (record.Options, error) {
	out := record.Options{Version: version, Roots: (*x509.CertPool)(nil)}
	for _, path := range o.trust {
		data, err := readFile(path)
		if err != nil {
			return out, usageError{fmt.Sprintf("--trust %s: %v", path, err), ""}
		}
		k, err := seal.ParsePublic(data)
		if err != nil {
			return out, usageError{fmt.Sprintf("--trust %s: %v", path, err), "the file NAME.pub that coursegauge record key made is needed"}
		}
		out.Trust = append(out.Trust, record.Trusted{Name: path, Key: k})
	}
	if o.authority != "" {
		pem, err := readFile(o.authority)
		if err == nil {
			out.Roots, err = seal.Roots(pem)
		}
		if err != nil {
			return out, usageError{fmt.Sprintf("--authority %s: %v", o.authority, err), "the authority's root certificate in PEM is needed"}
		}
	}
	if !o.noMeasuring {
		out.Measure = measurerOf
		out.Progress = func(file string) { t.tell("measured again: %s", file) }
	}
	return out, nil
}

const verifiedFormat = "coursegauge-record-verified/1"

// damaged is the one problem of a file that cannot be opened as an archive, as one
// that was cut off; nil when it can, or is not there.
func damaged(path string) []bag.Problem {
	src, err := bag.Open(path)
	if err == nil {
		src.Close()
		return nil
	}
	if errors.Is(err, bag.ErrDamaged) {
		return []bag.Problem{{Path: filepath.Base(path), Text: oneLine(err.Error())}}
	}
	return nil
}

// chain checks a record and those that it adds to.
func (o recordVerifyOptions) chain(ctx context.Context, path string, options record.Options, seen map[string]bool) (*verified, error) {
	if p := damaged(path); p != nil {
		return &verified{Format: verifiedFormat, Record: path, Problems: p, Notes: []string{}, Unchecked: []string{}}, nil
	}
	src, err := openBag(path, "")
	if err != nil {
		return nil, err
	}
	defer src.Close()
	v, err := record.Verify(ctx, src, options)
	if err != nil {
		return nil, failure{escape.Text(fmt.Sprintf("cannot check %s: %s", path, oneLine(err.Error()))), ""}
	}
	out := &verified{
		Format: verifiedFormat, Record: path, Number: v.Digest, Title: v.Contents.Title, Made: v.Contents.Made, Files: v.Files, Bytes: v.Octets,
		Signed: v.Signed, Stamp: v.Stamp, Again: v.Again, Problems: append([]bag.Problem{}, v.Problems...), Notes: append([]string{}, v.Notes...), Unchecked: append([]string{}, v.Unchecked...),
	}
	f := v.Contents.Follows
	if f == nil || seen[v.Digest] {
		return out, nil
	}
	if o.alone {
		out.Unchecked = append(out.Unchecked, fmt.Sprintf("it adds to %s (%.12s…)", f.Name, f.Digest))
		return out, nil
	}
	seen[v.Digest] = true
	at, wrong := o.find(path, f)
	if at == "" {
		out.Problems = append(out.Problems, bag.Problem{Text: wrong})
		return out, nil
	}
	out.Earlier, err = o.chain(ctx, at, options, seen)
	return out, err
}

// find looks for an earlier record: where it was told, else beside the record.
func (o recordVerifyOptions) find(path string, f *record.Predecessor) (at, wrong string) {
	beside := filepath.Join(filepath.Dir(filepath.Clean(path)), filepath.Base(f.Name))
	wrong = fmt.Sprintf("it adds to the record %s (%.12s…), which is not beside it; --earlier FILE says where it lies, --alone checks this one by itself", f.Name, f.Digest)
	for _, at := range append(append([]string{}, o.earlier...), beside) {
		if _, err := os.Stat(at); err != nil {
			continue
		}
		src, err := bag.Open(at)
		if err != nil {
			continue
		}
		number, _ := record.Digest(src)
		src.Close()
		if number == f.Digest {
			return at, ""
		}
		wrong = fmt.Sprintf("%s is not the record that it adds to: its number is %.12s…, not %.12s…", at, number, f.Digest)
	}
	return "", wrong
}

func (v *verified) print(t *terminal) {
	if v.Title != "" {
		t.say("%s: record of \"%s\", made %s", v.Record, v.Title, v.Made)
	} else {
		t.say("%s", v.Record)
	}
	for _, p := range v.Problems {
		t.say("  PROBLEM %s", p)
	}
	t.say("  %s, %s", plural(v.Files, "file", "files"), megabytes(v.Bytes))
	if v.Number != "" {
		t.say("  number %s", v.Number)
	}
	if v.Signed != "" {
		t.say("  signed with %s", v.Signed)
	}
	if s := v.Stamp; s != nil {
		t.say("  time stamp of %s by %s", s.Time.Format("2006-01-02 15:04:05 UTC"), s.Authority)
	}
	if v.Again > 0 {
		t.say("  measured again: %s", plural(v.Again, "photo", "photos"))
	}
	for _, n := range v.Notes {
		t.say("  note: %s", n)
	}
	last := "complete and unchanged"
	if len(v.Problems) > 0 {
		last = plural(len(v.Problems), "problem", "problems")
	}
	if len(v.Unchecked) > 0 {
		last += "; not checked: " + escape.Text(strings.Join(v.Unchecked, ", "))
	}
	t.say("  %s", last)
	if v.Earlier != nil {
		t.say("which adds to")
		v.Earlier.print(t)
	}
}

// verifyBag checks conformance to RFC 8493 alone.
func verifyBag(ctx context.Context, t *terminal, path string, asJSON bool) error {
	r := bag.Report{Problems: damaged(path)}
	if r.Problems == nil {
		src, err := openBag(path, "")
		if err != nil {
			return err
		}
		defer src.Close()
		if r, err = bag.Check(ctx, src); err != nil {
			return errStopped
		}
	}
	if asJSON {
		err := t.json(map[string]any{
			"format": "coursegauge-bag-verified/1", "bag": path, "version": r.Version, "files": r.Files, "bytes": r.Octets,
			"problems": append([]bag.Problem{}, r.Problems...), "warnings": append([]bag.Problem{}, r.Warnings...),
		})
		if err != nil {
			return failure{fmt.Sprintf("cannot print: %v", err), ""}
		}
	} else {
		for _, p := range r.Problems {
			t.say("PROBLEM %s", p)
		}
		for _, w := range r.Warnings {
			t.say("warning %s", w)
		}
		t.say("%s: BagIt %s, %s, %s, %s", path, r.Version, plural(r.Files, "payload file", "payload files"), plural(len(r.Problems), "problem", "problems"), plural(len(r.Warnings), "warning", "warnings"))
	}
	if !r.Valid() {
		return errNeedsPerson
	}
	return nil
}
