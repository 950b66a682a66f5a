package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"coursegauge/calibrate/trial"
	"coursegauge/vision/length"

	"github.com/spf13/cobra"
)

type judgeOptions struct {
	schedule, device, tape string
	repeats, json          bool
}

func newTrialJudge(t *terminal) *cobra.Command {
	o := judgeOptions{}
	c := &cobra.Command{
		Use:   "judge DIR",
		Short: "say how well photos and tape agree",
		Long: `judge holds the figures of tape.csv against the photos and writes trial.html into
DIR: bias, standard deviation and 95 % limits of agreement (Bland and Altman
1986) with their intervals, how often the stated U95 held, which verdicts the
tape confirms, and in one sentence whether this phone, this card and the way
they are used may be trusted to 1/16 in. The tape's own graduation is taken into
account: as the entries show it, never coarser than 1/16 in or 1 mm unless --tape
says so. Photos of two phones are not judged together.

Photos of the same heads tell how well photos repeat themselves, without any
tape. Either rows of several photos carry the same name in the sheet, or with
--repeats the photos of each folder show one course, and heads are known again
by their place against the joints (a quarter inch along and up). Crews or phones
are then compared with each other where there are several.

Exit status: 0 done, and trusted; 1 done, and not trusted or not shown yet; 2
wrong use; 3 could not do it.`,
		Example: `  coursegauge trial judge deck-trial
  coursegauge trial judge deck-trial --tape "1/8 in"
  coursegauge trial judge ten-photos-of-one-course --repeats`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{"one folder is judged at a time, got " + args[1] + " too", ""}
			}
			return oneFolder(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error { return runTrialJudge(c.Context(), t, o, args[0]) },
	}
	f := c.Flags()
	f.StringVar(&o.tape, "tape", "", "what the tape was read to, a `LENGTH` such as \"1/16 in\" or \"1 mm\"")
	f.StringVar(&o.schedule, "schedule", "", "the `FILE` that the photos were judged by; schedule.yaml in DIR is found by itself")
	f.StringVar(&o.device, "device", "", "judge only photos of this phone, `NAME` as in the report")
	f.BoolVar(&o.repeats, "repeats", false, "the photos of each folder show one course: compare them with each other")
	f.BoolVar(&o.json, "json", false, "print the result as one JSON object")
	return c
}

func runTrialJudge(ctx context.Context, t *terminal, o judgeOptions, folder string) error {
	tape, err := tapeFlag(o.tape)
	if err != nil {
		return err
	}
	d, err := readPart(ctx, folder)
	if err != nil {
		return err
	}
	photos, err := ofDevice(trialPhotos(d), o.device)
	if err != nil {
		return err
	}
	files := trialIn(folder)
	rows, err := readSheet(files.sheet)
	if err != nil {
		return err
	}
	limits, err := judgedBy(o.schedule, files.schedule, d.Schedule.SHA256)
	if err != nil {
		return err
	}
	r := result{folder: folder, files: files}
	if r.repeats = repeatsOf(photos, rows, o.repeats); o.repeats && len(r.repeats.Studies) == 0 {
		return usageError{"--repeats: " + strings.Join(r.repeats.Notes, "; "), "several photos of one course are needed, in a folder of their own when there are more courses"}
	}
	switch j, err := trial.Judge(photos, ofPhotos(rows, photos, o.device), limits, tape); {
	case err == nil:
		r.judgement = &j
	case rows == nil && r.repeats == nil:
		return usageError{"no tape.csv in " + folder, "make it with: coursegauge trial new " + folder + " PHOTOS..."}
	case errors.Is(err, trial.ErrSheet) && (r.repeats == nil || trial.Touched(rows) > 0 && !o.repeats):
		return usageError{files.sheet + ": " + err.Error(), ""}
	}
	return r.write(t, o.json)
}

