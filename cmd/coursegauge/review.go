package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/mend"
	"coursegauge/report/regular"
	"coursegauge/report/review"

	"github.com/spf13/cobra"
)

// reviewOptions are the flags of review.
type reviewOptions struct {
	noOpen                 bool
	port                   int
	who, photos            string
	merge, marks, mend     string
	language, scheduleFile string
}

func newReview(t *terminal) *cobra.Command {
	o := reviewOptions{}
	c := &cobra.Command{
		Use:   "review DIR",
		Short: "decide about what was marked, in the browser, and keep the decisions",
		Long: `review shows the report in DIR, which inspect wrote, in the browser of this
machine and keeps what is decided there in DIR/` + review.FileName + `: one line a decision,
on the disk before the page says saved. Nobody else can reach it: it listens on
127.0.0.1 only, at an address with a secret in it. Ctrl-C ends it.
DIR/fasteners.csv follows the decisions.

--merge takes in decisions that were made elsewhere: those that the report, opened
without review, offers as a download, or another folder's ` + review.FileName + `. Nothing is
overwritten; where people disagree, both answers stand and are shown.

--mend writes the list for the crew: numbered marks on each photo, what to mend,
a box to tick. What was decided to be sound is left out.

--export-marks writes what people saw as the truth of a scoring, for the photos
about which somebody said that every head in them is found or marked. It needs
the schedule of the job.

Exit status: 0 done; 1 done, and something needs a person (people disagree, or a
decision fits nothing here); 2 wrong use; 3 could not do it.`,
		Example: `  coursegauge review lot-7-report
  coursegauge review lot-7-report --merge decisions-from-the-office.jsonl
  coursegauge review lot-7-report --mend mend.html --lang es
  coursegauge review lot-7-report --export-marks marks/lot-7 --schedule lot-7.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{"one folder is needed", "name the folder that inspect wrote: coursegauge review DIR"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runReview(c.Context(), t, o, args[0]) },
	}
	f := c.Flags()
	f.BoolVar(&o.noOpen, "no-open", false, "print the address and open no browser")
	f.IntVar(&o.port, "port", 0, "listen on this `PORT`; 0 takes a free one")
	f.StringVar(&o.who, "who", "", "who decides, `NAME`, unless the page says otherwise; the name of the user by itself")
	f.StringVar(&o.photos, "photos", "", "the folder `DIR` that the photos' names count from, if they were moved since")
	f.StringVar(&o.merge, "merge", "", "take in the decisions of `FILE`")
	f.StringVar(&o.mend, "mend", "", "write the list of what to mend to `FILE`")
	f.StringVar(&o.language, "lang", "en", "the language of the list, `LANG`: "+strings.Join(mend.Languages(), " or "))
	f.StringVar(&o.marks, "export-marks", "", "write what people saw as truth into the folder `DIR`")
	f.StringVar(&o.scheduleFile, "schedule", "", "the schedule `FILE` of the job, for --export-marks")
	return c
}

// reviewed is the folder under review.
type reviewed struct {
	dir, photos string
	document    inspection.Document
	report      []byte
	log         *review.Log
}

func runReview(ctx context.Context, t *terminal, o reviewOptions, dir string) error {
	if err := o.check(); err != nil {
		return err
	}
	r, err := openReviewed(t, dir, o.photos)
	if err != nil {
		return err
	}
	defer r.log.Close()
	acts := 0
	for _, act := range []struct {
		asked bool
		do    func() error
	}{
		{o.merge != "", func() error { return r.merge(t, o.merge) }},
		{o.mend != "", func() error { return r.writeMend(t, o.mend, o.language) }},
		{o.marks != "", func() error { return r.exportMarks(t, o.marks, o.scheduleFile) }},
	} {
		if !act.asked {
			continue
		}
		acts++
		if err := act.do(); err != nil {
			return err
		}
	}
	if acts > 0 {
		return r.tellStanding(t)
	}
	return r.serve(ctx, t, o)
}

func (o reviewOptions) check() error {
	if o.port < 0 || o.port > 65535 {
		return usageError{fmt.Sprintf("--port %d: a number from 0 to 65535 is needed", o.port), ""}
	}
	if o.mend != "" {
		if err := wantKind("--mend", o.mend, pageKinds); err != nil {
			return err
		}
	}
	if !mend.Speaks(o.language) {
		return usageError{fmt.Sprintf("--lang %s: the languages are %s", o.language, strings.Join(mend.Languages(), ", ")), ""}
	}
	if o.marks != "" && o.scheduleFile == "" {
		return usageError{"--export-marks needs --schedule", "name the schedule that the photos were judged by"}
	}
	return nil
}

// maxReport is the largest report that is read, bytes.
const maxReport = 4 << 30

// openReviewed reads what inspect wrote and the decisions about it.
func openReviewed(t *terminal, dir, photos string) (*reviewed, error) {
	r := &reviewed{dir: dir}
	var err error
	path := filepath.Join(dir, "inspection.json")
	if r.document, err = inspection.ReadFile(path); errors.Is(err, fs.ErrNotExist) {
		return nil, usageError{"no inspection at " + path, nearPath(dir, "give a folder that inspect wrote")}
	} else if err != nil {
		return nil, usageError{err.Error(), ""}
	}
	r.report, err = regular.Read(outputsIn(dir).report, maxReport)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, failure{fmt.Sprintf("cannot read %s: %v", outputsIn(dir).report, cause(err)), ""}
	}
	r.photos = photosOf(dir, r.report, photos)
	if r.log, err = review.Open(dir); err != nil {
		return nil, failure{fmt.Sprintf("cannot read the decisions: %v", cause(err)), ""}
	}
	warnOfLog(t, dir, r.log)
	all, err := r.log.All()
	if err != nil {
		return nil, failure{fmt.Sprintf("cannot read the decisions: %v", cause(err)), ""}
	}
	if n := review.Strangers(r.document, all); n > 0 {
		t.warn("%s about nothing in this inspection, as after photos were inspected again; kept, and not shown", plural(n, "decision is", "decisions are"))
	}
	return r, nil
}

// warnOfLog tells what is odd about the decisions of a folder.
func warnOfLog(t *terminal, dir string, log *review.Log) {
	for _, s := range log.Said() {
		t.warn("%s", s)
	}
	path := filepath.Join(dir, review.FileName)
	if info, err := os.Lstat(path); err == nil && info.Mode().Perm()&0o002 != 0 {
		t.warn("everybody on this machine may write to %s: a decision in it may be anybody's", path)
	}
}

// merge takes in decisions of a file, all at once or none.
func (r *reviewed) merge(t *terminal, path string) error {
	data, err := readFile(path)
	if err != nil {
		return usageError{fmt.Sprintf("--merge %s: %v", path, err), ""}
	}
	theirs, err := review.ReadAll(path, data)
	if err != nil {
		return usageError{err.Error(), "nothing was taken in; a file that the report offered or a " + review.FileName + " is needed"}
	}
	before, err := r.log.All()
	if err != nil {
		return failure{err.Error(), ""}
	}
	known, fits := review.NewKnown(r.document), theirs[:0:0]
	for _, d := range theirs {
		if err := known.Check(d); err != nil {
			t.warn("left out: %v", err)
			continue
		}
		fits = append(fits, d)
	}
	if len(theirs) > 0 && len(fits) == 0 {
		return usageError{fmt.Sprintf("--merge %s: not one of the %s is about this inspection", path, plural(len(theirs), "decision", "decisions")), ""}
	}
	if err := r.log.Append(fits...); err != nil {
		return failure{fmt.Sprintf("cannot take in %s: %v", path, err), "nothing of it was taken in"}
	}
	after, err := r.log.All()
	if err != nil {
		return failure{err.Error(), ""}
	}
	t.say("%s taken in, %d there already, %d about nothing here; %d stand now", plural(len(after)-len(before), "decision", "decisions"), len(fits)-(len(after)-len(before)), len(theirs)-len(fits), review.Fold(after).Stand())
	if len(fits) < len(theirs) {
		return errors.Join(r.writeCSV(), errNeedsPerson)
	}
	return r.writeCSV()
}

// answers are what stands now.
func (r *reviewed) answers() (review.Answers, error) {
	all, err := r.log.All()
	if err != nil {
		return nil, failure{fmt.Sprintf("cannot read the decisions: %v", err), ""}
	}
	return review.Fold(all), nil
}

func (r *reviewed) writeCSV() error {
	a, err := r.answers()
	if err != nil {
		return err
	}
	path := outputsIn(r.dir).fasteners
	return cannotWrite(path, inspection.WriteCSVDecided(path, r.document, a.Decider()))
}

func (r *reviewed) writeMend(t *terminal, path, language string) error {
	var b strings.Builder
	if err := r.mendTo(&b, language); err != nil {
		return err
	}
	if err := writeWhole(path, []byte(b.String())); err != nil {
		return err
	}
	t.say("mend list: %s", path)
	return nil
}

func (r *reviewed) mendTo(w io.Writer, language string) error {
	if !mend.Speaks(language) {
		return fmt.Errorf("the languages are %s", strings.Join(mend.Languages(), ", "))
	}
	a, err := r.answers()
	if err != nil {
		return err
	}
	return mend.Write(w, r.document, a, r.report, language)
}

// tellStanding ends a command that changed or used the decisions: people must
// look where they disagree.
func (r *reviewed) tellStanding(t *terminal) error {
	a, err := r.answers()
	if err != nil {
		return err
	}
	conflicts := a.Conflicts()
	for _, key := range conflicts {
		var said []string
		for _, d := range a[key] {
			said = append(said, fmt.Sprintf("%s (%s)", d.What, cmp.Or(escape.Text(d.Who), "no name")))
		}
		t.say("people disagree on %s of %s: %s", a[key][0].Target, a[key][0].File, strings.Join(said, ", "))
	}
	if len(conflicts) > 0 {
		return errNeedsPerson
	}
	return nil
}

// serve shows the report until the command is stopped.
func (r *reviewed) serve(ctx context.Context, t *terminal, o reviewOptions) error {
	if r.report == nil {
		return usageError{"no report at " + outputsIn(r.dir).report, "review takes a folder that inspect wrote"}
	}
	listener, err := net.Listen("tcp4", fmt.Sprintf("127.0.0.1:%d", o.port))
	if err != nil {
		return failure{fmt.Sprintf("cannot listen on 127.0.0.1: %v", err), "another port: --port"}
	}
	follow := newFollower(func() error { return r.writeCSV() }, func(err error) { t.warn("%s does not follow: %v", outputsIn(r.dir).fasteners, err) })
	defer follow.end()
	s, err := review.NewServer(review.Options{
		Host: listener.Addr().String(), Report: r.report, Document: r.document, Log: r.log, Who: whoDecides(o.who), Tool: version,
		Photo: r.photo,
		CSV: func(w io.Writer) error {
			a, err := r.answers()
			if err != nil {
				return err
			}
			return inspection.EncodeCSVDecided(w, r.document, a.Decider())
		},
		Mend: r.mendTo, Saved: follow.nudge, Now: time.Now,
		Refused: func(line string) { t.tell("%s", line) },
	})
	if err != nil {
		return usageError{fmt.Sprintf("%s: %v", outputsIn(r.dir).report, err), "it was made by another version: inspect again"}
	}
	arrived := func() {}
	server := &http.Server{Handler: whenAsked(s, s.Path(), func() { arrived() }), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute, WriteTimeout: 5 * time.Minute, MaxHeaderBytes: 32 << 10}
	t.say("review: %s", s.URL())
	t.tell("decisions go to %s; Ctrl-C ends the review", filepath.Join(r.dir, review.FileName))
	if !o.noOpen {
		arrived = openBrowser(t, s.URL()) // nothing is served before Serve
		defer arrived()
	}
	go func() {
		<-ctx.Done()
		server.Close() // what was shown as saved is on the disk
	}()
	if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return failure{fmt.Sprintf("the server ended: %v", err), ""}
	}
	return nil
}

// whoDecides is the name that was given, or that of the user.
func whoDecides(given string) string {
	if given != "" {
		return given
	}
	if u, err := user.Current(); err == nil {
		if u.Name != "" {
			return u.Name
		}
		return u.Username
	}
	return ""
}
