package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal"
	"coursegauge/report/review"
	"coursegauge/report/schedule"
)

// Options are what a record is held against beyond itself.
type Options struct {
	Trust []Trusted      // keys of signers, nil: nobody said
	Roots *x509.CertPool // of time stamp authorities, nil: nobody said
	// Measure makes the measurer of a record from its settings; nil: nothing is measured again.
	Measure  func(MeasuringSettings) (Measurer, error)
	Version  string // of this program
	Progress func(file string)
}

// Trusted is a key and the name of the file that it stands in.
type Trusted struct {
	Name string
	Key  seal.PublicKey
}

// Verdict is what a check of a record came to.
type Verdict struct {
	Digest   string // SHA-256 of the tag manifest, "" when there is none
	Contents Contents
	Document inspection.Document
	Answers  review.Answers
	Problems []bag.Problem
	Notes    []string // what was found and is no problem
	// Unchecked is what could not be held against anything, in words with counts.
	Unchecked []string
	Signed    string // by whom, "" when nobody
	Stamp     *seal.Stamp
	Files     int
	Octets    int64
	Again     int // photos measured again
}

// verifier gathers the verdict.
type verifier struct {
	Verdict
	Options
	src     bag.Source
	report  bag.Report
	unread  int // photos
	anew    int // photos
	omitted int // photos
}

func (v *verifier) problem(path, format string, args ...any) {
	v.Problems = append(v.Problems, bag.Problem{Path: path, Text: fmt.Sprintf(format, args...)})
}

func (v *verifier) note(format string, args ...any) {
	v.Notes = append(v.Notes, fmt.Sprintf(format, args...))
}

// unchecked counts what could not be checked; nothing for none.
func (v *verifier) unchecked(n int, one, many string) {
	if what := many; n > 0 {
		if n == 1 {
			what = one
		}
		v.Unchecked = append(v.Unchecked, fmt.Sprintf("%d %s", n, what))
	}
}

// Verify checks one record: complete and unchanged, sealed as it says, its parts
// fitting each other. The error is that of an ended context.
func Verify(ctx context.Context, src bag.Source, o Options) (Verdict, error) {
	v := &verifier{Options: o, src: src}
	var err error
	if v.report, err = bag.Check(ctx, src); err != nil {
		return Verdict{}, err
	}
	v.Files, v.Octets = v.report.Files, v.report.Octets
	v.bagProblems()
	if !v.readContents() {
		return v.Verdict, nil
	}
	v.seals()
	if v.readInspection() {
		v.photos()
		v.settings()
		v.verdicts()
		v.decisions()
		v.derived()
		if err := v.measureAgain(ctx); err != nil {
			return Verdict{}, err
		}
	}
	return v.Verdict, nil
}

// bagProblems takes over what is wrong with the bag. A record is stricter than
// bags are: what a bag is warned about, nothing that record make writes has.
func (v *verifier) bagProblems() {
	v.Problems = append(v.Problems, v.report.Problems...)
	v.Problems = append(v.Problems, v.report.Warnings...)
	for _, p := range v.report.Unlisted {
		if p != signatureFile && p != stampFile {
			v.problem(p, "was added: no manifest lists it")
		}
	}
	for _, p := range v.src.Folders() {
		v.problem(p, "is an empty folder, which record make does not write")
	}
	if !bag.AsWritten(v.src) && len(v.Problems) == 0 {
		v.note("the archive itself is not as record make writes it (dates, order or packing differ, as after packing it with another program); the files in it are what counts")
	}
	v.canonical()
	if data, err := bag.Read(v.src, bag.TagManifestFile, 64<<20); err == nil {
		sum := sha256.Sum256(data)
		v.Digest = hex.EncodeToString(sum[:])
	}
}

