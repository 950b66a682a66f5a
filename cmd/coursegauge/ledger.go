package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/crew"
	"coursegauge/report/inspection"
	"coursegauge/report/ledger"
	"coursegauge/report/review"
	"coursegauge/report/schedule"

	"github.com/spf13/cobra"
)

func newLedger(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "ledger",
		Short: "keep inspections over the years, to see how a crew's nailing changes",
		Args:  noSuchCommand,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
		Long: `ledger keeps inspections in one file (SQLite), with what was decided about them.
It is what "crew NAME" makes its sheets from. A photo counts once, in the
inspection that was made last. Several people may write to one file at a time;
a crash leaves it as it was.`,
		Example: `  coursegauge ledger add lot-7-report --ledger work.ledger
  coursegauge ledger list --ledger work.ledger
  coursegauge ledger export --format csv --ledger work.ledger > fasteners.csv`,
	}
	c.SuggestionsMinimumDistance = 2
	c.AddCommand(newLedgerAdd(t), newLedgerList(t), newLedgerRemove(t), newLedgerExport(t))
	return c
}

// ledgerFlag is the flag that all of them have.
func ledgerFlag(c *cobra.Command, path *string) {
	c.Flags().StringVar(path, "ledger", "", "the `FILE` of the ledger")
}

// openLedger opens the ledger of a flag and words what is wrong with it.
func openLedger(path string, open func(string) (*ledger.Ledger, error)) (*ledger.Ledger, error) {
	if path == "" {
		return nil, usageError{"--ledger is missing", "name the file: --ledger work.ledger"}
	}
	l, err := open(path)
	return l, ledgerFault(err)
}

// ledgerFault is wrong use where another file was meant, and else a failure.
func ledgerFault(err error) error {
	var e *ledger.Error
	if !errors.As(err, &e) {
		return err
	}
	for _, wrong := range []error{ledger.ErrMissing, ledger.ErrForeign, ledger.ErrNotFound} {
		if errors.Is(err, wrong) {
			return usageError{e.Error(), e.Hint()}
		}
	}
	return failure{e.Error(), e.Hint()}
}

func newLedgerAdd(t *terminal) *cobra.Command {
	var path, scheduleFile, crewsPath string
	c := &cobra.Command{
		Use:   "add DIR... --ledger FILE",
		Short: "take in what inspect wrote into folders, with its decisions",
		Long: `add takes in the inspection of each folder, with what stands of its decisions.
All of the folders go in, or none. The same again changes nothing; add it again after a review and the decisions
follow. With --schedule, or a schedule.yaml in the folder, sheets are drawn true to
the product's width; without, they take it from the pieces measured.

--crews fills in the crew of photos that have none.

Exit status: 0 done; 2 wrong use; 3 could not do it.`,
		Example: `  coursegauge ledger add lot-7-report --ledger work.ledger --schedule lot-7.yaml
  coursegauge ledger add reports/* --ledger work.ledger --crews crews.yaml`,
		Args: oneFolder,
		RunE: func(c *cobra.Command, args []string) error {
			return runLedgerAdd(c.Context(), t, args, path, scheduleFile, crewsPath)
		},
	}
	ledgerFlag(c, &path)
	c.Flags().StringVar(&scheduleFile, "schedule", "", "the `FILE` by which the photos were inspected")
	c.Flags().StringVar(&crewsPath, "crews", "", "the `FILE` that tells crews by card, folder or phone")
	return c
}

func runLedgerAdd(ctx context.Context, t *terminal, folders []string, path, scheduleFile, crewsPath string) error {
	var entries []ledger.Entry
	for _, f := range folders { // all are read before the first is written
		e, err := entryOf(ctx, t, f, scheduleFile, crewsPath)
		if err != nil {
			return err
		}
		entries = append(entries, e)
	}
	if crewsPath != "" {
		if err := warnUnusedIn(t, entries, crewsPath); err != nil {
			return err
		}
	}
	l, err := openLedger(path, ledger.Create)
	if err != nil {
		return err
	}
	defer l.Close()
	out, err := l.Add(ctx, entries...)
	if err != nil {
		return ledgerFault(err)
	}
	for i, o := range out {
		tellAdded(t, folders[i], o)
	}
	return nil
}

