package main

import (
	"context"
	"fmt"
	"net/url"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"coursegauge/calibrate/lens"
	"coursegauge/report/cache"
	"coursegauge/report/crew"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/schedule"

	"github.com/spf13/cobra"
)

// inspectOptions are the flags of inspect.
type inspectOptions struct {
	schedule, out, stages string
	card, camera          string
	crews                 string
	shard                 shard
	cache                 string
	noCache               bool
	logFormat             string
	jobs                  int
	squares               float64
	noLocation, replace   bool
	json                  bool
}

func newInspect(t *terminal) *cobra.Command {
	o := inspectOptions{}
	c := &cobra.Command{
		Use:   "inspect PHOTOS... --schedule FILE --out DIR",
		Short: "measure photos and write the report of what a person must look at",
		Long: `inspect measures every fastener head of the open course on each photo, judges it
by the schedule of the job, and writes inspection.json, fasteners.csv and
report.html into the folder of --out.

--card names the file of proved cards that card prove wrote; without it the
card counts as printed at its nominal size. --camera names a profile that camera
learn wrote, or is auto: then the first profile (*` + lens.Ext + `) that fits
the EXIF of a photo is used, looked for beside the photos, in the working folder
and in the user's settings (` + settingsText + `). A profile of another device,
lens or picture size is never used, nor on a zoomed, cropped or re-saved photo.

PHOTOS are files, folders (the photos directly in them: ` + photoKindsText + `;
folders with photos within them are named and not looked into) or patterns in
quotes. A photo that is there twice is counted once. A photo that cannot be measured is refused with the
reason; the others go on.

What was measured is kept for later runs in the folder of --cache (usually
coursegauge in ~/.cache), by the content of each photo and by what its
measuring depends on: a batch that was stopped goes on where it was, and a
changed limit is judged anew without touching the photos. The folder is bounded
in size and may be removed at any time. A folder that holds other files is not
used; nothing but results is ever removed from it.

Each photo is measured in a process of its own with 4 GB of memory and 60 s; a
file that makes it crash is refused as unreadable, and the others go on.

A list of crews fills in whose photo it is, by the number of the printed card,
else by a folder that the photo lies in, else by the phone:

  cards:   {3: first crew, 4: second crew}
  folders: {north: first crew}
  devices: {example phone 12: second crew}

Exit status: 0 done; 1 done, and a photo was refused, a folder of photos was not
looked into or the photos look like another product than the schedule's; 2 wrong
use; 3 could not do it; 130 stopped: what was done by then is written.`,
		Example: `  coursegauge inspect lot-7/ --schedule lot-7.yaml --out lot-7-report
  coursegauge inspect 'lot-7/IMG_*.jpg' more/ --schedule lot-7.yaml --out report --jobs 2
  coursegauge inspect lot-7/IMG_31.jpg --schedule lot-7.yaml --out one --stages one/stages`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{"no photos given", "coursegauge inspect PHOTOS... --schedule FILE --out DIR; --help shows examples"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return runInspect(c.Context(), t, o, args) },
	}
	f := c.Flags()
	f.StringVar(&o.schedule, "schedule", "", "the `FILE` that says what was installed and what counts")
	f.StringVar(&o.out, "out", "", "the folder `DIR` to write to; made when it is not there")
	f.IntVar(&o.jobs, "jobs", runtime.NumCPU(), "how many photos are at work at a time, `N` from 1 to 256")
	f.StringVar(&o.card, "card", "", "the `FILE` of proved cards")
	f.StringVar(&o.camera, "camera", "", "a camera profile `FILE`, or auto")
	f.StringVar(&o.stages, "stages", "", "write the picture after each stage of each photo below `DIR`")
	f.StringVar(&o.crews, "crews", "", "the `FILE` that tells crews by card, folder or phone; "+crewsFile+" beside the schedule is found by itself")
	f.Float64Var(&o.squares, "squares", 0, "the size of the roof in squares of 100 sq ft, `N`: the report then tells which share of its fasteners was seen")
	f.BoolVar(&o.noLocation, "no-location", false, "leave out where and with which device the photos were taken")
	f.Var(&o.shard, "shard", "measure only part `I/N` of the photos, for N machines; env/N takes I from JOB_COMPLETION_INDEX or SLURM_ARRAY_TASK_ID; merge puts the parts together")
	f.StringVar(&o.cache, "cache", "", "keep results for later runs in the folder `DIR`")
	f.BoolVar(&o.noCache, "no-cache", false, "neither use nor keep results of other runs")
	f.StringVar(&o.logFormat, "log-format", logText, "how to tell of the work on standard error: `text`, or json for one JSON object a line with the time of each step")
	f.BoolVar(&o.replace, "replace", false, "write over an inspection of other photos, though people decided about those; the decisions stay in the file and are not shown")
	f.BoolVar(&o.json, "json", false, "print the summary as one JSON object")
	return c
}