// canonical holds both manifests to the one way in which they are written, so that
// no byte of them can change unseen where nobody signed.
func (v *verifier) canonical() {
	for _, m := range []string{bag.ManifestFile, bag.TagManifestFile} {
		data, err := bag.Read(v.src, m, 64<<20)
		if err != nil {
			v.problem(m, "is missing or cannot be read; a record has it")
			continue
		}
		if want := bag.Canonical(data, v.report.Version); !bytes.Equal(want, data) {
			v.problem(m, "is not written as record make writes it")
		}
	}
	for _, f := range v.src.Files() {
		if bag.IsManifest(f.Path) && f.Path != bag.ManifestFile && f.Path != bag.TagManifestFile {
			v.problem(f.Path, "is a manifest that record make does not write")
		}
	}
}

// read gives the bytes of a payload file; a problem when it cannot.
func (v *verifier) read(path string, limit int64) ([]byte, bool) {
	data, err := bag.Read(v.src, bag.Payload+path, limit)
	if err != nil {
		v.problem(bag.Payload+path, "cannot be read; a record has it")
	}
	return data, err == nil
}

const (
	maxContents  = 64 << 20
	maxDocuments = 512 << 20
)

func (v *verifier) readContents() bool {
	if v.report.Version != "" && v.report.Version != "1.0" {
		v.problem(bag.DeclarationFile, "is of version %s; a record is of 1.0", v.report.Version)
	}
	data, ok := v.read(contentsPath, maxContents)
	if !ok {
		v.note("without %s this is a bag and no record of coursegauge; --bag-only checks any bag", contentsPath)
		return false
	}
	c, err := parseContents(data)
	if err != nil {
		v.problem(bag.Payload+contentsPath, "cannot be read: %v", err)
		return false
	}
	v.Contents = c
	info := v.report.Info
	follows := ""
	if c.Follows != nil {
		follows = c.Follows.label()
	}
	for _, f := range []struct{ label, want string }{{labelFormat, format}, {labelSigned, c.SignedBy}, {labelFollows, follows}} {
		if got := info.Get(f.label); got != f.want {
			v.problem(bag.InfoFile, "%s is \"%.80s\"; %s says \"%.80s\"", f.label, got, contentsPath, f.want)
		}
	}
	return true
}

func (v *verifier) readInspection() bool {
	data, ok := v.read(inspectionPath, maxDocuments)
	if !ok {
		return false
	}
	d, err := inspection.Read(bytes.NewReader(data))
	if err != nil {
		v.problem(bag.Payload+inspectionPath, "cannot be read: %v", err)
		return false
	}
	v.Document = d
	if !isTime(d.Made) || !isVersion(d.Tool.Version) {
		v.problem(bag.Payload+inspectionPath, "was made \"%.40s\" by version \"%.40s\"; a time as 2026-05-04T17:30:00Z and a version are needed", d.Made, d.Tool.Version)
	}
	if again := inspection.New(d.Tool, d.Schedule, d.Made, slices.Clone(d.Photos)); !reflect.DeepEqual(again.Totals, d.Totals) {
		v.problem(bag.Payload+inspectionPath, "its totals are not those of its photos")
	}
	at := bag.Payload + v.Contents.Settings.Schedule
	if sum := v.report.Sums[at]; sum != d.Schedule.SHA256 {
		v.problem(at, "is not the schedule that was judged by: the inspection names another hash")
	}
	return true
}

