package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"coursegauge/calibrate/trial"
	"coursegauge/report/inspection"
	"coursegauge/vision/photo"

	"github.com/spf13/cobra"
)

type trialOptions struct {
	schedule, card, camera string
	device                 string
	heads                  int
	seed                   uint64
}

func newTrialNew(t *terminal) *cobra.Command {
	o := trialOptions{}
	c := &cobra.Command{
		Use:   "new DIR [PHOTOS...] [--schedule FILE]",
		Short: "pick heads and write the sheet for the tape",
		Long: `new picks heads and writes two files into DIR: tape.csv, which any spreadsheet
opens and where the tape's figures go, and tape.html, to print: each photo with
the picked heads numbered. Neither shows what the photos measured.

DIR is a folder that inspect wrote, and PHOTOS are the photos of that run (not
needed when they lie in DIR). Or DIR is new: then PHOTOS are inspected first, by
--schedule. With --schedule the verdicts are held against the tape as well.

The heads are put in order of their height and cut into as many groups of equal
size as --heads asks for; of each group one is drawn by --seed, from the photos
and the distances to the end that were drawn least. Rows in which something was
typed are never changed; running new again adds to them.

Lengths are typed with their unit, as 6-3/16 in, 6.19 in or 157 mm. An empty
cell or - is a length that was not taped; "no head" says that there is no
fastener at the mark.

Exit status: 0 done; 1 done, and a photo was refused; 2 wrong use; 3 could not
do it; 130 stopped.`,
		Example: `  coursegauge trial new deck-trial deck/ --schedule deck.yaml
  coursegauge trial new lot-7-report lot-7/ --heads 40`,
		Args: oneFolder,
		RunE: func(c *cobra.Command, args []string) error { return runTrialNew(c.Context(), t, o, args[0], args[1:]) },
	}
	f := c.Flags()
	f.StringVar(&o.schedule, "schedule", "", "the `FILE` by which the photos are, or were, inspected")
	f.StringVar(&o.card, "card", "", "the `FILE` of proved cards, for photos that are inspected now")
	f.StringVar(&o.camera, "camera", "", "a camera profile `FILE`, or auto, for photos that are inspected now")
	f.StringVar(&o.device, "device", "", "pick only from photos of this phone, `NAME` as in the report")
	f.IntVar(&o.heads, "heads", 24, "how many heads to tape, `N` from 1 to 500")
	f.Uint64Var(&o.seed, "seed", 1, "another `NUMBER` draws other heads")
	return c
}

func runTrialNew(ctx context.Context, t *terminal, o trialOptions, folder string, args []string) error {
	if o.heads < 1 || o.heads > 500 {
		return usageError{fmt.Sprintf("--heads %d: a number from 1 to 500 is needed", o.heads), ""}
	}
	files := trialIn(folder)
	kept, err := readSheet(files.sheet)
	if err != nil {
		return err
	}
	d, refused, err := inspectedFor(ctx, t, o, folder, args)
	if err != nil {
		return err
	}
	if err := keepSchedule(o.schedule, files.schedule, d); err != nil {
		return err
	}
	photos, err := ofDevice(trialPhotos(d), o.device)
	if err != nil {
		return err
	}
	rows := trial.Choose(photos, kept, o.heads, o.seed)
	if len(rows) == 0 {
		return usageError{"no head was measured in these photos: " + why(d), "a trial needs photos that inspect can measure; explain PHOTO says what is wrong with one"}
	}
	pictures, err := picturesOf(rows, d, folder, args)
	if err != nil {
		return err
	}
	if err := writeTrial(files, rows, pictures); err != nil {
		return err
	}
	tellTrial(t, files, rows, kept, o)
	if names := devicesOf(photos); len(names) > 1 {
		t.warn("the photos are of %d phones (%s); a trial is of one: judge them apart, or pick one now, with --device", len(names), strings.Join(names, "; "))
	}
	return refused
}

// inspectedFor reads the inspection of the folder, or makes it; refused is the
// errNeedsPerson of photos that were refused on the way.
func inspectedFor(ctx context.Context, t *terminal, o trialOptions, folder string, args []string) (d inspection.Document, refused, err error) {
	path := filepath.Join(folder, "inspection.json")
	if _, err := os.Stat(path); err == nil {
		d, err = readPart(ctx, folder)
		return d, nil, err
	}
	if len(args) == 0 || o.schedule == "" {
		return d, nil, usageError{"no inspection in " + folder, "give the photos and the schedule too: coursegauge trial new DIR PHOTOS... --schedule FILE; or a folder that inspect wrote"}
	}
	refused = runInspect(ctx, t, inspectOptions{schedule: o.schedule, card: o.card, camera: o.camera, out: folder, jobs: runtime.NumCPU()}, args)
	if refused != nil && !errors.Is(refused, errNeedsPerson) {
		return d, nil, refused
	}
	d, err = readPart(ctx, folder)
	return d, refused, err
}

