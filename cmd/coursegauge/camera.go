package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/calibrate/lens"

	"github.com/spf13/cobra"
)

func newCamera(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "camera",
		Short: "teach the lens of a phone",
		Args:  noSuchCommand,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(newCameraLearn(t))
	return c
}

type learnOptions struct {
	out  string
	json bool
}

func newCameraLearn(t *terminal) *cobra.Command {
	o := learnOptions{}
	c := &cobra.Command{
		Use:   "learn PHOTOS... --out FILE",
		Short: "learn focal length and distortion of one phone and lens from photos of the card",
		Long: `learn finds the card in photos of one phone, one lens and one picture size, and
writes what it learned of the lens into a profile: focal length, principal
point, distortion, and how well they are known. A picture beside it, named like
the profile with .svg, shows where in the frame the card was seen.

Ten or more photos are good: the card filling a third of the picture or more,
tilted by 30 degrees in several directions, at every edge and corner of the
frame, the phone upright, sideways and upside down, no zoom. Photos of open
courses count too, by the card in them; alone they rarely suffice, and the
command then says what is missing.

--out is a file, or a folder in which the profile is named by device, lens and
picture size. inspect --camera auto finds files named *` + lens.Ext + ` beside the
photos, in the working folder and in ` + settingsText + `;
a profile elsewhere is named with --camera FILE.

Exit status: 0 done; 1 done, and the views do not determine the lens well; 2
wrong use; 3 could not do it.`,
		Example: `  coursegauge camera learn lens-photos/ --out ~/.config/coursegauge/
  coursegauge inspect lot-7/ --schedule lot-7.yaml --out lot-7-report --camera auto`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{"no photos given", "coursegauge camera learn PHOTOS... --out FILE; --help shows examples"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runLearn(c.Context(), t, o, args) },
	}
	c.Flags().StringVar(&o.out, "out", "", "the profile `FILE`, or a folder for it")
	c.Flags().BoolVar(&o.json, "json", false, "print the result as one JSON object")
	return c
}

func runLearn(ctx context.Context, t *terminal, o learnOptions, args []string) error {
	if o.out == "" {
		return usageError{"--out is missing", "name the profile to write, or a folder for it: --out FILE"}
	}
	if !isFolder(o.out) {
		if err := wantKind("--out", o.out, dataKinds); err != nil {
			return err
		}
	}
	photos, err := expand(args)
	if err != nil {
		return err
	}
	sights, err := seeAll(ctx, t, photos.photos)
	if err != nil {
		return err
	}
	learned, err := lens.Learn(sights)
	if err != nil {
		return cannotLearn(err)
	}
	path, picture, err := writeProfile(o.out, learned)
	if err != nil {
		return err
	}
	if err := tellLearned(t, o, learned, path, picture); err != nil {
		return err
	}
	t.hint(outOfSight(path))
	if len(learned.Profile.Warnings) > 0 {
		return errNeedsPerson
	}
	return nil
}

// outOfSight is what to know about a profile that --camera auto does not find
// by itself, "" for one that it does.
func outOfSight(path string) string {
	switch {
	case !strings.HasSuffix(path, lens.Ext):
		return "--camera auto looks for *" + lens.Ext + " only; name this one: --camera " + path
	case !lookedIn(filepath.Dir(path)):
		return "--camera auto does not look into this folder unless the photos lie there; name it: --camera " + path
	}
	return ""
}

// seeAll looks for the card in each photo in turn: one decoded picture at a time.
func seeAll(ctx context.Context, t *terminal, photos []photoFile) ([]lens.Sight, error) {
	sights := make([]lens.Sight, 0, len(photos))
	bar := newProgress(t, len(photos))
	defer bar.end()
	for _, p := range photos {
		if ctx.Err() != nil {
			return nil, errStopped
		}
		s := lens.Sight{Name: p.name}
		if data, err := readFile(p.path); err != nil {
			s.Why = err.Error()
		} else {
			s = lens.See(p.name, data)
		}
		said := plural(len(s.View.Points), "corner", "corners")
		if s.Why != "" {
			said = "not used, " + s.Why
		}
		bar.photo(p.shown(), said)
		sights = append(sights, s)
	}
	return sights, nil
}

