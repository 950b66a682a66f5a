// Package record makes and checks the record of a job: a bag (report/record/bag)
// with the photos as they were taken, what was measured and decided, the settings
// it was measured by, and a page in plain text for whoever opens it in fifteen
// years. What stands for a whole record is the SHA-256 of its tag manifest, its
// digest: that covers the manifests, which cover every file.
//
// The package reads and writes files and measures nothing: a Measurer is handed in.
package record

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"coursegauge/report/escape"
	"coursegauge/report/record/bag"
)

// format is the name and the version of record.json.
const format = "coursegauge-record/1"

// Where things lie, below the bag's data/.
const (
	contentsPath   = "record.json"
	pagePath       = "READ-ME.txt"
	inspectionPath = "inspection/inspection.json"
	fastenersPath  = "inspection/fasteners.csv"
	decisionsPath  = "inspection/decisions.jsonl"
	elsewherePath  = "inspection/decisions-elsewhere.jsonl"
	reportPath     = "inspection/report.html"
	settingsFolder = "settings/"
	photosFolder   = "photos/"
)

// The files beside the tag manifest that vouch for it, and the authority's
// certificate, which is a tag file.
const (
	signatureFile = bag.TagManifestFile + ".minisig"
	stampFile     = bag.TagManifestFile + ".tsr"
	authorityFile = "timestamp-authority.pem"
)

// Labels of bag-info.txt that are our own.
const (
	labelFormat    = "Coursegauge-Record"
	labelSigned    = "Coursegauge-Signed-By"
	labelStamped   = "Coursegauge-Time-Stamp"
	labelFollows   = "Coursegauge-Follows"
	labelPhotos    = "Coursegauge-Photos"
	labelFasteners = "Coursegauge-Fasteners"
	labelDecisions = "Coursegauge-Decisions"
	labelLeftOut   = "Coursegauge-Left-Out"
)

// Contents is record.json: what lies in the record and how it came there.
type Contents struct {
	Format   string   `json:"format"`
	Made     string   `json:"made"` // RFC 3339, UTC
	Version  string   `json:"version"`
	Title    string   `json:"title"`
	Settings Settings `json:"settings"`
	Photos   []Photo  `json:"photos"`
	// Omitted are photos of the inspection that the record lacks on purpose.
	Omitted []Omitted `json:"omitted_photos,omitempty"`
	// LeftOut says in sentences what this record lacks on purpose.
	LeftOut []string `json:"left_out,omitempty"`
	// Follows names the record that this one adds to.
	Follows *Predecessor `json:"follows,omitempty"`
	// SignedBy is the public key, as minisign -P takes it, of the signature that
	// belongs to the record; Stamped tells whether a time stamp does.
	SignedBy string `json:"signed_by,omitempty"`
	Stamped  bool   `json:"time_stamped,omitempty"`
	// Decisions counts those about this inspection, Elsewhere those about an
	// earlier one of the same folder, which are kept aside.
	Decisions int `json:"decisions"`
	Elsewhere int `json:"decisions_elsewhere,omitempty"`
}

// Settings are the paths of what was measured by, below the bag's data/, "" without.
type Settings struct {
	Schedule string   `json:"schedule"`
	Cards    string   `json:"cards,omitempty"`
	Profiles []string `json:"camera_profiles,omitempty"`
	Crews    string   `json:"crews,omitempty"`
}

// Photo is one photo: its name in the inspection, where it lies, its hash. One that
// was written anew without its location names the hash of the original, and the
// hash of the coded picture, which both files share.
type Photo struct {
	File     string `json:"file"`
	Path     string `json:"path"`
	SHA256   string `json:"sha256"`
	Original string `json:"original_sha256,omitempty"`
	Picture  string `json:"picture_sha256,omitempty"`
}

// Omitted is a photo that the record lacks, and why.
type Omitted struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Why    string `json:"why"`
}

// rewritten counts the photos that were written anew.
func (c Contents) rewritten() (n int) {
	for _, p := range c.Photos {
		if p.Original != "" {
			n++
		}
	}
	return n
}

// Inspected is the hash by which the inspection knows the photo.
func (p Photo) Inspected() string {
	if p.Original != "" {
		return p.Original
	}
	return p.SHA256
}

// Predecessor names a record by its digest.
type Predecessor struct {
	Name   string `json:"name"` // of its file or folder when it was added to
	Digest string `json:"digest"`
	Made   string `json:"made"`
}

// label is the predecessor as bag-info.txt names it.
func (p Predecessor) label() string {
	return "sha256:" + p.Digest + " " + strings.Join(strings.Fields(escape.Text(p.Name)), " ")
}

// encode is the file.
func (c Contents) encode() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(c)
	return b.Bytes(), err
}

// parseContents reads record.json.
func parseContents(data []byte) (Contents, error) {
	var c Contents
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("byte %d: %w", d.InputOffset(), err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return c, errors.New("more text after the document")
	}
	if c.Format != format {
		return c, fmt.Errorf("format is \"%.40s\"; this version reads %q", c.Format, format)
	}
	if err := c.checkForms(); err != nil {
		return c, err
	}
	for _, p := range c.Photos {
		for _, sum := range []string{p.SHA256, p.Inspected(), cmp.Or(p.Picture, p.SHA256)} {
			if !isHash(sum) {
				return c, fmt.Errorf("photo \"%.60s\" has a hash that is none; 64 digits 0-9 a-f are needed", p.File)
			}
		}
		if !strings.HasPrefix(p.Path, photosFolder) || p.File == "" {
			return c, fmt.Errorf("photo \"%.60s\" lies at \"%.60s\"; it must lie below %s", p.File, p.Path, photosFolder)
		}
	}
	return c, nil
}

// checkForms holds what has a form to it: nothing else is taken for it, and none of it
// can say more than it is there for.
func (c Contents) checkForms() error {
	if !isTime(c.Made) {
		return fmt.Errorf("made is \"%.40s\"; a time as 2026-05-04T17:30:00Z is needed", c.Made)
	}
	if !isVersion(c.Version) {
		return fmt.Errorf("version is \"%.40s\", which is none", c.Version)
	}
	f := c.Follows
	switch {
	case f == nil:
	case !isHash(f.Digest):
		return errors.New("the record that it adds to is named by what is no number; 64 digits 0-9 a-f are needed")
	case !isTime(f.Made):
		return fmt.Errorf("the record that it adds to was made \"%.40s\"; a time as 2026-05-04T17:30:00Z is needed", f.Made)
	case !isName(f.Name):
		return fmt.Errorf("the record that it adds to is called \"%.80s\", which is no name of a file", f.Name)
	}
	return nil
}

// isTime tells whether a text is a time of RFC 3339, written in no other way.
func isTime(s string) bool {
	t, err := time.Parse(time.RFC3339, s)
	return err == nil && t.Format(time.RFC3339) == s
}

var versionForm = regexp.MustCompile(`^[0-9A-Za-z][0-9A-Za-z.+~_-]{0,63}$`)

func isVersion(s string) bool { return versionForm.MatchString(s) }

// isName tells whether a text names a file or folder by itself.
func isName(s string) bool {
	return filepath.IsLocal(s) && s != "." && !strings.ContainsAny(s, "/\x00") && filepath.Base(s) == s
}

// isHash tells whether a text is a SHA-256 as it is written everywhere here.
func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}
