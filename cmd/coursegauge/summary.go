package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"coursegauge/report/inspection"
)

// cautions stand at the end of every run that measured something.
const cautions = `The shingle's printed instructions and the local code come first. This says where heads were
measured and how well, not that a roof meets code or that a warranty applies; only what the
photos show was judged. Unresolved: look, or use a tape. No photo is worth a fall: go on a
roof only if trained, allowed and protected. Licensed practice and the building official decide.`

// summary is what a run comes to; with --json it is the answer.
type summary struct {
	Format         string                    `json:"format"`
	Stopped        bool                      `json:"stopped"`         // before every photo was done
	NotDone        []string                  `json:"not_done"`        // the files that it was stopped before
	Twice          map[string][]string       `json:"twice"`           // by file, others with the same bytes
	SkippedFolders []string                  `json:"skipped_folders"` // with photos, not looked into
	Photos         int                       `json:"photos"`          // that were asked for
	Totals         inspection.Totals         `json:"totals"`          // of those that were done
	Refused        map[string]refusalSummary `json:"refused"`         // by file
	Faults         []string                  `json:"faults"`          // of the tool, not of the photos
	Inspection     string                    `json:"inspection"`
	Fasteners      string                    `json:"fasteners"`
	Report         string                    `json:"report"`
	Product        productSummary            `json:"product"`
	ExitStatus     int                       `json:"exit_status"`
}

// productSummary is how the product of the schedule fits the photos.
type productSummary struct {
	Off     int    `json:"photos_off"` // that it does not fit
	Of      int    `json:"photos"`     // that could tell
	Warning string `json:"warning"`    // "" while they do not look like another product
}

type refusalSummary struct {
	Reason string `json:"reason"`
	Detail string `json:"detail"`
	Advice string `json:"advice"`
	shown  string // the file
}

const summaryFormat = "coursegauge-summary/1"

func summarize(d inspection.Document, asked int, faults []string, files outputs, status int) summary {
	s := summary{
		Format: summaryFormat, Stopped: len(d.NotDone) > 0, NotDone: append([]string{}, d.NotDone...), Twice: map[string][]string{}, SkippedFolders: []string{}, Photos: asked, Totals: d.Totals,
		Refused: map[string]refusalSummary{}, Faults: faults,
		Inspection: files.inspection, Fasteners: files.fasteners, Report: files.report,
		ExitStatus: status,
	}
	fit := d.Product()
	s.Product = productSummary{fit.Off, fit.Of, fit.String()}
	if s.Faults == nil {
		s.Faults = []string{}
	}
	for _, p := range d.Photos {
		if len(p.AlsoAs) > 0 {
			s.Twice[p.File] = p.AlsoAs
		}
		if p.Refusal != nil {
			s.Refused[p.File] = refusalSummary{p.Refusal.Reason, p.Refusal.Detail, p.Refusal.Advice, p.Shown()}
		}
	}
	return s
}

// print tells the summary to a person.
func (s summary) print(t *terminal) {
	if s.Stopped {
		t.say("stopped: %d of %s done and written", s.Photos-len(s.NotDone), plural(s.Photos, "photo", "photos"))
	}
	for _, file := range slices.SortedFunc(maps.Keys(s.Twice), compareNatural) {
		t.say("counted once, the same bytes: %s, %s", file, strings.Join(s.Twice[file], ", "))
	}
	if s.Product.Warning != "" {
		t.say("%s", s.Product.Warning)
	}
	t.say("%s: %d measured, %d refused", plural(s.Totals.Photos, "photo", "photos"), s.Totals.Measured, s.Totals.Refused)
	for _, file := range slices.SortedFunc(maps.Keys(s.Refused), compareNatural) {
		r := s.Refused[file]
		t.say("  refused %s (%s): %s; %s", r.shown, r.Reason, oneLine(r.Detail), oneLine(r.Advice))
	}
	t.say("%s: %s", plural(s.Totals.Fasteners, "fastener", "fasteners"), counts(s.Totals.Verdicts, "suspect", "unresolved", "clear"))
	if len(s.Totals.SuspectsByRule) > 0 {
		t.say("suspects by rule: %s", counts(s.Totals.SuspectsByRule, slices.Sorted(maps.Keys(s.Totals.SuspectsByRule))...))
	}
	for _, f := range s.Faults {
		t.warn("%s", f)
	}
	t.say("report: %s", s.Report)
	t.tell(cautions)
}

// counts is "2 suspect, 0 unresolved" for the keys in their order.
func counts(of map[string]int, keys ...string) string {
	words := make([]string, len(keys))
	for i, k := range keys {
		words[i] = fmt.Sprintf("%d %s", of[k], k)
	}
	return strings.Join(words, ", ")
}
