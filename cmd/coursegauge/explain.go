package main

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/photo"

	"github.com/spf13/cobra"
	"gocv.io/x/gocv"
)

type explainOptions struct{ schedule, out, card, camera string }

func newExplain(t *terminal) *cobra.Command {
	o := explainOptions{}
	c := &cobra.Command{
		Use:   "explain PHOTO [--schedule FILE] [--out FILE.html]",
		Short: "show all that the tool sees in one photo, and why it was refused",
		Long: `explain looks at one photo and writes a page with all that was seen: every limit
that a photo must keep beside what this one has, the card with what is left of
each corner drawn as a vector, sharpness, angle, scale, distance and lens, the
edges and heads, the self-checks, and the stages with their times.

It works on refused photos too: that is what it is for. Without --schedule it
speaks of light, card and pose; the course cannot be found without knowing what
was installed.

The page is written into the folder in which the command is run, named after the
photo, unless --out says otherwise.

Exit status: 0 the photo can be measured; 1 it is refused; 2 wrong use; 3 could
not do it; 130 stopped.`,
		Example: `  coursegauge explain lot-7/IMG_31.jpg --schedule lot-7.yaml
  coursegauge explain IMG_31.jpg --out why.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{fmt.Sprintf("one photo is explained at a time, %d given", len(args)), "coursegauge explain PHOTO --schedule FILE"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runExplain(c.Context(), t, o, args[0]) },
	}
	c.Flags().StringVar(&o.schedule, "schedule", "", "the `FILE` that says what was installed")
	c.Flags().StringVar(&o.out, "out", "", "the page, `FILE.html`")
	c.Flags().StringVar(&o.card, "card", "", "the `FILE` of proved cards, as with inspect")
	c.Flags().StringVar(&o.camera, "camera", "", "a camera profile `FILE`, or auto, as with inspect")
	return c
}

func runExplain(ctx context.Context, t *terminal, o explainOptions, path string) error {
	if info, err := os.Stat(path); err != nil {
		return usageError{"no such photo: " + path, nearPath(path, "coursegauge explain PHOTO --schedule FILE")}
	} else if info.IsDir() {
		return usageError{path + " is a folder; one photo is explained at a time", "name a photo in it"}
	}
	var s *schedule.Schedule
	if o.schedule != "" {
		read, err := readSchedule(o.schedule)
		if err != nil {
			return err
		}
		s = &read
	}
	if o.out == "" {
		o.out = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)) + "-explained.html"
	}
	if identity(o.out) == identity(path) {
		return usageError{"--out " + o.out + " is the photo itself", "give another name"}
	}
	if err := wantKind("--out", o.out, pageKinds); err != nil {
		return err
	}
	k, err := newKnown(t, o.card, o.camera, []photoFile{{path: path, name: filepath.Base(path)}})
	if err != nil {
		return err
	}
	e, err := explainPhoto(ctx, path, s, k)
	switch {
	case ctx.Err() != nil:
		return errStopped
	case err != nil:
		return err
	}
	defer e.close()
	page, err := e.page()
	if err != nil {
		return failure{oneLine(err.Error()), ""}
	}
	if err := writeWhole(o.out, page); err != nil {
		return err
	}
	e.print(t)
	t.say("page: %s", o.out)
	if e.result.Refusal != nil {
		return errNeedsPerson
	}
	return nil
}

// explained is one photo with all that was seen in it.
type explained struct {
	name     string
	schedule *schedule.Schedule // nil when none was given
	facts    photo.Facts
	picture  *photo.Picture // nil when it could not be read
	result   *vision.Result
	edges    template.HTMLAttr // the picture of the edges, "" without
}

func (e *explained) close() {
	if e.picture != nil {
		e.picture.Close()
	}
}

// explainPhoto measures one photo as inspect does, by the product of the
// schedule, or as far as it goes without one.
func explainPhoto(ctx context.Context, path string, s *schedule.Schedule, k *known) (e *explained, err error) {
	e = &explained{name: escape.Text(filepath.Base(path)), schedule: s}
	defer func() {
		if what := recover(); what != nil {
			e.close()
			e, err = nil, failure{fmt.Sprintf("%s: internal fault: %s", path, oneLine(fmt.Sprint(what))), "report the fault together with the photo"}
		}
	}()
	data, err := readFile(path)
	if err == nil {
		e.facts = photo.ReadFacts(data)
		e.picture, err = photo.Decode(data, photo.Options{})
	}
	if err != nil {
		e.result = &vision.Result{Refusal: unreadable(err)}
		return e, nil
	}
	o := vision.Options{Known: k.of(e.picture), CardOnly: s == nil, Stages: e.keep}
	if s != nil {
		o.Product = s.Product()
	}
	e.result, err = vision.Inspect(ctx, e.picture, o)
	if err != nil && !errors.Is(err, context.Canceled) {
		err = failure{fmt.Sprintf("%s: internal fault: %s", path, oneLine(err.Error())), "report the fault together with the photo"}
	}
	if err != nil {
		e.close()
	}
	return e, err
}

// keep takes the picture of the edges from the stages.
func (e *explained) keep(name string, picture gocv.Mat) {
	if name == "edges" {
		e.edges, _ = embedded(picture, explainSide) // a picture less is no reason to explain nothing
	}
}

// verdict is the photo in one sentence.
func (e *explained) verdict() string {
	r := e.result
	switch {
	case r.Refusal != nil:
		return fmt.Sprintf("refused (%s): %s; %s", r.Refusal.Reason, oneLine(r.Refusal.Detail), oneLine(r.Refusal.Advice))
	case e.schedule == nil:
		return "light, card and pose can be measured with; give --schedule to look for the course too"
	}
	return fmt.Sprintf("measured: %s", plural(len(r.Fasteners), "fastener", "fasteners"))
}

func (e *explained) print(t *terminal) {
	t.say("%s: %s", e.name, e.verdict())
	for _, g := range e.result.Gauges {
		mark := "ok "
		if !g.Kept() {
			mark = "NOT"
		}
		t.say("  %s  %s: %s, %s", mark, g.Name, figure(g.Value, g.Unit), limitWords(g))
	}
	for _, c := range e.result.Checks {
		if !c.OK {
			t.say("  NOT  self-check, %s: %s", c.Name, c.Text)
		}
	}
}

// figure is a value with its unit, as many digits as tell something.
func figure(v float64, unit string) string {
	digits := 0
	switch {
	case v != float64(int64(v)) && (v < 10 && v > -10):
		digits = 2
	case v != float64(int64(v)):
		digits = 1
	}
	return strings.TrimSpace(fmt.Sprintf("%.*f %s", digits, v, unit))
}

func limitWords(g vision.Gauge) string {
	if g.Least {
		return "at least " + figure(g.Limit, g.Unit)
	}
	return "at most " + figure(g.Limit, g.Unit)
}
