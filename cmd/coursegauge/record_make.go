package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coursegauge/calibrate/lens"
	"coursegauge/calibrate/print"
	"coursegauge/report/commit"
	"coursegauge/report/crew"
	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/record"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal"
	"coursegauge/report/review"

	"github.com/spf13/cobra"
)

type recordMakeOptions struct {
	out, photos, schedule, card, crews string
	cameras, redact                    []string
	sign, passphrase                   string
	timestamp, authority, follows      string
	noLocation, json                   bool
}

func newRecordMake(t *terminal) *cobra.Command {
	o := recordMakeOptions{}
	c := &cobra.Command{
		Use:   "make DIR --out FOLDER|FILE.zip",
		Short: "put a job into a record that can be kept and checked",
		Long: `make takes the folder that inspect wrote, with the decisions that review kept
there, and the photos, and makes a record: a folder, or one file when its name ends
in .zip. Photos that are not those that were inspected, byte for byte, are refused.

The schedule is looked for beside the photos and the report; by its hash it is known
for the one that was judged by. A proved card (--card) and camera profiles
(--camera, once for each) that were used belong into the record too.

--sign signs it with a key that record key made. --timestamp asks an authority of
RFC 3161 at that address to vouch for when the record was there: it is sent a hash
and nothing else. --follows names an earlier record that this one adds to.

--no-location and --redact crew make a record to hand over. It says what was left
out. Photos are then written anew without location, device, maker's notes, colour
profiles and previews; the picture in them stays bit for bit, and the record names
the hash of each original. A photo that cannot be is left out, with a line that says
so, and names of photos that read as coordinates are replaced. For names of crews
stand crew 1, crew 2 and so on, in names of files, decisions and notes too; while
one of them is left anywhere the exit status is 1. A report that tells what is to
be left out stays out.

What is there already is never written over.

Exit status: 0 done; 1 done, and something needs a person; 2 wrong use; 3 could not
do it; 130 stopped.`,
		Example: `  coursegauge record make lot-7-report --out lot-7-record.zip
  coursegauge record make lot-7-report --out lot-7-record.zip --sign office.key
  coursegauge record make lot-7-report --out hand-over.zip --no-location --redact crew
  coursegauge record make repair-report --out lot-7-repair.zip --follows lot-7-record.zip`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{"one folder is needed", "name the folder that inspect wrote: coursegauge record make DIR --out FILE.zip"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runRecordMake(c.Context(), t, o, args[0]) },
	}
	f := c.Flags()
	f.StringVar(&o.out, "out", "", "the record: a new `FOLDER`, or a new file that ends in .zip")
	f.StringVar(&o.photos, "photos", "", "the folder `DIR` that the photos' names count from, if they were moved since")
	f.StringVar(&o.schedule, "schedule", "", "the schedule `FILE` of the job, if it is not found by itself")
	f.StringVar(&o.card, "card", "", "the `FILE` of proved cards that inspect was given")
	f.StringArrayVar(&o.cameras, "camera", nil, "a camera profile `FILE` that inspect used; may stand several times")
	f.StringVar(&o.crews, "crews", "", "the `FILE` that tells crews; "+crewsFile+" beside the schedule is found by itself")
	f.StringVar(&o.sign, "sign", "", "sign with the secret key `NAME.key`")
	f.StringVar(&o.passphrase, "passphrase-file", "", "read the key's passphrase from the first line of `FILE`, - for standard input")
	f.StringVar(&o.timestamp, "timestamp", "", "ask the time stamp authority at `URL` (RFC 3161)")
	f.StringVar(&o.authority, "authority", "", "keep the authority's root certificate, `FILE.pem`, in the record")
	f.StringVar(&o.follows, "follows", "", "the earlier record, `FOLDER|FILE.zip`, that this one adds to")
	f.BoolVar(&o.noLocation, "no-location", false, "leave out where and with which device the photos were taken, in the photos too")
	f.StringArrayVar(&o.redact, "redact", nil, "leave out `WHAT`: crew, the names of the crews")
	f.BoolVar(&o.json, "json", false, "print the outcome as one JSON object")
	return c
}

func runRecordMake(ctx context.Context, t *terminal, o recordMakeOptions, dir string) error {
	if err := o.check(); err != nil {
		return err
	}
	in, err := o.input(ctx, t, dir)
	if err != nil {
		return err
	}
	for _, left := range bag.Leftovers(o.out) {
		t.warn("%s is left over from a run that was cut off, and no record; remove it", left)
	}
	if err := o.seals(t, &in); err != nil {
		return err
	}
	bar := newProgress(t, len(in.Document.Photos))
	in.Progress = func(file string) { bar.photo(escape.Text(file), "kept") }
	made, err := record.Make(ctx, in, o.out)
	bar.end()
	if err != nil {
		return o.explain(ctx, err)
	}
	return o.tell(t, made, standing(in))
}