// runInspect checks everything that can be checked before the first photo is
// opened, measures, writes, and tells.
func runInspect(ctx context.Context, t *terminal, o inspectOptions, args []string) error {
	if o.jobs < 1 || o.jobs > 256 {
		return usageError{fmt.Sprintf("--jobs %d: a number from 1 to 256 is needed", o.jobs), ""}
	}
	if !(o.squares >= 0 && o.squares <= 100_000) {
		return usageError{fmt.Sprintf("--squares %v: a number from 0 to 100000 is needed, squares of 100 sq ft", o.squares), ""}
	}
	if err := t.logAs(o.logFormat); err != nil {
		return err
	}
	s, err := readSchedule(o.schedule)
	if err != nil {
		return err
	}
	crews, said, err := readCrews(o.crews, o.schedule)
	if err != nil {
		return err
	}
	photos, err := inTime(ctx, readLimit, "looking for the photos", func(context.Context) (batch, error) { return expand(args) })
	if ctx.Err() != nil {
		return errStopped
	}
	if err != nil {
		return err
	}
	k, err := newKnown(t, o.card, o.camera, photos.photos)
	if err != nil {
		return err
	}
	if err := openFolder("--out", o.out, photos.photos); err != nil {
		return err
	}
	if o.stages != "" {
		if err := openFolder("--stages", o.stages, photos.photos); err != nil {
			return err
		}
	}
	skipped := photos.skippedFolders(o.out, o.stages)
	for _, folder := range skipped {
		t.warn("not looked into: %s, a folder with photos; name it, too, to have them measured", folder)
	}
	mine := o.shard.of(ctx, photos.photos)
	if ctx.Err() != nil {
		t.tell("stopped before a photo was done; nothing written")
		return errStopped
	}
	if err := o.keepsDecisions(ctx, mine); err != nil {
		return err
	}
	at := photosFrom(o.out, photos.photos)
	if at == "" && len(photos.photos) > 0 {
		t.tell("the photos do not lie beside %s: the report has no links to them, and review and record make need --photos", o.out)
	}
	store, err := openCache(t, o.cache, o.noCache)
	if err != nil {
		return err
	}
	defer trim(ctx, store)
	t.tell("%s, %d at a time", plural(len(photos.photos), "photo", "photos"), o.jobs)
	if photos.skipped > 0 {
		t.tell("skipped %s; photos are named %s", photos.others, photoKindsText)
	}
	if said != "" {
		t.tell("%s", said)
	}
	warnUnusedFolders(t, crews, photos.photos)
	if o.shard.count > 0 {
		t.tell("part %d of %d: %s", o.shard.index, o.shard.count, plural(len(mine), "photo", "photos"))
	}
	return runBatch(ctx, t, o, batchOf{s, crews, settingsOf(s.Product(), k), store, mine, at, skipped})
}

// batchOf is what a batch works on.
type batchOf struct {
	schedule schedule.Schedule
	crews    crew.List
	settings settings
	store    *cache.Store
	photos   []photoFile
	at       string   // of the photos, as a link from the report
	skipped  []string // folders with photos that nobody asked for
}

// runBatch measures the photos, writes what was done, and tells.
func runBatch(ctx context.Context, t *terminal, o inspectOptions, b batchOf) error {
	options := page.Options{Squares: o.squares, PhotosAt: b.at, NoLocation: o.noLocation}
	report, err := page.NewWriter(o.out, b.schedule, options)
	if err != nil {
		return failure{fmt.Sprintf("cannot begin the report in %s: %v", o.out, cause(err)), ""}
	}
	defer report.Close()
	kept, err := newKeeper(b.store, b.settings, b.schedule, options, o.stages != "", warnOnce(t))
	if err != nil {
		return failure{fmt.Sprintf("cannot keep results: %v", err), "--no-cache does without"}
	}
	in := &inspector{
		schedule: b.schedule, page: report, crews: b.crews, noLocation: o.noLocation,
		workers: newWorkers(b.settings, o.stages, o.jobs), kept: kept, reading: readLimit,
	}
	defer in.workers.close()
	done, faults, err := in.measureAll(ctx, t, b.photos, o.jobs)
	if err != nil {
		return err
	}
	in.workers.close() // what is left to do takes memory instead
	if len(done) == 0 && ctx.Err() != nil {
		t.tell("stopped before a photo was done; nothing written")
		return errStopped
	}
	d, files := document(b.schedule, done, b.photos), outputsIn(o.out)
	if err := in.write(d, files); err != nil {
		return err
	}
	code, err := status(d, faults, b.skipped)
	sum := summarize(d, len(b.photos), faults, files, code)
	sum.SkippedFolders = append(sum.SkippedFolders, b.skipped...)
	if o.json {
		if err := t.json(sum); err != nil {
			return failure{fmt.Sprintf("cannot print: %v", err), ""}
		}
		return err
	}
	sum.print(t)
	return err
}