func tellAdded(t *terminal, folder string, out ledger.Outcome) {
	in := out.Inspection
	what := "added"
	if out.Same {
		what = "was there already, nothing changed"
	} else if out.Renewed {
		what = "brought up to date"
	}
	t.say("%s  %s: %s (%s, %s, %s decided)", in.ID, folder, what, plural(in.Photos, "photo", "photos"), plural(in.Heads, "fastener", "fasteners"), fmt.Sprint(in.Decided))
	if out.Twice > 0 {
		t.tell("%s: %s a copy of another in it, counted once", folder, plural(out.Twice, "photo is", "photos are"))
	}
	if in.Undated > 0 && !out.Same {
		t.tell("%s: %s no date and so no place in a trend; messaging apps remove dates: send the file as the phone made it", folder, plural(in.Undated, "photo has", "photos have"))
	}
	if out.Again > 0 {
		t.tell("%s: %s in another inspection too; the one made last counts", folder, plural(out.Again, "photo is", "photos are"))
	}
}

// entryOf reads a folder of inspect.
func entryOf(ctx context.Context, t *terminal, folder, scheduleFile, crewsPath string) (ledger.Entry, error) {
	e := ledger.Entry{}
	d, err := readPart(ctx, folder)
	if err != nil {
		return e, err
	}
	if e.Folder, err = filepath.Abs(folder); err != nil {
		return e, failure{err.Error(), ""}
	}
	log, err := openLog(ctx, folder)
	if err != nil {
		return e, err
	}
	defer log.Close()
	decisions, err := log.All()
	if err != nil {
		return e, failure{oneLine(err.Error()), ""}
	}
	for _, s := range log.Said() {
		t.warn("%s: %s", folder, s)
	}
	e.Answers = review.Fold(decisions)
	if e.Product, err = productOf(folder, scheduleFile, d); err != nil {
		return e, err
	}
	if crewsPath != "" {
		if err := nameCrews(d, folder, crewsPath); err != nil {
			return e, err
		}
	}
	e.Document = d
	return e, nil
}

// productOf takes the product from the schedule that was given, or from the one
// that lies in the folder, if it is the one that was judged by.
func productOf(folder, path string, d inspection.Document) (*ledger.Product, error) {
	given := path != ""
	if !given {
		path = filepath.Join(folder, "schedule.yaml")
		if _, err := os.Stat(path); err != nil {
			return nil, nil
		}
	}
	s, err := readSchedule(path)
	if err != nil {
		return nil, err
	}
	if s.SHA256 != d.Schedule.SHA256 {
		if !given {
			return nil, nil
		}
		return nil, usageError{fmt.Sprintf("--schedule %s is not the one that %s was inspected by (%s)", path, folder, d.Schedule.File), "give that one, or inspect again"}
	}
	return product(s), nil
}

func product(s schedule.Schedule) *ledger.Product {
	return &ledger.Product{
		Width: float64(s.Shingle.Width), Height: float64(s.Shingle.Height), Exposure: float64(s.Shingle.Exposure),
		BandLow: float64(s.Band.Low), BandHigh: float64(s.Band.High), EndMin: float64(s.Ends.Min), EndMax: float64(s.Ends.Max),
		Clearance: float64(s.Joints.Clearance), PerPiece: s.Fasteners.PerPiece,
	}
}

// nameCrews fills in the crew of photos that have none.
func nameCrews(d inspection.Document, folder, path string) error {
	list, _, err := readCrews(path, "")
	if err != nil {
		return err
	}
	paths, err := photoPaths(d, folder)
	if err != nil {
		return err
	}
	for i, p := range d.Photos {
		if p.Crew != "" {
			continue
		}
		of := crew.Photo{Card: -1, Path: paths[i], Device: p.Device}
		if p.Card != nil {
			of.Card = p.Card.Number
		}
		d.Photos[i].Crew, _ = list.Of(of)
	}
	return nil
}

// photoPaths are where the photos of a folder's inspection lie, absolute.
func photoPaths(d inspection.Document, folder string) ([]string, error) {
	page, err := readFile(filepath.Join(folder, "report.html"))
	if err != nil {
		page = nil // the photos' names then count from the folder itself
	}
	from, err := filepath.Abs(photosOf(folder, page, ""))
	if err != nil {
		return nil, failure{err.Error(), ""}
	}
	paths := make([]string, len(d.Photos))
	for i, p := range d.Photos {
		paths[i] = filepath.Join(from, filepath.FromSlash(p.File))
	}
	return paths, nil
}

