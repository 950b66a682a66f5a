// Package page writes the report that people read: one HTML file that needs no
// network, no server and no script.
//
// Sections are written to a folder of their own while the photos come in, so
// that memory stays flat in their number; Finish strings them together. The
// page carries a content security policy that allows nothing but its own style
// and the pictures inside it.
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
	"os"
	"path/filepath"
	"slices"

	"github.com/google/renameio/v2"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/photo"
)

// Writer gathers the sections of one report. Add may be called by several
// goroutines at once.
type Writer struct {
	dir      string
	schedule schedule.Schedule
}

// NewWriter starts a report judged by s. It makes a hidden folder in dir for
// the sections, which Close removes.
func NewWriter(dir string, s schedule.Schedule) (*Writer, error) {
	tmp, err := os.MkdirTemp(dir, ".report-")
	if err != nil {
		return nil, err
	}
	return &Writer{dir: tmp, schedule: s}, nil
}

// Close removes the sections. A report that was finished stays.
func (w *Writer) Close() error { return os.RemoveAll(w.dir) }

// Add writes the section of one photo: p is its written form, r what was
// measured, j what was judged. pic is nil when the file could not be read.
// Nothing of r, j or pic is kept.
func (w *Writer) Add(p inspection.Photo, r *vision.Result, j judge.Photo, pic *photo.Picture) error {
	s, err := newSection(p, r, j, pic, w.schedule)
	if err != nil {
		return fmt.Errorf("report: %s: %w", p.File, err)
	}
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, "photo.html.tmpl", s); err != nil {
		return fmt.Errorf("report: %s: %w", p.File, err)
	}
	return os.WriteFile(w.sectionPath(p.File), b.Bytes(), 0o600)
}

// Finish writes the report of doc to the file out, whole or not at all. Every
// photo of doc must have been added; sections of others are left out.
func (w *Writer) Finish(out string, doc inspection.Document) error {
	f, err := renameio.NewPendingFile(out, renameio.WithPermissions(0o644))
	if err != nil {
		return err
	}
	defer f.Cleanup()
	if err := w.assemble(f, doc); err != nil {
		return err
	}
	return f.CloseAtomicallyReplace()
}

func (w *Writer) assemble(out io.Writer, doc inspection.Document) error {
	top := newSummary(doc, w.schedule)
	if err := templates.ExecuteTemplate(out, "top.html.tmpl", top); err != nil {
		return err
	}
	photos := slices.Clone(doc.Photos)
	slices.SortStableFunc(photos, func(a, b inspection.Photo) int { return cmp.Compare(a.File, b.File) })
	for _, p := range photos {
		if err := w.copySection(out, p.File); err != nil {
			return err
		}
	}
	return templates.ExecuteTemplate(out, "bottom.html.tmpl", top)
}

func (w *Writer) copySection(out io.Writer, file string) error {
	f, err := os.Open(w.sectionPath(file))
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

func (w *Writer) sectionPath(file string) string {
	return filepath.Join(w.dir, sectionID(file)+".html")
}

// sectionID names the section of a file in links and on disk. It is taken from
// the name alone, so that it does not change when photos come or go.
func sectionID(file string) string {
	sum := sha256.Sum256([]byte(file))
	return "p" + hex.EncodeToString(sum[:8])
}

func headID(file string, id int) string { return fmt.Sprintf("%s-h%d", sectionID(file), id) }
