package main

import (
	"context"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"syscall"
	"time"

	"coursegauge/calibrate/lens"
	"coursegauge/report/page"
	"coursegauge/vision"
	"coursegauge/vision/card"
	"coursegauge/vision/photo"
)

// A worker is this program in another process: it alone touches pixels. Native
// decoders crash on hostile files, and no recover catches that; so a photo that
// takes its worker with it costs that photo and nothing else.
//
// The worker reads orders from descriptor 3 and writes answers to descriptor 4
// (gob). It ends when the orders do, so it never outlives its batch.

// workerArgument is the word that makes this program a worker.
const workerArgument = "measure-for-a-batch"

// isWorker tells whether this process was started as a worker.
func isWorker() bool { return len(os.Args) == 2 && os.Args[1] == workerArgument }

// What one photo may take of its worker.
const (
	memoryLimit = 4 << 30          // address space, of which the libraries take 1.6 GB before any work
	timeLimit   = 60 * time.Second // on a core of its own
)

// settings are what the measuring of every photo depends on beside its bytes:
// of the schedule the product alone, none of the limits. They belong to the key
// under which a result is kept.
type settings struct {
	Product  vision.Product
	Cards    map[int]vision.Print
	Profiles []lens.Profile
	Names    []string // of the profiles' files, which the checks tell
	Auto     bool     // any profile that fits counts
}

func settingsOf(product vision.Product, k *known) settings {
	s := settings{Product: product, Cards: k.cards, Auto: k.auto}
	for _, p := range k.profiles {
		s.Profiles, s.Names = append(s.Profiles, p.Profile), append(s.Names, filepath.Base(p.path))
	}
	return s
}

func (s settings) known() *known {
	k := &known{cards: s.Cards, auto: s.Auto}
	for i, p := range s.Profiles {
		k.profiles = append(k.profiles, namedProfile{p, s.Names[i]})
	}
	return k
}

// order asks a worker for something: the first one gives it the settings, each
// other is a picture to make or a photo to measure.
type order struct {
	Settings   *settings
	Stages     string // with Settings: the folder for the pictures of the stages, or ""
	View       *page.View
	Path, Name string // of a photo
}

// answer is what came of an order.
type answer struct {
	Seen    *seen
	Picture []byte
	Fault   string // of ours, "" when all went well
}

// seen is all that one photo told, before any judgement. It can be kept.
type seen struct {
	SHA256        string
	Width, Height int // of the upright picture, 0 when there is none
	Facts         photo.Facts
	Result        *vision.Result
	Cuttings      *page.Cuttings // nil when there is no picture
	Times         []stageTime    // reading, decoding and cutting; the stages between are in Result
}

// stageTime is how long one step took.
type stageTime struct {
	Name string
	MS   float64
}

// inspectPicture measures a picture: vision.Inspect, or what a test puts in its place.
type inspectPicture func(context.Context, *photo.Picture, vision.Options) (*vision.Result, error)

// work is the life of a worker; it gives its exit status.
func work(look inspectPicture) int {
	// Ctrl-C reaches the whole group: the batch decides what is still finished.
	signal.Ignore(os.Interrupt)
	runtime.GOMAXPROCS(1)
	card.Threads(1)        // the photos are what runs side by side
	debug.SetGCPercent(25) // what a photo leaves is large, and the next one comes at once
	limitMemory()
	in, out := os.NewFile(3, "orders"), os.NewFile(4, "answers")
	if in == nil || out == nil {
		fmt.Fprintln(os.Stderr, "this word is for coursegauge itself: it starts workers with it")
		return exitUsage
	}
	orders := make(chan order)
	go func() {
		from := gob.NewDecoder(in)
		for {
			var o order
			if err := from.Decode(&o); err != nil {
				os.Exit(exitDone) // the batch has ended, or was killed: nobody waits for an answer
			}
			orders <- o
		}
	}()
	answers := gob.NewEncoder(out)
	m := measurer{look: look}
	for o := range orders {
		if o.Settings != nil {
			m.settings, m.stages = *o.Settings, o.Stages
			continue
		}
		if err := answers.Encode(m.answer(o)); err != nil {
			return exitFailed
		}
	}
	return exitDone
}

