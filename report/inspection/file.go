package inspection

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"coursegauge/report/commit"
	"coursegauge/report/regular"

	"github.com/google/renameio/v2"
)

// Read takes a document in and refuses one that is not of this form: an
// unknown key, a status that does not fit, a photo listed twice. The error is
// one line with the place.
func Read(r io.Reader) (Document, error) {
	var d Document
	dec := json.NewDecoder(r)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		return Document{}, fmt.Errorf("inspection: byte %d: %w", dec.InputOffset(), err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Document{}, fmt.Errorf("inspection: byte %d: more text after the document", dec.InputOffset())
	}
	if err := d.check(); err != nil {
		return Document{}, err
	}
	return d, nil
}

// ReadFile reads the document at path. A run that was cut short while it put its
// files there is finished first.
func ReadFile(path string) (Document, error) {
	if err := commit.Recover(filepath.Dir(path)); err != nil {
		return Document{}, fmt.Errorf("%s: a run that wrote there was cut short and cannot be finished: %w", filepath.Dir(path), err)
	}
	f, err := regular.Open(path)
	if err != nil {
		return Document{}, err
	}
	defer f.Close()
	d, err := Read(f)
	if err != nil {
		return Document{}, fmt.Errorf("%s: %w", path, err)
	}
	return d, nil
}

// Encode writes the document as UTF-8 with a newline at its end.
func Encode(w io.Writer, d Document) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	return enc.Encode(d)
}

// WriteFile puts the document at path, whole or not at all.
func WriteFile(path string, d Document) error {
	return writeFile(path, func(w io.Writer) error { return Encode(w, d) })
}

func writeFile(path string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return renameio.WriteFile(path, b.Bytes(), 0o644)
}

func (d Document) check() error {
	if d.Format != Format {
		return fmt.Errorf("inspection: format is %.40q; this version reads %q", d.Format, Format)
	}
	seen := map[string]bool{}
	for _, p := range d.Photos {
		if p.File == "" {
			return errors.New("inspection: a photo has no file name")
		}
		if seen[p.File] {
			return fmt.Errorf("inspection: photo %q is listed twice", p.File)
		}
		seen[p.File] = true
		if err := p.check(); err != nil {
			return fmt.Errorf("inspection: photo %q: %w", p.File, err)
		}
	}
	return nil
}

func (p Photo) check() error {
	if err := p.checkName(); err != nil {
		return err
	}
	switch {
	case p.Status != Measured && p.Status != Refused:
		return fmt.Errorf("status is %.40q; it is %q or %q", p.Status, Measured, Refused)
	case p.Status == Refused && p.Refusal == nil:
		return errors.New("refused without a refusal")
	case p.Status == Measured && p.Refusal != nil:
		return errors.New("measured, and yet with a refusal")
	case p.Status == Refused && len(p.Heads) > 0:
		return errors.New("refused, and yet with fasteners")
	}
	return nil
}

// byFile orders photos as every document does.
func byFile(photos []Photo) {
	slices.SortStableFunc(photos, func(a, b Photo) int { return cmp.Compare(a.File, b.File) })
}

// Timeless is a copy without what differs from run to run on the same photos:
// when the document was made and how long the stages took.
func Timeless(d Document) Document {
	d.Made = ""
	d.Photos = slices.Clone(d.Photos)
	for i := range d.Photos {
		d.Photos[i].Stages = slices.Clone(d.Photos[i].Stages)
		for k := range d.Photos[i].Stages {
			d.Photos[i].Stages[k].Milliseconds = 0
		}
	}
	return d
}
