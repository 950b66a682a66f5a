package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coursegauge/report/proportion"

	"github.com/spf13/cobra"
)

// samplingOptions are the flags of sampling.
type samplingOptions struct {
	pieces, perPhoto int
	confidence, rate float64
	aql, level       string
	tables, asJSON   bool
}

// samplingAnswer is what sampling --json prints.
type samplingAnswer struct {
	Pieces     int     `json:"pieces"`
	Confidence float64 `json:"confidence"`
	Rate       float64 `json:"rate"`
	Bad        int     `json:"bad"`    // how many that rate is
	Sample     int     `json:"sample"` // pieces drawn one by one
	Photos     int     `json:"photos"` // when bad pieces come side by side
	PerPhoto   int     `json:"pieces_per_photo"`
}

func newSampling(t *terminal) *cobra.Command {
	o := samplingOptions{}
	c := &cobra.Command{
		Use:   "sampling --pieces N",
		Short: "say how much to photograph",
		Long: `sampling says how many of N pieces must be photographed, drawn by lot, so that
when none of them is bad, fewer than --rate of all are, with --confidence: the
exact bound of the hypergeometric distribution.

--aql shows the plan of attribute sampling that a contract may name (ISO 2859-1,
single, normal inspection, after public copies of its forebear MIL-STD-105E);
--tables shows the tables. The standard itself decides.

Exit status: 0 done; 2 wrong use.`,
		Example: `  coursegauge sampling --pieces 1000 --confidence 0.95 --rate 0.05
  coursegauge sampling --pieces 1000 --aql 2.5 --level II`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error { return runSampling(t, o) },
	}
	f := c.Flags()
	f.IntVar(&o.pieces, "pieces", 0, "how many pieces there are, `N`")
	f.Float64Var(&o.confidence, "confidence", .95, "how sure it must be, between 0.5 and 0.9999: `SHARE`")
	f.Float64Var(&o.rate, "rate", .05, "the share of bad pieces that must not go unseen, `SHARE` above 0 and at most 1")
	f.IntVar(&o.perPhoto, "per-photo", 3, "how many whole pieces a photo shows, `N`")
	f.StringVar(&o.aql, "aql", "", "the acceptance quality limit of a contract, `PERCENT`: "+strings.Join(proportion.AQLs, ", "))
	f.StringVar(&o.level, "level", "II", "the inspection level of a contract, `LEVEL`: "+strings.Join(proportion.Levels, ", "))
	f.BoolVar(&o.tables, "tables", false, "print the tables of attribute sampling")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
	return c
}

const mostPieces = 100_000_000

func (o samplingOptions) check() error {
	switch {
	case o.pieces == 0 && !o.tables:
		return usageError{fmt.Sprintf("--pieces is missing or 0: a number from 1 to %d is needed", mostPieces), "say how many pieces there are: --pieces 1000"}
	case o.pieces < 0 || o.pieces > mostPieces:
		return usageError{fmt.Sprintf("--pieces %d: a number from 1 to %d is needed", o.pieces, mostPieces), ""}
	case !(o.confidence >= .5 && o.confidence <= .9999):
		return usageError{fmt.Sprintf("--confidence %v: a share between 0.5 and 0.9999 is needed", o.confidence), "0.95 is usual"}
	case !(o.rate > 0 && o.rate <= 1):
		return usageError{fmt.Sprintf("--rate %v: a share above 0 and at most 1 is needed", o.rate), "0.05 is 5 %"}
	case o.perPhoto < 1 || o.perPhoto > 100:
		return usageError{fmt.Sprintf("--per-photo %d: a number from 1 to 100 is needed", o.perPhoto), ""}
	case o.aql != "" && !slices.Contains(proportion.AQLs, o.aql):
		return usageError{fmt.Sprintf("--aql %s: the table has %s", o.aql, strings.Join(proportion.AQLs, ", ")), ""}
	case !slices.Contains(proportion.Levels, o.level):
		return usageError{fmt.Sprintf("--level %s: levels are %s", o.level, strings.Join(proportion.Levels, ", ")), ""}
	case o.aql != "" && o.pieces < 2:
		return usageError{fmt.Sprintf("--pieces %d: attribute sampling begins at lots of 2", o.pieces), ""}
	}
	return nil
}