// warnUnusedIn does for folders of inspect what warnUnusedFolders does for photos.
func warnUnusedIn(t *terminal, entries []ledger.Entry, crewsPath string) error {
	list, _, err := readCrews(crewsPath, "")
	if err != nil {
		return err
	}
	var photos []photoFile
	for _, e := range entries {
		paths, err := photoPaths(e.Document, e.Folder)
		if err != nil {
			return err
		}
		for _, p := range paths {
			photos = append(photos, photoFile{path: p})
		}
	}
	warnUnusedFolders(t, list, photos)
	return nil
}

func newLedgerList(t *terminal) *cobra.Command {
	path, asJSON := "", false
	c := &cobra.Command{
		Use:     "list --ledger FILE",
		Short:   "list the inspections and crews of a ledger",
		Example: "  coursegauge ledger list --ledger work.ledger",
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := openLedger(path, ledger.Open)
			if err != nil {
				return err
			}
			defer l.Close()
			all, err := l.List(c.Context())
			if err != nil {
				return ledgerFault(err)
			}
			crews, err := l.Crews(c.Context())
			if err != nil {
				return ledgerFault(err)
			}
			if asJSON {
				return t.json(map[string]any{"inspections": append([]ledger.Inspection{}, all...), "crews": append([]ledger.Crew{}, crews...)})
			}
			tellLedger(t, all, crews)
			return nil
		},
	}
	ledgerFlag(c, &path)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func tellLedger(t *terminal, all []ledger.Inspection, crews []ledger.Crew) {
	photos, heads := 0, 0
	for _, i := range all {
		days := daysWords(i.First, i.Last, i.Undated)
		t.say("%s  %s  %s: %s, %s, %d decided  (%s)", i.ID, days, i.Title, plural(i.Photos, "photo", "photos"), plural(i.Heads, "fastener", "fasteners"), i.Decided, i.Folder)
		photos, heads = photos+i.Photos, heads+i.Heads
	}
	t.say("%s, %s, %s", plural(len(all), "inspection", "inspections"), plural(photos, "photo", "photos"), plural(heads, "fastener", "fasteners"))
	for _, c := range crews {
		t.say("crew %s: %s, %s", c.Name, plural(c.Photos, "photo", "photos"), daysWords(c.First, c.Last, c.Undated))
	}
}

// daysWords says from when photos are, and how many of them do not tell.
func daysWords(first, last string, undated int) string {
	days := first
	if last != first {
		days += " to " + last
	}
	switch {
	case undated == 0:
		return days
	case days == "":
		return "no dates"
	}
	return fmt.Sprintf("%s and %d without a date", days, undated)
}

func newLedgerRemove(t *terminal) *cobra.Command {
	path := ""
	c := &cobra.Command{
		Use:     "remove DIR|NAME --ledger FILE",
		Short:   "take an inspection out, by its folder or its short name",
		Example: "  coursegauge ledger remove 1f09c2aa --ledger work.ledger",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{"one inspection is needed", "give its folder, or its short name from ledger list"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			l, err := openLedger(path, ledger.Open)
			if err != nil {
				return err
			}
			defer l.Close()
			gone, err := l.Remove(c.Context(), args[0])
			if err != nil {
				return ledgerFault(err)
			}
			t.say("removed %s  %s (%s); the folder %s is as it was", gone.ID, gone.Title, plural(gone.Photos, "photo", "photos"), gone.Folder)
			return nil
		},
	}
	ledgerFlag(c, &path)
	return c
}

func newLedgerExport(t *terminal) *cobra.Command {
	path, format := "", "csv"
	c := &cobra.Command{
		Use:     "export --format csv --ledger FILE",
		Short:   "print one line a fastener",
		Example: "  coursegauge ledger export --format csv --ledger work.ledger > fasteners.csv",
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !strings.EqualFold(format, "csv") {
				return usageError{fmt.Sprintf("--format %s: csv is the only one", format), ""}
			}
			l, err := openLedger(path, ledger.Open)
			if err != nil {
				return err
			}
			defer l.Close()
			return ledgerFault(l.Export(c.Context(), t.out))
		},
	}
	ledgerFlag(c, &path)
	c.Flags().StringVar(&format, "format", "csv", "the `FORMAT`: csv")
	return c
}