// photos holds the photos of the inspection against those of the record.
func (v *verifier) photos() {
	kept := map[string]Photo{}
	for _, p := range v.Contents.Photos {
		kept[p.File] = p
		if sum, ok := v.report.Sums[bag.Payload+p.Path]; ok && sum != p.SHA256 {
			v.problem(bag.Payload+p.Path, "is not the photo that %s names: its SHA-256 differs", contentsPath)
		}
		if p.Original != "" {
			v.anew++
			v.rewritten(p)
		}
	}
	omitted := map[Omitted]bool{}
	for _, o := range v.Contents.Omitted {
		omitted[Omitted{File: o.File, SHA256: o.SHA256}] = true
	}
	for _, p := range v.Document.Photos {
		k, ok := kept[p.File]
		switch {
		case !ok && isHash(p.SHA256) && omitted[Omitted{File: p.File, SHA256: p.SHA256}]:
			v.omitted++
		case unread(p) && !ok:
			v.unread++
		case !isHash(p.SHA256):
			v.problem(bag.Payload+inspectionPath, "photo \"%.200s\" has no hash, so that nothing tells which file was inspected", p.File)
		case !ok:
			v.problem(bag.Payload+inspectionPath, "photo \"%.200s\" was inspected and is not in the record", p.File)
		case p.SHA256 != k.Inspected():
			v.problem(bag.Payload+k.Path, "is not the photo that was inspected: the inspection names another hash")
		}
		delete(kept, p.File)
	}
	v.unchecked(len(v.Document.NotDone), "photo before which the run was stopped", "photos before which the run was stopped")
	v.unchecked(v.unread, "photo that inspect could not read and that is not in the record", "photos that inspect could not read and that are not in the record")
	v.unchecked(v.omitted, "photo that was left out on purpose", "photos that were left out on purpose")
	v.unchecked(v.anew, "original of a photo that was written anew", "originals of photos that were written anew")
	for _, p := range kept {
		v.problem(bag.Payload+p.Path, "is in the record and was not inspected")
	}
}

// rewritten holds the picture of a photo without location to the hash that it
// shares with its original.
func (v *verifier) rewritten(p Photo) {
	data, ok := v.read(p.Path, maxPhoto)
	if !ok {
		return
	}
	if picture, err := pictureHash(data); err != nil || picture != p.Picture {
		v.problem(bag.Payload+p.Path, "its coded picture is not that of the original, whose hash %s names", contentsPath)
	}
}

// settings holds what photos say they were measured by against what is there.
func (v *verifier) settings() {
	s := v.Contents.Settings
	for _, p := range v.Document.Photos {
		if p.Camera != nil && p.Camera.Source == "profile" && len(s.Profiles) == 0 {
			v.problem(bag.Payload+inspectionPath, "photo \"%.200s\" was measured by a camera profile, and the record holds none", p.File)
		}
		if p.Card != nil && p.Card.Size == "proved" && s.Cards == "" {
			v.problem(bag.Payload+inspectionPath, "photo \"%.200s\" was measured by a proved card, and the record holds no sizes of cards", p.File)
		}
	}
}

// verdicts judges every photo again, from its lengths and the schedule.
func (v *verifier) verdicts() {
	path := v.Contents.Settings.Schedule
	data, ok := v.read(path, maxContents)
	if !ok {
		return
	}
	s, err := schedule.Read(path, data)
	if err != nil {
		v.problem(bag.Payload+path, "cannot be read, so that nothing was judged again: %v", err)
		return
	}
	for _, p := range v.Document.Photos {
		for _, what := range inspection.Contradictions(p, s) {
			v.problem(bag.Payload+inspectionPath, "photo \"%.200s\", %s", p.File, what)
		}
	}
}

func (v *verifier) decisions() {
	path := bag.Payload + decisionsPath
	if _, there := v.report.Sums[path]; !there && v.Contents.Decisions == 0 {
		v.Answers = review.Answers{}
		return
	}
	data, ok := v.read(decisionsPath, maxDocuments)
	if !ok {
		return
	}
	list, err := review.ReadAll(decisionsPath, data)
	if err != nil {
		v.problem(path, "cannot be read: %v", err)
		return
	}
	if len(list) != v.Contents.Decisions {
		v.problem(path, "holds %d decisions; %s says %d", len(list), contentsPath, v.Contents.Decisions)
	}
	known := review.NewKnown(v.Document)
	for i, d := range list {
		if err := known.Check(d); err != nil {
			v.problem(path, "line %d: a decision about nothing that was measured: %v", i+1, err)
		}
	}
	v.Answers = review.Fold(list)
}

