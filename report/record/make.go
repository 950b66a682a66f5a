package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal"
	"coursegauge/report/review"
)

// Input is what a record is made of: bytes that were read and checked, and the
// photos, which are read while it is made and held to their hashes.
type Input struct {
	Document   inspection.Document
	Inspection []byte // the file of Document
	Decisions  []review.Decision
	Report     []byte      // report.html, nil without
	Photos     string      // the folder that the photos' names count from
	Schedule   NamedFile   // with the hash that the document names
	Cards      *NamedFile  // or nil
	Profiles   []NamedFile // of cameras
	Crews      *NamedFile  // or nil
	CrewNames  []string    // that the list of crews knows
	NoLocation bool
	NoCrew     bool
	Follows    *Predecessor
	Version    string
	Made       time.Time
	Key        *seal.Key                                           // signs, nil: nobody does
	Stamp      func(ctx context.Context, m []byte) ([]byte, error) // asks an authority, nil: none
	Authority  []byte                                              // its certificate in PEM, nil without
	Progress   func(file string)                                   // after each photo
}

// Made is what came of it.
type Made struct {
	Digest    string
	Contents  Contents
	Octets    int64
	Rewritten int      // photos
	Doubts    []string // what a person should know before handing the record over
	NotDone   int      // photos before which the run was stopped
}

// WrongPhoto is a photo that is not the one that was inspected, or not there.
type WrongPhoto struct{ File, Why string }

func (e WrongPhoto) Error() string {
	return fmt.Sprintf("photo %s %s", escape.Text(e.File), escape.Text(e.Why))
}

// maker writes one record.
type maker struct {
	Input
	w        *bag.Writer
	contents Contents
	answers  review.Answers
	given    []inspection.Photo // before anything was left out
	doubts   []string
	octets   int64
	unread   int               // photos that inspect could not read
	sources  map[string]string // the names in their folder of the photos, by those in the record
	renamed  int               // photos
	crews    pseudonyms
}

// Make writes the record to target, a folder or a .zip, whole or not at all.
func Make(ctx context.Context, in Input, target string) (Made, error) {
	w, err := bag.Create(target)
	if err != nil {
		return Made{}, err
	}
	defer w.Abort()
	m := &maker{Input: in, w: w, given: in.Document.Photos}
	m.redact()
	here, elsewhere := m.splitDecisions()
	m.answers = review.Fold(here)
	m.contents = Contents{
		Format: format, Made: in.Made.UTC().Format(time.RFC3339), Version: in.Version, Title: m.Document.Schedule.Title,
		Follows: in.Follows, Stamped: in.Stamp != nil, Decisions: len(here), Elsewhere: len(elsewhere),
	}
	if in.Key != nil {
		m.contents.SignedBy = in.Key.Public().String()
	}
	for _, step := range []func() error{
		func() error { return m.addSettings(ctx) },
		func() error { return m.addPhotos(ctx) },
		func() error { return m.addInspection(ctx, here, elsewhere) },
		func() error { return m.addPages(ctx) },
	} {
		if err := step(); err != nil {
			return Made{}, err
		}
	}
	digest, err := w.Close(ctx, m.info(), m.tags(), func(message []byte) ([]bag.Seal, error) { return m.seals(ctx, message) })
	return Made{digest, m.contents, m.octets, m.contents.rewritten(), m.doubts, len(m.Document.NotDone)}, err
}

// splitDecisions keeps apart the decisions that speak of nothing in the
// document: those of an earlier inspection of the same folder.
func (m *maker) splitDecisions() (here, elsewhere []review.Decision) {
	known := review.NewKnown(m.Document)
	for _, d := range m.Decisions {
		if known.Check(d) == nil {
			here = append(here, d)
		} else {
			elsewhere = append(elsewhere, d)
		}
	}
	return here, elsewhere
}

func (m *maker) add(ctx context.Context, path string, data []byte) error {
	m.sweep(path, data)
	_, n, err := m.w.Add(ctx, path, bytes.NewReader(data))
	m.octets += n
	return err
}

func (m *maker) addSettings(ctx context.Context) error {
	if sha256Of(m.Schedule.Data) != m.Document.Schedule.SHA256 {
		return errors.New("the schedule is not the one that was judged by")
	}
	taken := names{}
	put := func(f *NamedFile, keep func(path string)) error {
		if f == nil {
			return nil
		}
		name := filepath.Base(f.Name)
		if m.NoCrew {
			name = m.crews.replace(name)
		}
		path := taken.name(settingsFolder + name)
		keep(path)
		return m.add(ctx, path, f.Data)
	}
	s := &m.contents.Settings
	if err := put(&m.Schedule, func(p string) { s.Schedule = p }); err != nil {
		return err
	}
	if err := put(m.Cards, func(p string) { s.Cards = p }); err != nil {
		return err
	}
	for i := range m.Profiles {
		if err := put(&m.Profiles[i], func(p string) { s.Profiles = append(s.Profiles, p) }); err != nil {
			return err
		}
	}
	if m.NoCrew {
		return nil
	}
	return put(m.Crews, func(p string) { s.Crews = p })
}