// keepSchedule puts the schedule beside the inspection that was judged by it.
func keepSchedule(from, to string, d inspection.Document) error {
	if from == "" {
		return nil
	}
	s, err := readSchedule(from)
	if err != nil {
		return err
	}
	if s.SHA256 != d.Schedule.SHA256 {
		return usageError{fmt.Sprintf("--schedule %s is not the one that the photos were inspected by (%s)", from, d.Schedule.File), "give that one, or inspect again"}
	}
	data, err := readFile(from)
	if err != nil {
		return failure{fmt.Sprintf("--schedule %s: %v", from, err), ""}
	}
	return writeWhole(to, data)
}

// why says for what reasons the photos give nothing to tape.
func why(d inspection.Document) string {
	if len(d.Photos) == 0 {
		return "the inspection has no photos"
	}
	var reasons []string
	for _, r := range slices.Sorted(maps.Keys(d.Totals.RefusedByReason)) {
		reasons = append(reasons, fmt.Sprintf("%d %s", d.Totals.RefusedByReason[r], r))
	}
	return fmt.Sprintf("%s, %d refused (%s)", plural(len(d.Photos), "photo", "photos"), d.Totals.Refused, strings.Join(reasons, ", "))
}

// picturesOf finds the photos of the rows by their content, wherever they lie
// now, and makes the pictures of the sheet.
func picturesOf(rows []trial.Row, d inspection.Document, folder string, args []string) ([]trial.Picture, error) {
	if len(args) == 0 {
		args = []string{folder}
	}
	b, err := expand(args)
	if err != nil {
		return nil, usageError{"the photos are needed for the printed sheet, and are not in " + folder, "name them: coursegauge trial new " + folder + " PHOTOS..."}
	}
	wanted := map[string]inspection.Photo{} // by SHA-256
	for _, p := range d.Photos {
		if slices.ContainsFunc(rows, func(r trial.Row) bool { return r.Photo == p.File }) {
			wanted[p.SHA256] = p
		}
	}
	var out []trial.Picture
	for _, p := range b.photos {
		data, err := readFile(p.path)
		if err != nil {
			continue
		}
		sum := sha256.Sum256(data)
		key := hex.EncodeToString(sum[:])
		of, ok := wanted[key]
		if !ok {
			continue
		}
		delete(wanted, key)
		pic, err := sheetPicture(of, data)
		if err != nil {
			return nil, err
		}
		out = append(out, pic)
	}
	if len(wanted) > 0 {
		var missing []string
		for _, p := range wanted {
			missing = append(missing, p.File)
		}
		slices.Sort(missing)
		return nil, usageError{fmt.Sprintf("%s of the inspection not found, for example %s", plural(len(missing), "photo", "photos"), missing[0]),
			"name the photos, unchanged since: coursegauge trial new " + folder + " PHOTOS..."}
	}
	slices.SortFunc(out, func(a, b trial.Picture) int { return compareNatural(a.File, b.File) })
	return out, nil
}

// sheetPictureSide is enough for paper: 17 cm at 240 dots an inch.
const sheetPictureSide = 1600

func sheetPicture(of inspection.Photo, data []byte) (trial.Picture, error) {
	pic, err := photo.Decode(data, photo.Options{})
	if err != nil {
		return trial.Picture{}, failure{fmt.Sprintf("%s: %v", of.File, err), ""}
	}
	defer pic.Close()
	src, err := embeddedPhoto(pic, sheetPictureSide)
	if err != nil {
		return trial.Picture{}, failure{fmt.Sprintf("%s: %v", of.File, err), ""}
	}
	out := trial.Picture{File: of.File, Width: pic.Width(), Height: pic.Height(), Src: src}
	if c := of.Course; c != nil {
		dx, dy := c.ButtPx[1][0]-c.ButtPx[0][0], c.ButtPx[1][1]-c.ButtPx[0][1]
		if n := math.Hypot(dx, dy); n > 0 {
			out.Along = [2]float64{dx / n, dy / n}
		}
	}
	return out, nil
}

// writeTrial writes the page first: a sheet is never there without it.
func writeTrial(files trialFiles, rows []trial.Row, pictures []trial.Picture) error {
	var page, sheet bytes.Buffer
	if err := trial.WriteSheetPage(&page, rows, pictures, look()); err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	if err := trial.EncodeSheet(&sheet, rows); err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	if err := writeWhole(files.print, page.Bytes()); err != nil {
		return err
	}
	return writeWhole(files.sheet, sheet.Bytes())
}

func tellTrial(t *terminal, files trialFiles, rows, kept []trial.Row, o trialOptions) {
	n := trial.Touched(kept)
	if n > 0 {
		t.say("%s with something typed kept as they were", plural(n, "row", "rows"))
	}
	t.say("%s to tape, spread from the lowest to the highest", plural(len(rows), "head", "heads"))
	if len(rows) < o.heads {
		t.say("no more were measured: %d asked for", o.heads)
	}
	t.say("print: %s", files.print)
	t.say("fill in: %s", files.sheet)
	if _, err := os.Stat(files.schedule); err != nil {
		t.hint("without --schedule FILE the lengths are compared, the verdicts are not")
	}
	t.tell("Do not go on a roof for a trial unless trained, allowed and protected from falling; a practice deck on the ground does.")
}