// derived writes what record make wrote from the rest again and holds it against what
// is there. The report, of which nothing but its pictures is left to make it from, is
// vouched for by a signature alone.
func (v *verifier) derived() {
	if v.Answers == nil {
		return // told already
	}
	_, report := v.report.Sums[bag.Payload+reportPath]
	_, authority := v.report.Sums[authorityFile]
	var csv bytes.Buffer
	if err := inspection.EncodeCSVDecided(&csv, v.Document, v.Answers.Decider()); err != nil {
		v.problem(bag.Payload+fastenersPath, "cannot be written again: %v", err)
		return
	}
	others := 0
	page := plainPage(pageInput{v.Contents, v.Document, v.Answers, authority, report})
	for _, f := range []struct{ path, want string }{{pagePath, page}, {fastenersPath, csv.String()}} {
		data, ok := v.read(f.path, maxDocuments)
		switch {
		case !ok || string(data) == f.want:
		case v.Contents.Version == v.Version:
			v.problem(bag.Payload+f.path, "does not tell what the inspection and the decisions tell")
		default:
			others++
		}
	}
	v.unchecked(others, "page or table that another version wrote", "pages and tables that another version wrote")
	if report && v.Signed == "" {
		v.unchecked(1, "report with pictures that nobody signed", "")
	}
}

// seals checks signature and time stamp. What the record says it has must be there.
func (v *verifier) seals() {
	message, err := bag.Read(v.src, bag.TagManifestFile, 64<<20)
	if err != nil {
		return // told already
	}
	stamp := v.stamp(message)
	signature, err := bag.Read(v.src, signatureFile, 64<<10)
	switch {
	case err != nil && v.Contents.SignedBy != "":
		v.problem(signatureFile, "is missing: the record says that it is signed")
		return
	case err != nil && len(v.Trust) > 0:
		v.problem("", "not signed, and a signature was asked for with --trust")
		return
	case err != nil:
		v.note("not signed: whoever could write here could have changed files and lists together; compare the number of the record with one from elsewhere")
		return
	case v.Contents.SignedBy == "":
		v.problem(signatureFile, "was added: the record says that it is not signed")
		return
	}
	v.signature(message, signature, stamp)
}

func (v *verifier) signature(message, signature, stamp []byte) {
	key, err := seal.ParsePublic([]byte(v.Contents.SignedBy))
	if err != nil {
		v.problem(bag.Payload+contentsPath, "names a signer by what is no key")
		return
	}
	by := "the key " + key.ID()
	trusted := slices.IndexFunc(v.Trust, func(t Trusted) bool { return t.Key.Equal(key) })
	switch {
	case trusted >= 0:
		by = fmt.Sprintf("the key %s (%s)", key.ID(), v.Trust[trusted].Name)
	case len(v.Trust) > 0:
		v.problem(signatureFile, "is by the key %s, which is none of those to trust (--trust)", key.ID())
	default:
		v.note("whose key %s is, nothing here tells: give the signer's public key with --trust", key.ID())
	}
	comment, err := seal.CheckSignature(message, signature, key)
	if err != nil {
		v.problem(signatureFile, "%v", err)
		return
	}
	want := "record of " + v.Contents.Made
	if stamp != nil {
		want += stampComment(stamp)
	}
	if comment != want {
		v.problem(signatureFile, "was made for another record or another time stamp: it is signed for \"%.200s\"", comment)
		return
	}
	v.Signed = by
}

