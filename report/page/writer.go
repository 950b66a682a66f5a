// Package page writes the report that people read: one HTML file that needs no
// network, no server and, for reading, no script. Its script keeps decisions:
// in the page and for download, or, when review serves the page, in the log.
//
// Sections and entries are written to a folder of their own while the photos
// come in, so that memory stays flat in their number; Finish strings them
// together. The page carries a content security policy that allows nothing but
// its own style, its own script, the pictures inside it, and talk with whoever
// served it.
//
// Frames. Overlays are drawn in pixels of the upright photo, half a pixel
// added, since SVG counts from the corner of the first pixel and the
// measurement from its centre. Close-ups are drawn in millimetres on the roof,
// from the head's centre, up the slope upwards.
package page

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/google/renameio/v2"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
)

// Options are what a report says beyond what was measured.
type Options struct {
	Squares    float64 // size of the roof in squares of 100 sq ft, 0 when nobody told
	PhotosAt   string  // where the photos lie, as a link from the report; "" when nobody told
	NoLocation bool    // places and devices were left out on purpose
}

// Writer gathers the parts of one report. Make and Put may be called by several
// goroutines at once.
type Writer struct {
	aside    *aside
	schedule schedule.Schedule
	options  Options

	mu      sync.Mutex
	entries []listed
}

// listed is an entry whose HTML lies in the writer's folder.
type listed struct {
	order entryOrder
	id    string
}

// NewWriter starts a report judged by s. It makes a hidden folder in dir for
// the sections, which Close removes; one that a killed process left there is
// removed too.
func NewWriter(dir string, s schedule.Schedule, o Options) (*Writer, error) {
	a, err := newAside(dir)
	if err != nil {
		return nil, err
	}
	if o.PhotosAt != "" && !strings.HasSuffix(o.PhotosAt, "/") {
		o.PhotosAt += "/"
	}
	return &Writer{aside: a, schedule: s, options: o}, nil
}

// Close removes the sections. A report that was finished stays.
func (w *Writer) Close() error { return w.aside.remove() }

// Aside is the hidden folder of the report, for other files that are made for
// the same place and not finished yet. Close removes it.
func (w *Writer) Aside() string { return w.aside.dir }

// Parts are what a report says of one photo, ready for the page: its section
// first, then its entries. They can be kept (gob) and put into another report of
// the same schedule and options.
type Parts []Part

// Part is a piece of the page with what the work list is ordered by.
type Part struct {
	ID, File              string
	HTML                  []byte
	Entry                 bool // else the section of the photo
	Verdict, Chance, Rank int
	Beyond                float64
	N                     int
}

// Make writes down one photo: p is its written form, r what was measured, j
// what was judged, cut its pictures; cut is nil when the file could not be read.
// shrink makes the pictures that are shown, as View.Shrink does.
func (w *Writer) Make(p inspection.Photo, r *vision.Result, j judge.Photo, cut *Cuttings, shrink func(View) ([]byte, error)) (Parts, error) {
	parts, err := w.parts(subject{p, r, cut, shrink, w.schedule}, j)
	if err != nil {
		return nil, fmt.Errorf("report: %s: %w", p.File, err)
	}
	return parts, nil
}

func (w *Writer) parts(in subject, j judge.Photo) (Parts, error) {
	entries, err := newEntries(in, j)
	if err != nil {
		return nil, err
	}
	s := newSection(in, entries, w.full(in.p))
	html, err := filled("photo.html.tmpl", s)
	parts := Parts{{ID: s.ID, File: in.p.File, HTML: html}}
	for _, e := range entries {
		if err != nil {
			break
		}
		html, err = filled("entry.html.tmpl", e)
		o := e.order
		parts = append(parts, Part{e.ID, in.p.File, html, true, o.verdict, o.chance, o.rules, o.beyond, o.n})
	}
	return parts, err
}

func filled(template string, of any) ([]byte, error) {
	var b bytes.Buffer
	err := escape.Execute(&b, templates, template, of)
	return b.Bytes(), err
}

