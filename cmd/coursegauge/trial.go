package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"coursegauge/calibrate/trial"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/schedule"
	"coursegauge/vision/length"

	"github.com/spf13/cobra"
)

func newTrial(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "trial",
		Short: "test phone, card and habit with your own tape",
		Args:  noSuchCommand,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
		Long: `trial holds the photos' lengths against a tape. "trial new" picks heads and writes
a sheet to fill in; "trial judge" says how well the two agree, and whether this
phone, this card and the way they are used may be trusted to 1/16 in.`,
		Example: `  coursegauge inspect deck/ --schedule deck.yaml --out deck-trial
  coursegauge trial new deck-trial deck/ --schedule deck.yaml
  coursegauge trial judge deck-trial`,
	}
	c.SuggestionsMinimumDistance = 2
	c.AddCommand(newTrialNew(t), newTrialJudge(t))
	return c
}

// trialFiles are the files of a trial's folder beside those of inspect.
type trialFiles struct{ inspection, schedule, sheet, print, page string }

func trialIn(folder string) trialFiles {
	at := func(name string) string { return filepath.Join(folder, name) }
	return trialFiles{at("inspection.json"), at("schedule.yaml"), at("tape.csv"), at("tape.html"), at("trial.html")}
}

// oneFolder takes the folder of a trial from the arguments.
func oneFolder(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usageError{"no folder given", c.CommandPath() + " --help shows an example"}
	}
	return nil
}

// readSheet reads the sheet of a trial; nil rows when there is none.
func readSheet(path string) ([]trial.Row, error) {
	data, err := readFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, failure{fmt.Sprintf("%s: %v", path, err), ""}
	}
	rows, err := trial.DecodeSheet(path, data)
	if err != nil {
		return nil, usageError{err.Error(), ""}
	}
	return rows, nil
}

// look is what a page of a trial takes from the program.
func look() trial.Look {
	made := fmt.Sprintf("Made %s by coursegauge %s. Lengths are in inches.", time.Now().Format("2006-01-02 15:04"), version)
	return trial.Look{Style: page.Style(), Made: made, Cautions: []string{
		"A trial tells how well photos measure. It does not tell that a roof meets a code or that a warranty applies; the shingle's printed instructions and the local code come first.",
		"It holds for this phone, this card and this way to use them. Try again after a new phone, a new print or a new way.",
		"Do not go on a roof for a trial unless you are trained, allowed and protected from falling (29 CFR 1926 subpart M, or your local rule).",
	}}
}

// ruleOf names the rule that looks at a kind of length.
var ruleOf = map[string]trial.Kind{"height": trial.AboveButt, "end": trial.End, "lower_joint": trial.LowerJoint}

// limitsOf are those limits of a schedule that a tape can check.
func limitsOf(s schedule.Schedule) trial.Limits {
	return trial.Limits{
		trial.AboveButt:  {Min: s.Band.Low, Max: s.Band.High},
		trial.End:        {Min: s.Ends.Min, Max: s.Ends.Max},
		trial.LowerJoint: {Min: s.Joints.Clearance},
	}
}

// trialPhotos takes from an inspection what a trial needs of it.
func trialPhotos(d inspection.Document) (out []trial.Photo) {
	for _, p := range d.Photos {
		if p.Status != inspection.Measured || p.Course == nil {
			continue
		}
		q := trial.Photo{File: p.File, Device: p.Device, Crew: p.Crew}
		if p.Card != nil {
			q.Card = p.Card.Number
		}
		for _, k := range p.Course.Pieces {
			piece := trial.Piece{ID: k.ID}
			if k.Width != nil {
				w := length.MM(k.Width.MM)
				piece.Width = &w
			}
			q.Pieces = append(q.Pieces, piece)
		}
		for _, h := range p.Heads {
			q.Heads = append(q.Heads, trialHead(h))
		}
		out = append(out, q)
	}
	return out
}

func trialHead(h inspection.Fastener) trial.Head {
	out := trial.Head{
		ID: h.ID, X: h.Px[0], Y: h.Px[1], Radius: h.RadiusPx, Piece: -1,
		Lengths: map[trial.Kind]length.Measured{}, Answers: map[trial.Kind]trial.Answer{}, Ends: map[trial.Side]length.Measured{},
	}
	if h.Piece != nil {
		out.Piece = *h.Piece
	}
	for k, l := range map[trial.Kind]*inspection.Length{trial.AboveButt: h.AboveButt, trial.End: h.End, trial.LowerJoint: h.LowerJoint} {
		if l != nil {
			out.Lengths[k] = length.New(length.MM(l.MM), length.MM(l.U))
		}
	}
	for s, l := range map[trial.Side]*inspection.Length{trial.Left: h.LeftEnd, trial.Right: h.RightEnd} {
		if l != nil {
			out.Ends[s] = length.New(length.MM(l.MM), length.MM(l.U))
			if h.End != nil && h.End.MM == l.MM {
				out.Side = s
			}
		}
	}
	for _, r := range h.Rules {
		if k, ok := ruleOf[r.Rule]; ok {
			out.Answers[k] = trial.Answer(r.Result)
		}
	}
	return out
}