// limitMemory bounds what a photo can ask for. A limit that cannot be set is
// no reason to refuse work: the batch's own checks of size stand before it.
func limitMemory() {
	limit := func(what int, most uint64) {
		_ = syscall.Setrlimit(what, &syscall.Rlimit{Cur: most, Max: most})
	}
	limit(syscall.RLIMIT_AS, memoryLimit)
	limit(syscall.RLIMIT_CORE, 0)
}

// measurer takes photos from their file to what is seen in them.
type measurer struct {
	settings settings
	stages   string
	look     inspectPicture
}

func (m *measurer) answer(o order) (a answer) {
	if o.View != nil {
		picture, err := o.View.Shrink()
		if err != nil {
			a.Fault = err.Error()
		}
		a.Picture = picture
		return a
	}
	p := photoFile{path: o.Path, name: o.Name}
	folder, err := newStageFolder(m.stages, p)
	a.Seen = new(seen)
	if e := m.guarded(p, folder, a.Seen); e != nil {
		err = e
	} else if err == nil {
		err = folder.failed()
	}
	if err != nil {
		a.Fault = err.Error()
	}
	return a
}

// internalFault is a fault of ours that a photo met.
type internalFault struct{ error }

// guarded contains a panic in the photo that met it.
func (m *measurer) guarded(p photoFile, folder *stageFolder, s *seen) (err error) {
	defer func() {
		what := recover()
		if what != nil {
			folder.fault(what, debug.Stack())
			err = internalFault{fmt.Errorf("%v", what)}
		}
		var internal internalFault
		if errors.As(err, &internal) {
			s.Result, s.Cuttings = faulty(internal), nil
		}
	}()
	picture, refusal := s.open(p)
	if refusal != nil {
		s.Result = &vision.Result{Refusal: refusal}
		return nil
	}
	defer picture.Close()
	s.Result, err = m.look(context.Background(), picture, vision.Options{
		Product: m.settings.Product, Known: m.settings.known().of(picture), Stages: folder.hook(),
	})
	if err != nil {
		return internalFault{err}
	}
	defer s.timed("cut")()
	if s.Cuttings, err = page.Cut(s.Result, picture); err != nil {
		return internalFault{err}
	}
	return nil
}

// faulty refuses a photo that met a fault of ours: nothing that was measured
// so far can be trusted.
func faulty(fault error) *vision.Result {
	return &vision.Result{Refusal: &vision.Refusal{
		Reason: vision.Unreadable,
		Detail: "internal fault while measuring: " + oneLine(fault.Error()),
		Advice: "measure this course by hand; report the fault together with the photo",
	}}
}

// longestSide is the longest that OpenCV can resample (its remap holds places in
// 16 bits), px.
const longestSide = 32_766

// open reads and decodes a photo and fills in where it came from.
func (s *seen) open(p photoFile) (*photo.Picture, *vision.Refusal) {
	done := s.timed("read")
	data, err := readFile(p.path)
	if err != nil {
		return nil, unreadable(err)
	}
	sum := sha256.Sum256(data)
	s.SHA256 = hex.EncodeToString(sum[:])
	s.Facts = photo.ReadFacts(data)
	done()
	defer s.timed("decode")()
	if h, err := photo.ReadHeader(data); err == nil && max(h.Width, h.Height) > longestSide {
		return nil, unreadable(&photo.Unreadable{
			Detail: fmt.Sprintf("the picture has %d x %d pixels; a side has at most %d", h.Width, h.Height, longestSide),
			Advice: "use the photo as the phone saved it, not a panorama or an export from another program",
		})
	}
	picture, err := photo.Decode(data, photo.Options{})
	if err != nil {
		return nil, unreadable(err)
	}
	s.Facts, s.Width, s.Height = picture.Facts, picture.Width(), picture.Height()
	return picture, nil
}

// timed starts a step; what it gives ends it.
func (s *seen) timed(name string) func() {
	start := time.Now()
	return func() {
		s.Times = append(s.Times, stageTime{name, float64(time.Since(start).Microseconds()) / 1000})
	}
}

func unreadable(err error) *vision.Refusal {
	r := &vision.Refusal{Reason: vision.Unreadable, Detail: err.Error(), Advice: "copy the photo from the phone again"}
	var u *photo.Unreadable
	if errors.As(err, &u) {
		r.Detail, r.Advice = u.Detail, u.Advice
	}
	return r
}