// Put takes the parts of a photo into the report. Nothing of them is kept in memory.
func (w *Writer) Put(parts Parts) error {
	for _, p := range parts {
		if err := os.WriteFile(w.partPath(p.ID), p.HTML, 0o600); err != nil {
			return fmt.Errorf("report: %s: %w", p.File, err)
		}
		if p.Entry {
			w.mu.Lock()
			w.entries = append(w.entries, listed{entryOrder{p.Verdict, p.Chance, p.Rank, p.Beyond, p.File, p.N}, p.ID})
			w.mu.Unlock()
		}
	}
	return nil
}

// full is the link to the full-size photo, "" when it is not known where that lies.
func (w *Writer) full(p inspection.Photo) string {
	if w.options.PhotosAt == "" {
		return ""
	}
	return w.options.PhotosAt + escapedPath(p.Path())
}

// escapedPath makes a link of a name with slashes.
func escapedPath(name string) string {
	parts := strings.Split(name, "/")
	for i, s := range parts {
		parts[i] = url.PathEscape(s)
	}
	return strings.Join(parts, "/")
}

// Finish writes the report of doc to the file out, whole or not at all. Every
// photo of doc must have been put; parts of others are left out.
func (w *Writer) Finish(out string, doc inspection.Document) error {
	f, err := w.Pending(out, doc)
	if err != nil {
		return err
	}
	defer f.Cleanup()
	return f.CloseAtomicallyReplace()
}

// Pending writes the report beside out and leaves it to the caller to put it
// into place, or to clean it up.
func (w *Writer) Pending(out string, doc inspection.Document) (*renameio.PendingFile, error) {
	f, err := renameio.NewPendingFile(out, renameio.WithPermissions(0o644), renameio.WithTempDir(w.aside.dir))
	if err != nil {
		return nil, err
	}
	if err := w.assemble(f, doc); err != nil {
		return nil, errors.Join(err, f.Cleanup())
	}
	return f, nil
}

func (w *Writer) assemble(out io.Writer, doc inspection.Document) error {
	entries := w.listedOf(doc)
	top := newSummary(doc, w.schedule, w.options, len(entries))
	if err := escape.Execute(out, templates, "top.html.tmpl", top); err != nil {
		return err
	}
	for _, e := range entries {
		if err := w.copyPart(out, e.id, e.order.file); err != nil {
			return err
		}
	}
	if err := escape.Execute(out, templates, "middle.html.tmpl", top); err != nil {
		return err
	}
	photos := slices.Clone(doc.Photos)
	slices.SortStableFunc(photos, func(a, b inspection.Photo) int { return cmp.Compare(a.File, b.File) })
	for _, p := range photos {
		if err := w.copyPart(out, sectionID(p.File), p.File); err != nil {
			return err
		}
	}
	return escape.Execute(out, templates, "bottom.html.tmpl", top)
}

// listedOf is the work list of a document, worst first.
func (w *Writer) listedOf(doc inspection.Document) (out []listed) {
	inside := map[string]bool{}
	for _, p := range doc.Photos {
		inside[p.File] = true
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range w.entries {
		if inside[e.order.file] {
			out = append(out, e)
		}
	}
	slices.SortFunc(out, func(a, b listed) int { return a.order.compare(b.order) })
	return out
}

func (w *Writer) copyPart(out io.Writer, id, file string) error {
	f, err := os.Open(w.partPath(id))
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("report: photo %q was never added", file)
	}
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(out, f)
	return err
}

func (w *Writer) partPath(id string) string { return filepath.Join(w.aside.dir, id+".html") }

// sectionID names the section of a file in links and on disk. It is taken from
// the name alone, so that it does not change when photos come or go.
func sectionID(file string) string {
	sum := sha256.Sum256([]byte(file))
	return "p" + hex.EncodeToString(sum[:8])
}

func headID(file string, id int) string { return fmt.Sprintf("%s-h%d", sectionID(file), id) }