func cannotLearn(err error) error {
	var mixed *lens.Mixed
	var few *lens.TooFew
	switch {
	case errors.As(err, &mixed):
		return usageError{mixed.Error(), ""}
	case errors.As(err, &few):
		hint := "take photos of the card from different sides; --help says how"
		if len(few.Dropped) > 0 {
			d := few.Dropped[0]
			hint = fmt.Sprintf("not used were %s, for example %s: %s", plural(len(few.Dropped), "photo", "photos"), d.Name, d.Why)
		}
		return usageError{few.Error(), hint}
	}
	return failure{oneLine(err.Error()), ""}
}

// isFolder is whether a path names a folder, one that is there or one to be made.
func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir() || strings.HasSuffix(path, string(filepath.Separator))
}

// writeProfile writes the profile and the picture of its coverage.
func writeProfile(out string, l *lens.Learned) (path, picture string, err error) {
	path = out
	if isFolder(out) {
		path = filepath.Join(out, l.Profile.FileName())
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", "", failure{fmt.Sprintf("--out: cannot make the folder %s: %v", filepath.Dir(path), cause(err)), writeHint(nearestFolder(filepath.Dir(path)), err)}
	}
	data, err := l.Profile.Encode()
	if err != nil {
		return "", "", failure{oneLine(err.Error()), "these photos do not give a lens that can be; take others, as --help says"}
	}
	picture = strings.TrimSuffix(strings.TrimSuffix(path, ".json"), ".camera") + ".svg"
	if err := writeWhole(picture, l.CoverageSVG()); err != nil {
		return "", "", err
	}
	return path, picture, writeWhole(path, data)
}

// learnedJSON is the answer to a script.
type learnedJSON struct {
	Format   string            `json:"format"`
	Profile  string            `json:"profile"`
	Coverage string            `json:"coverage"`
	Learned  lens.Profile      `json:"learned"`
	Covered  float64           `json:"covered"` // share of the frame
	Reach    float64           `json:"reach"`   // half diagonals
	CurveU   float64           `json:"distortion_u_px"`
	Used     []usedView        `json:"used"`
	Dropped  map[string]string `json:"dropped"` // file to reason
}

type usedView struct {
	File    string  `json:"file"`
	Corners int     `json:"corners"`
	RMS     float64 `json:"rms_px"`
	TiltDeg float64 `json:"tilt_deg"`
	BendMM  float64 `json:"bend_mm"`
}

func tellLearned(t *terminal, o learnOptions, l *lens.Learned, path, picture string) error {
	if o.json {
		a := learnedJSON{Format: "coursegauge-learned/1", Profile: path, Coverage: picture, Learned: l.Profile, Covered: l.Covered(), Reach: l.Reach, CurveU: l.CurveU, Dropped: map[string]string{}}
		for i, s := range l.Used {
			a.Used = append(a.Used, usedView{s.Name, len(s.View.Points), l.Fit.Views[i], l.Tilts[i], l.Fit.Poses[i].Bend[0]})
		}
		for _, s := range l.Dropped {
			a.Dropped[s.Name] = s.Why
		}
		return t.json(a)
	}
	p := l.Profile
	fu, cu, k1u, k2u, p1u, p2u := p.U()
	t.say("%s, %d x %d px: %s used, %d not", p.Device, p.Width, p.Height, plural(len(l.Used), "view", "views"), len(l.Dropped))
	for i, s := range l.Used {
		t.say("  used %s: %s, RMS %.2f px, tilt %.0f degrees, card bent by %.1f mm", s.Name, plural(len(s.View.Points), "corner", "corners"), l.Fit.Views[i], l.Tilts[i], math.Abs(l.Fit.Poses[i].Bend[0]))
	}
	for _, s := range l.Dropped {
		t.say("  not used %s: %s", s.Name, oneLine(s.Why))
	}
	t.say("RMS %.3f px; the card was seen in %.0f %% of the frame, up to %.0f %% of the way to its corners", p.RMS, 100*l.Covered(), 100*l.Reach)
	t.say("with standard uncertainties:")
	t.say("  focal length %.1f ± %.1f px (%.2f %%)", p.F, fu*p.F, 100*fu)
	t.say("  principal point %.1f, %.1f ± %.1f px", p.Cx, p.Cy, cu)
	t.say("  k1 %.4f ± %.4f, k2 %.4f ± %.4f, p1 %.5f ± %.5f, p2 %.5f ± %.5f", p.K1, k1u, p.K2, k2u, p.P1, p1u, p.P2, p2u)
	t.say("  distortion at the corner of the frame ± %.2f px", l.CurveU)
	for _, w := range p.Warnings {
		t.warn("%s", w)
	}
	t.say("profile: %s", path)
	t.say("coverage: %s", picture)
	return nil
}
