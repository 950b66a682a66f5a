package main

import (
	"bytes"
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"coursegauge/report/ledger"
	"coursegauge/report/page"
	"coursegauge/report/sheet"

	"github.com/spf13/cobra"
)

// crewOptions are the flags of crew.
type crewOptions struct {
	ledger, out, lang string
	span              ledger.Span
	against           string
	exercise, photos  string
}

func newCrew(t *terminal) *cobra.Command {
	o := crewOptions{}
	c := &cobra.Command{
		Use:   "crew NAME --ledger FILE --out FILE.html",
		Short: "write the sheet of one crew or person: where the nails go, and whether that changes",
		Long: `crew writes one page about the nails of one crew or person, as crews.yaml names
them: every nail drawn on one piece, bias and spread, how often each rule was
broken, the change over time, and up to three habits to work on, with photos of
their own. Nothing of anybody else is on it.

--from and --to pick the days. The page compares with as many days just before;
--against picks others; without --from it compares the first half with the second.

--exercise DIR makes the page for the training bench instead: the photos of that
one inspection in order, to walk through together on a screen. Printed, it is one
page for the apprentice.

Exit status: 0 done; 2 wrong use; 3 could not do it.`,
		Example: `  coursegauge crew "first crew" --ledger work.ledger --from 2026-05-01 --to 2026-05-31 --out first.html
  coursegauge crew Ana --ledger work.ledger --exercise bench-monday --out ana.html --lang es`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || strings.TrimSpace(args[0]) == "" {
				return usageError{"the name of one crew is needed", "put a name with spaces into quotes; ledger list shows the names"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runCrew(c.Context(), t, o, args[0]) },
	}
	ledgerFlag(c, &o.ledger)
	f := c.Flags()
	f.StringVar(&o.out, "out", "", "the `FILE` to write")
	f.StringVar(&o.span.From, "from", "", "the first `DAY`, as 2026-05-04")
	f.StringVar(&o.span.To, "to", "", "the last `DAY`")
	f.StringVar(&o.against, "against", "", "the days to compare with, `DAY:DAY`")
	f.StringVar(&o.exercise, "exercise", "", "walk through the inspection in `DIR` instead")
	f.StringVar(&o.photos, "photos", "", "the folder `DIR` that the photos' names count from, if they were moved since")
	f.StringVar(&o.lang, "lang", "en", "the language, `LANG`: "+strings.Join(sheet.Languages(), " or "))
	return c
}

func (o crewOptions) check() (against ledger.Span, err error) {
	if o.out == "" {
		return against, usageError{"--out is missing", "name the file to write: --out sheet.html"}
	}
	if err := wantKind("--out", o.out, pageKinds); err != nil {
		return against, err
	}
	if !slices.Contains(sheet.Languages(), o.lang) {
		return against, usageError{fmt.Sprintf("--lang %s: the sheet speaks %s", o.lang, strings.Join(sheet.Languages(), " and ")), ""}
	}
	if o.against != "" {
		from, to, ok := strings.Cut(o.against, ":")
		if !ok || from == "" || to == "" {
			return against, usageError{fmt.Sprintf("--against %s: two days are needed", o.against), "as in --against 2026-03-01:2026-03-31"}
		}
		against = ledger.Span{From: from, To: to}
		if err := checkSpan("--against", against); err != nil {
			return against, err
		}
	}
	return against, checkSpan("--from/--to", o.span)
}

var dayForm = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)

func checkSpan(flag string, s ledger.Span) error {
	for _, d := range []string{s.From, s.To} {
		if _, err := time.Parse(time.DateOnly, d); d != "" && (err != nil || !dayForm.MatchString(d)) {
			return usageError{fmt.Sprintf("%s: %q is no day", flag, d), "days are written 2026-05-04"}
		}
	}
	if s.From != "" && s.To != "" && s.To < s.From {
		return usageError{fmt.Sprintf("%s: %s is before %s", flag, s.To, s.From), ""}
	}
	return nil
}