func (m *maker) addPhotos(ctx context.Context) error {
	root, err := openFolder(m.Photos)
	if err != nil {
		return err
	}
	defer root.Close()
	taken := names{}
	for _, p := range m.Document.Photos {
		switch {
		case !filepath.IsLocal(filepath.FromSlash(m.sources[p.File])):
			return WrongPhoto{p.File, "has a name that leads out of the folder of the photos"}
		case unread(p):
			m.unread++
			continue
		case !isHash(p.SHA256):
			return WrongPhoto{p.File, "is named without a hash in the inspection, so that nothing tells which file it was"}
		}
		at := Photo{File: p.File, Path: taken.name(photosFolder + p.File)}
		err := m.addPhoto(ctx, root, &at, p.SHA256)
		var plain notBare
		if errors.As(err, &plain) {
			m.contents.Omitted = append(m.contents.Omitted, Omitted{p.File, p.SHA256, plain.Error()})
			continue
		}
		if err != nil {
			return err
		}
		m.contents.Photos = append(m.contents.Photos, at)
		if m.Progress != nil {
			m.Progress(p.File)
		}
	}
	return nil
}

// openFolder opens the folder of the photos. A pipe under its name does not block.
func openFolder(dir string) (*os.Root, error) {
	if info, err := os.Stat(dir); err != nil {
		return nil, err
	} else if !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder", dir)
	}
	return os.OpenRoot(dir)
}

// unread is a photo that could not even be read when it was inspected. Nothing tells
// whether a file under its name is the one, so that a record never holds it.
func unread(p inspection.Photo) bool { return p.SHA256 == "" && p.Status == inspection.Refused }

// addPhoto puts one photo into the record: a regular file that lies in the folder and
// has the hash by which the inspection knows it.
func (m *maker) addPhoto(ctx context.Context, root *os.Root, at *Photo, inspected string) error {
	name := m.sources[at.File]
	f, err := bag.OpenRegular(root, name)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return WrongPhoto{name, "is not in " + m.Photos}
	case err != nil:
		return WrongPhoto{name, "cannot be read as a file of " + m.Photos + ": " + bag.Cause(err).Error()}
	}
	defer f.Close()
	another := WrongPhoto{name, "is not the one that was inspected: its bytes differ"}
	if !m.NoLocation && !m.NoCrew {
		var n int64
		at.SHA256, n, err = m.w.Add(ctx, at.Path, f)
		m.octets += n
		if err == nil && at.SHA256 != inspected {
			return another
		}
		return err
	}
	data, err := readLimited(f, maxPhoto)
	if err != nil {
		return err
	}
	if sha256Of(data) != inspected {
		return another
	}
	if m.NoLocation {
		if data, err = stripped(at, data); err != nil {
			return err
		}
	}
	at.SHA256 = sha256Of(data)
	return m.add(ctx, at.Path, data)
}

// notBare is that a photo cannot be written anew without what is to be left out.
type notBare struct{ cause error }

func (e notBare) Error() string {
	return "it cannot be written anew without its location: " + e.cause.Error()
}

// stripped is a photo without its location; at takes in the hashes that tell of it.
func stripped(at *Photo, data []byte) ([]byte, error) {
	out, picture, err := withoutLocation(data)
	if err != nil {
		return nil, notBare{err}
	}
	at.Picture = picture
	if !bytes.Equal(out, data) {
		at.Original = sha256Of(data)
	}
	return out, nil
}

// lines writes decisions as their log does.
func lines(decisions []review.Decision) (out []byte) {
	for _, d := range decisions {
		line, err := json.Marshal(d)
		if err == nil { // texts and numbers alone
			out = append(append(out, line...), '\n')
		}
	}
	return out
}

// maxPhoto is the largest photo that is taken into memory to be written anew.
const maxPhoto = 512 << 20

func readLimited(r io.Reader, limit int64) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("a photo has more than %d MB", limit>>20)
	}
	return data, err
}