func (v *verifier) stamp(message []byte) []byte {
	reply, err := bag.Read(v.src, stampFile, 1<<20)
	switch {
	case err != nil && v.Contents.Stamped:
		v.problem(stampFile, "is missing: the record says that it has a time stamp")
		return nil
	case err != nil:
		return nil
	case !v.Contents.Stamped:
		v.problem(stampFile, "was added: the record says that it has no time stamp")
		return reply
	}
	s, err := seal.CheckStamp(message, reply, v.Roots)
	if err != nil {
		v.problem(stampFile, "%v", err)
		return reply
	}
	v.Stamp = &s
	if !s.Trusted {
		v.note("whether %s is an authority to trust, nothing here tells: give its root certificate with --authority", s.Authority)
	}
	return reply
}

// measureAgain measures every photo by the settings of the record.
func (v *verifier) measureAgain(ctx context.Context) error {
	if v.Measure == nil {
		v.unchecked(len(v.Contents.Photos), "photo not measured again", "photos not measured again")
		return nil
	}
	measure, err := v.measurer()
	if err != nil {
		v.problem(bag.Payload+settingsFolder, "photos cannot be measured again: %v", err)
		return nil
	}
	kept := map[string]Photo{}
	for _, p := range v.Contents.Photos {
		kept[p.File] = p
	}
	same := v.Document.Tool.Version == v.Version
	if !same {
		v.note("measured by version %s, again by %s: lengths may differ by as much as both uncertainties allow", v.Document.Tool.Version, v.Version)
	}
	skipped, explained := 0, 0
	for _, p := range v.Document.Photos {
		k, ok := kept[p.File]
		if !ok || p.SHA256 == "" || v.report.Sums[bag.Payload+k.Path] != k.SHA256 {
			continue // told already
		}
		if k.Original != "" && p.Camera != nil && p.Camera.Source == "profile" {
			skipped++ // its lens is known by the device's name, which was left out
			continue
		}
		data, err := bag.Read(v.src, bag.Payload+k.Path, maxPhoto)
		if err != nil {
			continue
		}
		now, err := measure(ctx, p.File, data)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			v.problem(bag.Payload+k.Path, "cannot be measured again: %v", err)
			continue
		}
		v.Again++
		d := disagreements(p, now, same)
		sameFacts(p, now, len(v.Contents.LeftOut) > 0, func(format string, args ...any) { d.wrong = append(d.wrong, fmt.Sprintf(format, args...)) })
		for _, what := range d.wrong {
			v.problem(bag.Payload+k.Path, "%s", what)
		}
		for _, what := range d.version {
			if explained++; explained <= mostExplained {
				v.note("%s: %s", p.File, what)
			}
		}
		if v.Progress != nil {
			v.Progress(p.File)
		}
	}
	v.unchecked(skipped, "photo not measured again, since its lens is known by the device's name, which was left out", "photos not measured again, since their lens is known by the device's name, which was left out")
	v.unchecked(explained, "difference that another version of the program may explain", "differences that another version of the program may explain")
	return nil
}

// mostExplained are the differences that are told one by one.
const mostExplained = 20

func (v *verifier) measurer() (Measurer, error) {
	s := v.Contents.Settings
	named := func(path string) (NamedFile, error) {
		data, err := bag.Read(v.src, bag.Payload+path, maxContents)
		return NamedFile{strings.TrimPrefix(path, settingsFolder), data}, err
	}
	var in MeasuringSettings
	var err error
	if in.Schedule, err = named(s.Schedule); err != nil {
		return nil, err
	}
	if s.Cards != "" {
		f, err := named(s.Cards)
		if err != nil {
			return nil, err
		}
		in.Cards = &f
	}
	for _, p := range s.Profiles {
		f, err := named(p)
		if err != nil {
			return nil, err
		}
		in.Profiles = append(in.Profiles, f)
	}
	return v.Measure(in)
}

// Digest is the number of a record, the SHA-256 of its tag manifest.
func Digest(src bag.Source) (string, error) {
	data, err := bag.Read(src, bag.TagManifestFile, 64<<20)
	if err != nil {
		return "", errors.New("it has no " + bag.TagManifestFile)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}