func runSampling(t *terminal, o samplingOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	if o.tables {
		tellTables(t)
		if o.pieces == 0 {
			return nil
		}
	}
	a := sample(o)
	if o.asJSON {
		return t.json(a)
	}
	tellSample(t, a)
	if o.aql != "" {
		return tellPlan(t, o)
	}
	return nil
}

// sample reckons both extremes: pieces drawn one by one, and photos of pieces
// that stand side by side and are all bad or all good.
func sample(o samplingOptions) samplingAnswer {
	a := samplingAnswer{Pieces: o.pieces, Confidence: o.confidence, Rate: o.rate, PerPhoto: o.perPhoto}
	a.Sample, a.Bad = proportion.SampleFor(o.pieces, o.rate, o.confidence)
	places := int(math.Ceil(float64(o.pieces) / float64(o.perPhoto)))
	a.Photos, _ = proportion.SampleFor(places, o.rate, o.confidence)
	return a
}

func tellSample(t *terminal, a samplingAnswer) {
	share := func(v float64) string { return fmt.Sprintf("%g %%", math.Round(v*1e4)/100) }
	t.say("Photograph %s of %s, drawn by lot.", plural(a.Sample, "piece", "pieces"), fmt.Sprint(a.Pieces))
	t.say("If %s or more were bad (%s), at least one would be among them %s of the time. So when none is bad,", fmt.Sprint(a.Bad), share(a.Rate), share(a.Confidence))
	t.say("you may say with %s confidence that fewer than %d of the %d are.", share(a.Confidence), a.Bad, a.Pieces)
	t.say("")
	t.say("A photo shows neighbours, and bad pieces often come side by side: then %s of %s count as one look.", "the pieces", "one photo")
	t.say("With %d pieces a photo, take %s at places drawn by lot to be on the safe side.", a.PerPhoto, plural(a.Photos, "photo", "photos"))
	t.say("")
	t.say("What this cannot do:")
	t.say("- Photos that the crew chose are no random sample; no number of them proves anything about the rest.")
	t.say("  Draw the places before the work begins, and tell them only when the course lies open.")
	t.say("- It holds for what the photos show. A head that was not found or could not be judged was not looked at.")
	t.say("- One bad piece found says only that there are some. Then count, and see the interval in the report.")
}

func tellPlan(t *terminal, o samplingOptions) error {
	p, err := proportion.PlanFor(o.pieces, o.level, o.aql)
	if err != nil {
		return usageError{err.Error(), ""}
	}
	t.say("")
	if p.All {
		t.say("Attribute sampling, level %s, AQL %s: the sample is the whole lot of %d; accept with at most %d bad.", o.level, o.aql, p.Size, p.Accept)
	} else {
		t.say("Attribute sampling, level %s, AQL %s: code %s, %d pieces drawn by lot; accept with at most %d bad, reject with %d.", o.level, o.aql, p.Code, p.Size, p.Accept, p.Accept+1)
	}
	t.say("Single plan, normal inspection, after public copies of MIL-STD-105E, the forebear of ISO 2859-1; your copy of the standard decides.")
	t.say("An AQL is no promise about one lot: the plan lets lots at that limit pass nearly always, and worse ones often.")
	t.say("It is meant for a series of lots, with the standard's rules for switching to tightened inspection, which are not here.")
	return nil
}

func tellTables(t *terminal) {
	print := func(title string, rows [][]string, first int) {
		t.say("%s", title)
		for _, r := range rows {
			line := fmt.Sprintf("%-*s", first, r[0])
			for _, c := range r[1:] {
				line += fmt.Sprintf("%7s", c)
			}
			t.say("%s", line)
		}
		t.say("")
	}
	print("Code letters by lot size and inspection level", proportion.LotCodes(), 18)
	print("Acceptance numbers by code letter, sample size and AQL (v: use the plan below, ^: the one above)", proportion.Table(), 5)
	t.say("Single plans, normal inspection. After public copies of MIL-STD-105E (1989), the forebear of ISO 2859-1; row R from memory.")
	t.say("Whoever is bound by the standard looks into the standard.")
}