// standing counts the decisions that stand about what is in the record.
func standing(in record.Input) int {
	return review.Fold(in.Decisions).Stand() - review.Strangers(in.Document, in.Decisions)
}

func (o recordMakeOptions) check() error {
	if o.out == "" {
		return usageError{"--out is missing", "name the record to make: --out FOLDER or --out FILE.zip"}
	}
	if err := mustNotExist("--out", o.out); err != nil {
		return err
	}
	if info, err := os.Stat(filepath.Dir(o.out)); err != nil || !info.IsDir() {
		return usageError{fmt.Sprintf("--out %s: its folder is not there", o.out), "make it first: mkdir -p " + escape.Text(filepath.Dir(o.out))}
	}
	for _, what := range o.redact {
		if what != "crew" {
			return usageError{fmt.Sprintf("--redact %s: what can be left out is: crew", what), ""}
		}
	}
	if o.timestamp != "" {
		if err := seal.CheckURL(o.timestamp); err != nil {
			return usageError{fmt.Sprintf("--timestamp %s: %v", o.timestamp, err), ""}
		}
	}
	if o.passphrase != "" && o.sign == "" {
		return usageError{"--passphrase-file without --sign", "--sign NAME.key names the key"}
	}
	return nil
}

// input reads the folder of an inspection and finds all that belongs to it.
func (o recordMakeOptions) input(ctx context.Context, t *terminal, dir string) (record.Input, error) {
	in, err := readFrom(ctx, func() (record.Input, error) { return readInspected(dir) })
	if errors.Is(err, errLate) {
		err = failure{fmt.Sprintf("cannot read %s: %v", dir, err), ""}
	}
	if err != nil {
		return in, err
	}
	in.NoLocation, in.NoCrew, in.Version, in.Made = o.noLocation, len(o.redact) > 0, version, time.Now()
	in.Photos = photosOf(dir, in.Report, o.photos)
	if in.Decisions, err = decisionsOf(ctx, t, dir, in.Document); err != nil {
		return in, err
	}
	found, err := o.findSchedule(dir, in.Photos, in.Document.Schedule)
	if err != nil {
		return in, err
	}
	in.Schedule = found
	return in, o.addSettings(t, &in)
}

// readInspected reads what inspect wrote into a folder: regular files that lie in
// it, and no link that leads elsewhere.
func readInspected(dir string) (in record.Input, err error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return in, usageError{"no inspection at " + escape.Text(dir) + ": this is no folder", "give a folder that inspect wrote"}
	}
	if err := commit.Recover(dir); err != nil {
		return in, failure{escape.Text(fmt.Sprintf("%s: a run that wrote there was cut short and cannot be finished: %v", dir, err)), ""}
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return in, failure{fmt.Sprintf("cannot open %s: %v", escape.Text(dir), cause(err)), ""}
	}
	defer root.Close()
	names := outputsIn(".")
	if in.Inspection, err = readBelow(root, names.inspection); errors.Is(err, fs.ErrNotExist) {
		return in, usageError{"no inspection at " + escape.Text(filepath.Join(dir, names.inspection)), "give a folder that inspect wrote"}
	} else if err != nil {
		return in, failure{fmt.Sprintf("cannot read %s: %v", escape.Text(filepath.Join(dir, names.inspection)), bag.Cause(err)), ""}
	}
	if in.Document, err = inspection.Read(bytes.NewReader(in.Inspection)); err != nil {
		return in, usageError{escape.Text(fmt.Sprintf("%s: %v", filepath.Join(dir, names.inspection), err)), ""}
	}
	if in.Report, err = readBelow(root, names.report); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return in, failure{fmt.Sprintf("cannot read %s: %v", escape.Text(filepath.Join(dir, names.report)), bag.Cause(err)), "it must be a file in the folder that inspect wrote"}
	}
	return in, nil
}