func tapeFlag(text string) (trial.Tape, error) {
	if text == "" {
		return trial.Tape{}, nil
	}
	g, err := length.Parse(text)
	if err != nil {
		return trial.Tape{}, usageError{"--tape: " + err.Error(), ""}
	}
	if g <= 0 || g > length.Inch {
		return trial.Tape{}, usageError{fmt.Sprintf("--tape %q: a graduation over zero and up to 1 in is needed, such as \"1/16 in\"", text), ""}
	}
	return trial.Tape{Graduation: g, Said: true}, nil
}

// ofDevice keeps the photos of one phone.
func ofDevice(photos []trial.Photo, device string) ([]trial.Photo, error) {
	if device == "" {
		return photos, nil
	}
	kept := slices.DeleteFunc(slices.Clone(photos), func(p trial.Photo) bool { return !strings.EqualFold(p.Device, device) })
	if len(kept) == 0 {
		return nil, usageError{fmt.Sprintf("--device %q: no measured photo is of this phone", device), "the photos name: " + strings.Join(devicesOf(photos), "; ")}
	}
	return kept, nil
}

// devicesOf names the phones of photos in order.
func devicesOf(photos []trial.Photo) (names []string) {
	for _, p := range photos {
		if name := cmp.Or(p.Device, trial.NamelessPhone); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// ofPhotos keeps the rows of photos that are judged, when a phone was picked:
// the others are not lost.
func ofPhotos(rows []trial.Row, photos []trial.Photo, device string) []trial.Row {
	if device == "" {
		return rows
	}
	return slices.DeleteFunc(slices.Clone(rows), func(r trial.Row) bool {
		return !slices.ContainsFunc(photos, func(p trial.Photo) bool { return p.File == r.Photo })
	})
}

// judgedBy gives the limits of the schedule that the photos were judged by;
// none when it is not at hand.
func judgedBy(path, beside, sha string) (trial.Limits, error) {
	if path == "" {
		if _, err := os.Stat(beside); err != nil {
			return nil, nil
		}
		path = beside
	}
	s, err := readSchedule(path)
	if err != nil {
		return nil, err
	}
	if s.SHA256 != sha {
		return nil, usageError{fmt.Sprintf("%s is not the schedule that the photos were judged by", path), "give that one with --schedule, or inspect again"}
	}
	return limitsOf(s), nil
}

// repeatsOf compares photos with each other where that was asked for, or where
// names in the sheet say which heads are the same; else nil.
func repeatsOf(photos []trial.Photo, rows []trial.Row, byPlace bool) *trial.Repeats {
	if byPlace {
		r := trial.RepeatByPlace(photos)
		return &r
	}
	if r := trial.RepeatByName(photos, rows); len(r.Studies) > 0 {
		return &r
	}
	return nil
}

// result is what a trial came to.
type result struct {
	folder    string
	files     trialFiles
	judgement *trial.Judgement
	repeats   *trial.Repeats
}

// write writes the page, tells the result, and gives the exit status.
func (r result) write(t *terminal, asJSON bool) error {
	var page bytes.Buffer
	if err := trial.WriteJudgementPage(&page, r.judgement, r.repeats, look()); err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	if err := writeWhole(r.files.page, page.Bytes()); err != nil {
		return err
	}
	var end error
	if r.judgement != nil && !r.judgement.AllTrusted() {
		end = errNeedsPerson
	}
	if asJSON {
		if err := t.json(r.forScripts()); err != nil {
			return failure{fmt.Sprintf("cannot print: %v", err), ""}
		}
		return end
	}
	r.print(t)
	return end
}

func (r result) print(t *terminal) {
	if j := r.judgement; j != nil {
		t.say("%s", j.Sentence())
		for _, c := range j.Comparisons {
			t.say("  %s: %s", c.Kind.Words(), c.Summary())
		}
		for _, row := range j.NoHead {
			t.warn("no %d of %s is marked as no head: the photo took something else for one", row.No, row.Photo)
		}
		for _, row := range j.Lost {
			t.warn("no %d of %s is not judged: the inspection has no head at its place any more", row.No, row.Photo)
		}
	}
	if r.repeats != nil {
		for _, s := range r.repeats.Sentences() {
			t.say("%s", s)
		}
		for _, n := range r.repeats.Notes {
			t.tell("%s", n)
		}
	}
	t.say("page: %s", r.files.page)
}

// trialFormat names the answer for scripts.
const trialFormat = "coursegauge-trial/1"

// trialAnswer is what `trial judge --json` prints; lengths are mm.
type trialAnswer struct {
	Format   string          `json:"format"`
	Sentence string          `json:"sentence,omitempty"`
	Device   string          `json:"device,omitempty"`
	Cards    []int           `json:"cards,omitempty"`
	TapeMM   float64         `json:"tape_mm,omitempty"`
	NoHead   int             `json:"no_head"`
	Lost     int             `json:"lost"`
	Lengths  []lengthAnswer  `json:"lengths"`
	Repeats  []repeatsAnswer `json:"repeats"`
	Page     string          `json:"page"`
}

type lengthAnswer struct {
	Kind      trial.Kind  `json:"kind"`
	Trust     trial.Trust `json:"trust"`
	Why       string      `json:"why"`
	Pairs     int         `json:"pairs"`
	Photos    int         `json:"photos"`
	Effective float64     `json:"effective_pairs"`
	Bias      float64     `json:"bias"`
	BiasCI    [2]float64  `json:"bias_ci"`
	SD        float64     `json:"sd"`
	OwnSD     float64     `json:"sd_without_tape"`
	Limits    [2]float64  `json:"limits"`
	LowerCI   [2]float64  `json:"lower_ci"`
	UpperCI   [2]float64  `json:"upper_ci"`
	Within    int         `json:"within_u95"`
	WithinCI  [2]float64  `json:"within_u95_ci"`
	Confirmed int         `json:"verdicts_confirmed"`
	Judged    int         `json:"verdicts_judged"`
}

type repeatsAnswer struct {
	Kind            trial.Kind `json:"kind"`
	Heads           int        `json:"heads"`
	Operators       int        `json:"operators"`
	Photos          int        `json:"photos_each"`
	By              string     `json:"by,omitempty"`
	Repeatability   float64    `json:"repeatability"`
	Reproducibility float64    `json:"reproducibility"`
	Between         float64    `json:"between_heads"`
	Limit           float64    `json:"two_photos_differ_by_less_than"`
}

func (r result) forScripts() trialAnswer {
	a := trialAnswer{Format: trialFormat, Page: r.files.page, Lengths: []lengthAnswer{}, Repeats: []repeatsAnswer{}}
	pair := func(i trial.Interval) [2]float64 { return [2]float64{i.Low, i.High} }
	if j := r.judgement; j != nil {
		a.Sentence, a.Device, a.Cards, a.TapeMM = j.Sentence(), j.Device, j.Cards, float64(j.Tape.Graduation)
		a.NoHead, a.Lost = len(j.NoHead), len(j.Lost)
		for _, c := range j.Comparisons {
			a.Lengths = append(a.Lengths, lengthAnswer{
				c.Kind, c.Trust, c.Why, len(c.Pairs), c.Photos, c.Effective, c.Bias, pair(c.BiasCI), c.SD, c.Own, [2]float64{c.Lower, c.Upper},
				pair(c.LowerCI), pair(c.UpperCI), c.Within, pair(c.Coverage()), c.Confirmed, c.Judged,
			})
		}
	}
	if r.repeats != nil {
		for _, s := range r.repeats.Studies {
			a.Repeats = append(a.Repeats, repeatsAnswer{s.Kind, s.Parts, s.Operators, s.Trials, r.repeats.By, s.Repeatability, s.Reproducibility, s.BetweenParts, s.Limit()})
		}
	}
	return a
}