// warnOnce tells of the first result that could not be kept.
func warnOnce(t *terminal) func(error) {
	var once sync.Once
	return func(err error) {
		once.Do(func() { t.warn("results are not kept for later runs: %v", err) })
	}
}

// photosFrom is the way from the folder of the report to the folder that the
// names of the photos count from, as a link. It is "" when the photos do not lie
// in the folder of the report or beside it: the report is for others, too, and
// the names of folders elsewhere are none of their business.
func photosFrom(out string, photos []photoFile) string {
	if len(photos) == 0 {
		return ""
	}
	path, err := filepath.Abs(photos[0].path)
	from, errOut := filepath.Abs(out)
	if err != nil || errOut != nil {
		return ""
	}
	root := strings.TrimSuffix(filepath.ToSlash(path), inspection.Photo{File: photos[0].name, FileBytes: photos[0].bytes}.Path())
	rel, err := filepath.Rel(from, filepath.FromSlash(root))
	if err != nil || rel != ".." && !filepath.IsLocal(strings.TrimPrefix(rel, "../")) {
		return ""
	}
	return (&url.URL{Path: filepath.ToSlash(rel) + "/"}).EscapedPath()
}

// measureAll gives the photos that were done, in the order of the batch
// whichever worker was first, and the faults that were not theirs. The error is
// an internal fault.
func (in *inspector) measureAll(ctx context.Context, t *terminal, photos []photoFile, jobs int) (done []inspection.Photo, faults []string, err error) {
	type ending struct {
		photo held
		outcome
		err error
	}
	endings := make([]*ending, len(photos))
	bar := newProgress(t, len(photos))
	eachInOrder(ctx, len(photos), jobs, func(i int) {
		o, err := in.inspect(ctx, photos[i])
		if err != nil {
			return // stopped in the middle of this photo
		}
		bar.measured(photos[i], o)
		e := &ending{outcome: o}
		e.photo, e.err = hold(o.photo)
		e.outcome.photo, e.times = inspection.Photo{}, nil
		endings[i] = e
	})
	bar.end()
	var doubts []string
	for _, e := range endings {
		if e == nil {
			continue
		}
		if e.err != nil {
			return nil, nil, e.err
		}
		p, err := e.photo.photo()
		if err != nil {
			return nil, nil, err
		}
		done = append(done, p)
		if e.doubt != "" {
			doubts = append(doubts, e.doubt)
		}
		if e.fault != nil {
			faults = append(faults, oneLine(e.fault.Error()))
		}
	}
	if len(doubts) > 0 {
		t.warn("whose photo it is was told twice in %s, for example %s", plural(len(doubts), "photo", "photos"), doubts[0])
	}
	return done, faults, nil
}

// text is the photo in a few words.
func (o outcome) text() string {
	if o.photo.Refusal != nil {
		return "refused, " + o.photo.Refusal.Reason
	}
	return fmt.Sprintf("%s, %d suspect", plural(len(o.photo.Heads), "fastener", "fasteners"), o.suspects())
}

func (o outcome) suspects() int {
	n := 0
	for _, h := range o.photo.Heads {
		if h.Verdict == "suspect" {
			n++
		}
	}
	return n
}

func readSchedule(path string) (schedule.Schedule, error) {
	if path == "" {
		return schedule.Schedule{}, usageError{"--schedule is missing", "name the file that says what was installed and what counts: --schedule FILE; the README shows one"}
	}
	data, err := readFile(path)
	if err != nil {
		return schedule.Schedule{}, usageError{fmt.Sprintf("--schedule %s: %v", path, err), nearPath(path, "")}
	}
	s, err := schedule.Read(path, data)
	if err != nil {
		return schedule.Schedule{}, usageError{err.Error(), ""}
	}
	return s, nil
}