// readBelow reads a regular file of bearable size that lies in a folder.
func readBelow(root *os.Root, name string) ([]byte, error) {
	f, err := bag.OpenRegular(root, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err == nil && len(data) > maxFile {
		err = fmt.Errorf("it has more than %d MB", maxFile>>20)
	}
	return data, err
}

// decisionsOf reads the decisions about an inspection.
func decisionsOf(ctx context.Context, t *terminal, dir string, d inspection.Document) ([]review.Decision, error) {
	log, err := openLog(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	all, err := log.All()
	if err != nil {
		return nil, failure{fmt.Sprintf("cannot read the decisions: %v", cause(err)), ""}
	}
	warnOfLog(t, dir, log)
	if n := review.Strangers(d, all); n > 0 {
		t.warn("%s about nothing in this inspection, as after photos were inspected again; kept aside", plural(n, "decision is", "decisions are"))
	}
	return all, nil
}

// findSchedule gives the file with the hash of the schedule that was judged by.
func (o recordMakeOptions) findSchedule(dir, photos string, s inspection.Schedule) (record.NamedFile, error) {
	candidates := []string{o.schedule}
	if o.schedule == "" {
		candidates = nil
		for _, folder := range []string{photos, filepath.Dir(filepath.Clean(photos)), dir, filepath.Dir(filepath.Clean(dir)), "."} {
			candidates = append(candidates, filepath.Join(folder, filepath.Base(s.File)))
		}
	}
	for _, path := range candidates {
		data, err := readFile(path)
		if err != nil {
			continue
		}
		if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) == s.SHA256 {
			return record.NamedFile{Name: path, Data: data}, nil
		}
	}
	if o.schedule != "" {
		return record.NamedFile{}, usageError{fmt.Sprintf("--schedule %s is not the schedule that was judged by, or cannot be read: the inspection names one with SHA-256 %s…", escape.Text(o.schedule), escape.Text(fmt.Sprintf("%.12s", s.SHA256))), "give the file as it was, or inspect again"}
	}
	return record.NamedFile{}, usageError{fmt.Sprintf("the schedule %s that was judged by is not beside the photos or the report, or was changed since", escape.Text(s.File)), "name it with --schedule FILE; if it was changed, inspect again"}
}

// addSettings reads what was used to measure beside the schedule. Each file must be
// what it is called: a record holds nothing else.
func (o recordMakeOptions) addSettings(t *terminal, in *record.Input) error {
	if err := o.needs(in.Document.Photos); err != nil {
		return err
	}
	read := func(flag, path string, parse func(data []byte) error) (*record.NamedFile, error) {
		data, err := readFile(path)
		if err == nil {
			err = parse(data)
		}
		if err != nil {
			return nil, usageError{fmt.Sprintf("%s %s: %s", flag, escape.Text(path), oneLine(err.Error())), ""}
		}
		return &record.NamedFile{Name: path, Data: data}, nil
	}
	var err error
	if o.card != "" {
		in.Cards, err = read("--card", o.card, func(data []byte) error { _, err := print.Parse(data); return err })
	}
	for _, path := range o.cameras {
		if err != nil {
			break
		}
		var f *record.NamedFile
		if f, err = read("--camera", path, func(data []byte) error { _, err := lens.Parse(data); return err }); err == nil {
			in.Profiles = append(in.Profiles, *f)
		}
	}
	if crews := o.crewList(t, in.Schedule.Name); crews != "" && err == nil {
		in.Crews, err = read("the list of crews", crews, func(data []byte) error {
			list, err := crew.Read(filepath.Base(crews), data)
			in.CrewNames = list.Names()
			return err
		})
	}
	return err
}

// crewList is the file that tells crews: the one that was named, else a file, and
// no link, beside the schedule.
func (o recordMakeOptions) crewList(t *terminal, schedule string) string {
	if o.crews != "" {
		return o.crews
	}
	beside := filepath.Join(filepath.Dir(schedule), crewsFile)
	switch info, err := os.Lstat(beside); {
	case err != nil:
		return ""
	case !info.Mode().IsRegular():
		t.warn("%s is no regular file and is not taken into the record; --crews FILE names the list", beside)
		return ""
	}
	return beside
}

// needs holds what was used to measure against what was given.
func (o recordMakeOptions) needs(photos []inspection.Photo) error {
	for _, p := range photos {
		if p.Card != nil && p.Card.Size == "proved" && o.card == "" {
			return usageError{fmt.Sprintf("photo %s was measured with a proved card", escape.Text(p.File)), "give the file of proved cards that inspect was given: --card FILE"}
		}
		if p.Camera != nil && p.Camera.Source == "profile" && len(o.cameras) == 0 {
			return usageError{fmt.Sprintf("photo %s was measured with a camera profile", escape.Text(p.File)), "give the profile that inspect used: --camera FILE"}
		}
	}
	return nil
}

// seals opens what the record is to be vouched for with, and the earlier record.
func (o recordMakeOptions) seals(t *terminal, in *record.Input) error {
	if o.follows != "" {
		p, err := predecessor(o.follows)
		if err != nil {
			return err
		}
		in.Follows = p
	}
	if o.authority != "" {
		pem, err := readFile(o.authority)
		if err == nil {
			_, err = seal.Roots(pem)
		}
		if err != nil {
			return usageError{fmt.Sprintf("--authority %s: %v", o.authority, err), "the authority's root certificate in PEM is needed"}
		}
		in.Authority = pem
	}
	if o.timestamp != "" {
		in.Stamp = func(ctx context.Context, message []byte) ([]byte, error) {
			return seal.AskStamp(ctx, o.timestamp, message)
		}
	}
	if o.sign != "" {
		k, err := openSecretKey(t, o.sign, o.passphrase)
		if err != nil {
			return err
		}
		in.Key = &k
	}
	return nil
}

// predecessor names an earlier record, which must be whole as bags go.
func predecessor(path string) (*record.Predecessor, error) {
	src, err := openBag(path, "--follows: ")
	if err != nil {
		return nil, err
	}
	defer src.Close()
	v, err := record.Verify(context.Background(), src, record.Options{Version: version})
	if err != nil {
		return nil, failure{escape.Text(fmt.Sprintf("--follows %s: %v", path, cause(err))), ""}
	}
	if len(v.Problems) > 0 {
		return nil, usageError{fmt.Sprintf("--follows %s: something is wrong with it: %s", escape.Text(path), v.Problems[0]), "coursegauge record verify " + escape.Text(path) + " tells all"}
	}
	name := filepath.Base(path)
	if abs, err := filepath.Abs(path); err == nil {
		name = filepath.Base(abs) // of "." too
	}
	return &record.Predecessor{Name: name, Digest: v.Digest, Made: v.Contents.Made}, nil
}

func (o recordMakeOptions) explain(ctx context.Context, err error) error {
	var wrong record.WrongPhoto
	var stamp record.NoStamp
	switch {
	case ctx.Err() != nil:
		return errStopped
	case errors.As(err, &wrong):
		return failure{wrong.Error(), "a record holds the photos that were inspected; --photos DIR says where they lie, or inspect again"}
	case errors.As(err, &stamp):
		return failure{escape.Text(oneLine(stamp.Error())), "nothing was made; try again, or make the record without --timestamp"}
	case errors.Is(err, fs.ErrExist):
		return mustNotExist("--out", o.out)
	}
	return failure{escape.Text(fmt.Sprintf("cannot make %s: %s", o.out, oneLine(err.Error()))), "nothing was left under that name"}
}

func (o recordMakeOptions) tell(t *terminal, m record.Made, stand int) error {
	for _, d := range m.Doubts {
		t.warn("%s", d)
	}
	if m.NotDone > 0 {
		t.warn("the run was stopped before %s: this record is not complete; finish it by the same inspect command, then make the record again", plural(m.NotDone, "photo", "photos"))
	}
	if err := o.print(t, m, stand); err != nil || len(m.Doubts)+m.NotDone == 0 {
		return err
	}
	return errNeedsPerson
}

func (o recordMakeOptions) print(t *terminal, m record.Made, stand int) error {
	if o.json {
		return t.json(map[string]any{
			"format": "coursegauge-record-made/1", "record": o.out, "number": m.Digest, "photos": len(m.Contents.Photos), "rewritten": m.Rewritten, "not_done": m.NotDone, "bytes": m.Octets,
			"decisions": m.Contents.Decisions, "decisions_standing": stand, "signed_by": m.Contents.SignedBy, "time_stamped": m.Contents.Stamped, "left_out": append([]string{}, m.Contents.LeftOut...),
		})
	}
	decided := plural(stand, "decision", "decisions")
	if undone := m.Contents.Decisions - stand; undone > 0 {
		decided += fmt.Sprintf(" (and %d that were changed or undone)", undone)
	}
	t.say("%s: %s, %s, %s", o.out, plural(len(m.Contents.Photos), "photo", "photos"), decided, megabytes(m.Octets))
	for _, what := range m.Contents.LeftOut {
		t.say("left out: %s", what)
	}
	if m.Contents.Elsewhere > 0 {
		t.say("%s about an earlier inspection, kept aside", plural(m.Contents.Elsewhere, "decision", "decisions"))
	}
	t.say("number: %s", m.Digest)
	t.tell("The number stands for the whole record: write it down elsewhere. Check it: coursegauge record verify %s", o.out)
	return nil
}

func megabytes(n int64) string { return strings.TrimSpace(fmt.Sprintf("%.1f MB", float64(n)/1e6)) }