func runCrew(ctx context.Context, t *terminal, o crewOptions, name string) error {
	against, err := o.check()
	if err != nil {
		return err
	}
	l, err := openLedger(o.ledger, ledger.Open)
	if err != nil {
		return err
	}
	defer l.Close()
	if err := knownCrew(ctx, l, o.ledger, name); err != nil {
		return err
	}
	var out bytes.Buffer
	look := sheet.Look{Style: page.Style(), Lang: o.lang}
	if o.exercise != "" {
		err = writeExercise(ctx, l, o, name, &out, look)
	} else {
		err = writeSheet(ctx, l, o, name, against, &out, look)
	}
	if err != nil {
		return err
	}
	if err := writeWhole(o.out, out.Bytes()); err != nil {
		return err
	}
	what := "sheet"
	if o.exercise != "" {
		what = "exercise"
	}
	t.say("%s: %s", what, o.out)
	return nil
}

// knownCrew says which names the ledger has when this is none of them.
func knownCrew(ctx context.Context, l *ledger.Ledger, path, name string) error {
	crews, err := l.Crews(ctx)
	if err != nil {
		return ledgerFault(err)
	}
	var names []string
	for _, c := range crews {
		if c.Name == name {
			return nil
		}
		names = append(names, c.Name)
	}
	hint := "the ledger has " + strings.Join(names, ", ")
	if len(names) == 0 {
		hint = "no photo in the ledger names a crew: inspect with --crews, or ledger add DIR --crews FILE"
	}
	return usageError{fmt.Sprintf("no crew %q in %s", name, path), oneLine(hint)}
}

// writeSheet reads the periods and writes the sheet.
func writeSheet(ctx context.Context, l *ledger.Ledger, o crewOptions, name string, against ledger.Span, out *bytes.Buffer, look sheet.Look) error {
	p, err := periodsOf(ctx, l, o, name, against)
	if err != nil {
		return err
	}
	if err := sheet.Write(out, p, newPictures(o.photos).of, look); err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	return nil
}

func periodsOf(ctx context.Context, l *ledger.Ledger, o crewOptions, name string, against ledger.Span) (p sheet.Periods, err error) {
	if p.Work, err = l.Of(ctx, name, o.span); err != nil {
		return p, ledgerFault(err)
	}
	if len(p.Work.Photos) == 0 {
		return p, usageError{fmt.Sprintf("no photos of %q between %s and %s", name, orOpen(o.span.From, "the first day"), orOpen(o.span.To, "the last")), undatedHint(p.Work.LeftOut)}
	}
	if against == (ledger.Span{}) && o.span.From != "" {
		to := o.span.To
		if to == "" {
			to = p.Work.Photos[len(p.Work.Photos)-1].Day
		}
		if against, err = sheet.Preceding(ledger.Span{From: o.span.From, To: to}); err != nil {
			return p, usageError{err.Error(), ""}
		}
	}
	if against == (ledger.Span{}) {
		p.Halved = true
		p.Earlier, p.Later, p.Compared = sheet.Halves(p.Work)
		return p, nil
	}
	p.Before, p.Later = against, p.Work.Dated()
	if p.Earlier, err = l.Of(ctx, name, against); err != nil {
		return p, ledgerFault(err)
	}
	p.Compared = len(p.Earlier.Photos) > 0 && len(p.Later.Photos) > 0
	return p, nil
}

func undatedHint(leftOut int) string {
	if leftOut > 0 {
		return plural(leftOut, "photo has", "photos have") + " no date; without --from and --to all are shown"
	}
	return "ledger list shows the days of each crew"
}

func orOpen(day, open string) string {
	if day == "" {
		return open
	}
	return day
}

// writeExercise writes the walk through one inspection.
func writeExercise(ctx context.Context, l *ledger.Ledger, o crewOptions, name string, out *bytes.Buffer, look sheet.Look) error {
	in, err := l.Find(ctx, o.exercise)
	if err != nil {
		return ledgerFault(err)
	}
	w, err := l.Of(ctx, name, o.span)
	if err != nil {
		return ledgerFault(err)
	}
	job := slices.IndexFunc(w.Jobs, func(j ledger.Job) bool { return j.ID == in.ID })
	w.Photos = slices.DeleteFunc(w.Photos, func(p ledger.Photo) bool { return p.Job != job })
	if job < 0 || len(w.Photos) == 0 {
		return usageError{fmt.Sprintf("no photos of %q count in %s", name, o.exercise), "ledger list shows what is there"}
	}
	w.Jobs = w.Jobs[job : job+1]
	for i := range w.Photos {
		w.Photos[i].Job = 0
	}
	if err := sheet.WriteExercise(out, w, newPictures(o.photos).whole(w.Jobs[0]), look); err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	return nil
}