func sha256Of(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func (m *maker) addInspection(ctx context.Context, here, elsewhere []review.Decision) error {
	document := m.Inspection
	if m.NoLocation || m.NoCrew {
		var b bytes.Buffer
		if err := inspection.Encode(&b, m.Document); err != nil {
			return err
		}
		document = b.Bytes()
	}
	var csv bytes.Buffer
	if err := inspection.EncodeCSVDecided(&csv, m.Document, m.answers.Decider()); err != nil {
		return err
	}
	for _, f := range []struct {
		path string
		data []byte
	}{
		{inspectionPath, document}, {fastenersPath, csv.Bytes()},
		{decisionsPath, lines(here)}, {elsewherePath, lines(elsewhere)},
	} {
		if len(f.data) == 0 {
			continue
		}
		if err := m.add(ctx, f.path, f.data); err != nil {
			return err
		}
	}
	if m.Report == nil || m.reportTells() {
		return nil
	}
	return m.add(ctx, reportPath, m.Report)
}

func (m *maker) addPages(ctx context.Context) error {
	m.noteLeftOut()
	page := plainPage(pageInput{m.contents, m.Document, m.answers, len(m.Authority) > 0, m.Report != nil && !m.reportTells()})
	if err := m.add(ctx, pagePath, []byte(page)); err != nil {
		return err
	}
	data, err := m.contents.encode()
	if err != nil {
		return err
	}
	return m.add(ctx, contentsPath, data)
}

// info is bag-info.txt.
func (m *maker) info() bag.Info {
	t := m.Document.Totals
	in := bag.Info{
		{Label: "External-Description", Value: "Record of an inspection of fasteners: " + escape.Text(m.contents.Title)},
		{Label: "Bagging-Date", Value: m.contents.Made[:len("2006-01-02")]},
		{Label: "Payload-Oxum", Value: m.w.Oxum()},
		{Label: "Bag-Software-Agent", Value: "coursegauge " + m.Version},
		{Label: labelFormat, Value: format},
		{Label: labelPhotos, Value: fmt.Sprintf("%d, %d measured, %d refused", t.Photos, t.Measured, t.Refused)},
		{Label: labelFasteners, Value: fmt.Sprint(t.Fasteners)},
		{Label: labelDecisions, Value: fmt.Sprint(m.contents.Decisions)},
	}
	if m.contents.SignedBy != "" {
		in = append(in, bag.Field{Label: labelSigned, Value: m.contents.SignedBy})
	}
	if m.contents.Stamped {
		in = append(in, bag.Field{Label: labelStamped, Value: "RFC 3161, " + stampFile})
	}
	if f := m.contents.Follows; f != nil {
		in = append(in, bag.Field{Label: labelFollows, Value: f.label()})
	}
	for _, what := range m.contents.LeftOut {
		in = append(in, bag.Field{Label: labelLeftOut, Value: escape.Text(what)})
	}
	return in
}

func (m *maker) tags() []bag.Seal {
	if len(m.Authority) == 0 {
		return nil
	}
	return []bag.Seal{{Path: authorityFile, Data: m.Authority}}
}

// seals are the time stamp and the signature of the tag manifest. The signature
// covers the stamp too.
func (m *maker) seals(ctx context.Context, message []byte) (out []bag.Seal, err error) {
	comment := "record of " + m.contents.Made
	if m.Stamp != nil {
		reply, err := m.Stamp(ctx, message)
		if err != nil {
			return nil, NoStamp{err}
		}
		out = append(out, bag.Seal{Path: stampFile, Data: reply})
		comment += stampComment(reply)
	}
	if m.Key != nil {
		out = append(out, bag.Seal{Path: signatureFile, Data: m.Key.Sign(message, comment)})
	}
	return out, nil
}

// stampComment binds a time stamp into the signature.
func stampComment(reply []byte) string {
	return "; time stamp sha256:" + sha256Of(reply)
}

// NoStamp is that the authority gave none.
type NoStamp struct{ Cause error }

func (e NoStamp) Error() string { return "no time stamp: " + e.Cause.Error() }

// names gives every file a name that any system can keep, each once.
type names map[string]bool

var harmless = strings.NewReplacer("%", "_", `\`, "_", ":", "_", "*", "_", "?", "_", `"`, "_", "<", "_", ">", "_", "|", "_", "$", "_", "~", "_")

func (n names) name(path string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		p = strings.Map(func(r rune) rune {
			if r < ' ' || bag.Invisible(r) {
				return '_'
			}
			return r
		}, strings.ToValidUTF8(harmless.Replace(p), "_"))
		if p = strings.TrimRight(p, " ."); p == "" || !bag.Ordinary(p) {
			p = "_" + p
		}
		parts[i] = p
	}
	path = strings.Join(parts, "/")
	ext := filepath.Ext(path)
	stem := strings.TrimSuffix(path, ext)
	for k := 2; n[bag.Skeleton(path)]; k++ {
		path = fmt.Sprintf("%s-%d%s", stem, k, ext)
	}
	n[bag.Skeleton(path)] = true
	return path
}
