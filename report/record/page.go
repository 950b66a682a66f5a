package record

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/record/bag"
	"coursegauge/report/review"
	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// pageInput is what the page in plain text is written from.
type pageInput struct {
	contents  Contents
	document  inspection.Document
	answers   review.Answers
	authority bool // its certificate lies in the bag
	report    bool
}

// sheet gathers lines of at most pageWidth letters.
type sheet struct{ strings.Builder }

const pageWidth = 78

func (b *sheet) head(text string) {
	fmt.Fprintf(b, "\n%s\n%s\n\n", text, strings.Repeat("-", len(text)))
}

// para wraps a text; indent stands before its second and later lines. What others wrote
// in it stays on its lines.
func (b *sheet) para(first, indent, format string, args ...any) {
	line := first
	empty := true
	for word := range strings.FieldsSeq(escape.Text(fmt.Sprintf(format, args...))) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > pageWidth {
			b.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	b.WriteString(line + "\n")
}

func (b *sheet) text(format string, args ...any) { b.para("", "", format, args...) }
func (b *sheet) item(format string, args ...any) { b.para("  * ", "    ", format, args...) }
func (b *sheet) command(format string, args ...any) {
	fmt.Fprintf(b, "\n    %s\n\n", escape.Text(fmt.Sprintf(format, args...)))
}

// plainPage is READ-ME.txt: for somebody who has this folder and nothing else.
func plainPage(in pageInput) string {
	b := &sheet{}
	title := "Record of an inspection of fasteners"
	fmt.Fprintf(b, "%s\n%s\n\n", title, strings.Repeat("=", len(title)))
	in.about(b)
	in.inside(b)
	in.measured(b)
	in.decided(b)
	in.unchanged(b)
	in.leftOut(b)
	in.cautions(b)
	return b.String()
}

func (in pageInput) about(b *sheet) {
	b.text("%s", in.contents.Title)
	b.text("Made on %s with coursegauge %s.", in.contents.Made, in.contents.Version)
	if from, to := takenBetween(in.document.Photos); from != "" {
		b.text("The photos were taken between %s and %s, as the cameras' clocks say.", from, to)
	}
	if f := in.contents.Follows; f != nil {
		b.text("It adds to an earlier record, %s, made on %s, whose number is", f.Name, f.Made)
		b.command("%s", f.Digest)
		b.text("That is the SHA-256 of the file %s of the earlier record.", bag.TagManifestFile)
	}
	b.WriteString("\n")
	b.text("A course of shingles hides the nails of the one below it. While each course still lay open, photos were taken with a printed card of known size in them. From the photos every fastener head that could be seen was measured, and each was held against the limits that the schedule names. People then decided about those that were marked. This record keeps all of it together, so that it can be read, checked and measured again years later.")
}

// takenBetween are the first and the last time that photos tell, "" without.
func takenBetween(photos []inspection.Photo) (from, to string) {
	for _, p := range photos {
		if p.Taken == "" {
			continue
		}
		if from == "" || p.Taken < from {
			from = p.Taken
		}
		to = max(to, p.Taken)
	}
	return from, to
}

func (in pageInput) inside(b *sheet) {
	b.head("What is inside")
	b.text("All of it is in open formats; photos are in those of the cameras. Paths count from the folder \"data\", in which this page lies.")
	b.WriteString("\n")
	anew := in.contents.rewritten()
	b.item("%s: the photos, %d files (most are JPEG, which any program that shows pictures opens): %d byte for byte as the cameras made them, %d written anew without what was left out, their pictures untouched.", photosFolder, len(in.contents.Photos), len(in.contents.Photos)-anew, anew)
	b.item("%s: everything that was measured, as text (JSON, UTF-8); lengths in millimetres with their standard uncertainty.", inspectionPath)
	b.item("%s: the same as a table, one row a fastener, with what was decided; any spreadsheet opens it.", fastenersPath)
	if in.contents.Decisions > 0 {
		b.item("%s: every decision, one line each, in the order in which they were made.", decisionsPath)
	}
	if in.contents.Elsewhere > 0 {
		b.item("%s: %d decisions about an earlier measurement of the same photos; they count for nothing here.", elsewherePath, in.contents.Elsewhere)
	}
	if in.report {
		b.item("%s: the report with pictures; any web browser opens it, without a network. Its links to the full photos lead to where they lay when it was made.", reportPath)
	}
	b.item("%s: what was measured by: the schedule (what was installed and the limits)%s.", settingsFolder, in.otherSettings())
	b.item("%s: what this record holds, for programs.", contentsPath)
	b.WriteString("\n")
	b.text("Beside the folder \"data\" lie bag-info.txt (what this is, in a few lines) and lists with the SHA-256 of every file. The whole follows BagIt 1.0, RFC 8493, which archives use.")
}

func (in pageInput) otherSettings() string {
	var more string
	if in.contents.Settings.Cards != "" {
		more += ", the measured sizes of the printed cards"
	}
	if len(in.contents.Settings.Profiles) > 0 {
		more += ", what is known of the cameras' lenses"
	}
	if in.contents.Settings.Crews != "" {
		more += ", the list that tells crews"
	}
	return more
}

func (in pageInput) measured(b *sheet) {
	t := in.document.Totals
	b.head("What was measured, and how well")
	if n := len(in.document.NotDone); n > 0 {
		b.text("NOT COMPLETE: the run was stopped before %d of the photos. They are not in this record:", n)
		for _, file := range in.document.NotDone {
			b.item("%s", file)
		}
		b.WriteString("\n")
	}
	if other := in.document.Product().String(); other != "" {
		b.text("%s", other)
		b.WriteString("\n")
	}
	b.text("Of %d photos %d were measured and %d refused. In them %d fastener heads were found.", t.Photos, t.Measured, t.Refused, t.Fasteners)
	b.WriteString("\n")
	b.item("suspect (%d heads): more likely than not a limit is broken.", t.Verdicts["suspect"])
	b.item("unresolved (%d): the measurement cannot tell.", t.Verdicts["unresolved"])
	b.item("clear (%d): no limit that could be judged looks broken.", t.Verdicts["clear"])
	if n := t.Verdicts["not_judged"]; n > 0 {
		b.item("not judged (%d): nothing that is needed could be seen.", n)
	}
	b.WriteString("\n")
	if half, most := uncertainty(in.document.Photos); most > 0 {
		b.text("Each length stands with its uncertainty. For the height of a head above the butt edge of its shingle, half of the heads are known to %.2f mm (%.3f in) or better, nineteen in twenty to %.2f mm (%.3f in) or better. Farther than that from the stated one the true height lies in about one case of twenty, as the program estimates for each head.",
			half, half/float64(length.Inch), most, most/float64(length.Inch))
	}
	if len(t.RefusedByReason) > 0 {
		b.WriteString("\n")
		b.text("Photos that could not be measured, and are kept all the same:")
		for _, p := range in.document.Photos {
			if p.Refusal != nil {
				kept := ""
				if unread(p) {
					kept = "; not kept, since it could not be read at all"
				}
				b.item("%s: %s (%s)%s", p.File, p.Refusal.Detail, p.Refusal.Reason, kept)
			}
		}
	}
	b.WriteString("\n")
	b.text("Schedule: %s, SHA-256 %s.", in.contents.Settings.Schedule, in.document.Schedule.SHA256)
	b.text("Measured with coursegauge %s and OpenCV %s.", in.document.Tool.Version, in.document.Tool.OpenCV)
}

// uncertainty is the expanded uncertainty U95 of the heights above the butt, mm:
// that which half of the heads keep, and that which 19 of 20 keep.
func uncertainty(photos []inspection.Photo) (half, most float64) {
	var all []float64
	for _, p := range photos {
		for _, h := range p.Heads {
			if h.AboveButt != nil {
				all = append(all, length.K95*h.AboveButt.U)
			}
		}
	}
	if len(all) == 0 {
		return 0, 0
	}
	return stats.Quantile(all, .5), stats.Quantile(all, .95)
}

// words are the answers as people say them.
var words = map[string]string{
	review.Wrong: "it is wrong, a limit is broken", review.Sound: "it is sound, a false alarm", review.Unsure: "cannot be told",
	review.NoNail: "this is no fastener", review.Missed: "a fastener here was not found", review.Complete: "every head in the photo is found or marked",
	review.Conflict: "people disagree",
}

// Standing is one decision that nobody took back or followed by another.
type Standing struct{ review.Decision }

// Word is the answer as people say it.
func (s Standing) Word() string { return words[s.What] }

// standings are the decisions that stand, by photo and target.
func standings(a review.Answers) (out []Standing) {
	for _, key := range slices.Sorted(maps.Keys(a)) {
		for _, d := range a[key] {
			if d.What != review.Undecided {
				out = append(out, Standing{d})
			}
		}
	}
	slices.SortStableFunc(out, func(x, y Standing) int { return strings.Compare(x.File, y.File) })
	return out
}

// where is a target in words: "head 5", "piece 0, gap".
func where(target string) string {
	parts := strings.Split(target, "/")
	switch {
	case parts[0] == "place":
		return "at " + strings.Join(parts[1:], ", ") + " px"
	case len(parts) >= 3:
		return parts[0] + " " + parts[1] + ", " + strings.ReplaceAll(parts[2], "_", " ")
	}
	return strings.Join(parts, " ")
}

func (in pageInput) decided(b *sheet) {
	b.head("Who decided what, and when")
	standing := standings(in.answers)
	if len(standing) == 0 {
		b.text("Nobody has decided about anything in this record. What the program marked is what it marked, no more.")
		return
	}
	b.text("The program marks; people decide. Names are as these people gave them, times as their computers' clocks said. Decisions that were taken back are left out here and stand in %s.", decisionsPath)
	b.WriteString("\n")
	for _, s := range standing {
		note := ""
		if s.Note != "" {
			note = "; note: " + s.Note
		}
		b.item("%s, %s: %s. %s, %s%s", s.File, where(s.Target), s.Word(), s.Who, s.When, note)
	}
	if open := openMarks(in.document, in.answers); open > 0 {
		b.WriteString("\n")
		b.text("Suspect or unresolved, and decided by nobody or disputed: %d.", open)
	}
}

// openMarks counts what is suspect or unresolved and undecided or disputed.
func openMarks(d inspection.Document, a review.Answers) (n int) {
	for _, p := range d.Photos {
		marked := func(target, verdict string) {
			if verdict != "suspect" && verdict != "unresolved" {
				return
			}
			if what, _ := a.Answer(p.SHA256, target); what == "" || what == review.Conflict {
				n++
			}
		}
		for _, h := range p.Heads {
			marked(review.HeadTarget(h.ID), h.Verdict)
		}
		targets := review.FindingTargets(p.Findings)
		for i, f := range p.Findings {
			marked(targets[i], f.Result)
		}
	}
	return n
}

func (in pageInput) unchanged(b *sheet) {
	b.head("How to check that nothing was changed")
	b.text("No special program is needed. If this came as a .zip, unpack it first. On Linux, or on a Mac with \"shasum -a 256 -c\" in place of \"sha256sum -c\", in the folder that holds bagit.txt:")
	b.command("sha256sum -c --quiet %s && sha256sum -c --quiet %s && echo unchanged", bag.ManifestFile, bag.TagManifestFile)
	b.text("Files that were added are not in these lists: in \"data\" there must be no file that %s does not name.", bag.ManifestFile)
	b.text("On Windows \"certutil -hashfile FILE SHA256\" prints the SHA-256 of one file, to be compared with the list.")
	b.WriteString("\n")
	b.text("That finds accidents. Somebody who means harm could write new lists as well. Against that helps the number of this record, if you have it from elsewhere, as from a printed summary. It is what this prints:")
	b.command("sha256sum %s", bag.TagManifestFile)
	if in.contents.SignedBy != "" {
		b.text("The record is signed. Whoever has the signer's public key from the signer checks it with the program minisign:")
		b.command("minisign -V -P %s -m %s", in.contents.SignedBy, bag.TagManifestFile)
		b.text("The key above stands here for convenience; a forger would have put in another. Compare it with the one that the signer gave you.")
	} else {
		b.text("The record is not signed.")
	}
	if in.contents.Stamped {
		b.WriteString("\n")
		b.text("A time stamp authority (RFC 3161) vouches for when the record was there. The file %s is its reply:", stampFile)
		authority := "AUTHORITY.pem"
		if in.authority {
			authority = authorityFile
		}
		b.command("openssl ts -verify -in %s -data %s -CAfile %s", stampFile, bag.TagManifestFile, authority)
		b.text("When the authority's certificates have run out since, add: -attime and the second since 1970 of the stamp, which \"openssl ts -reply -in %s -text\" shows as a date.", stampFile)
	}
	b.WriteString("\n")
	b.text("With coursegauge, \"coursegauge record verify FOLDER\" does all of this, holds the decisions against the measurements, and measures the photos again.")
}

func (in pageInput) leftOut(b *sheet) {
	if len(in.contents.LeftOut) == 0 {
		return
	}
	b.head("What was left out on purpose")
	for _, what := range in.contents.LeftOut {
		b.item("%s", what)
	}
	b.WriteString("\n")
	b.text("Of %d photos in this record %d are byte for byte those that were inspected; %d were written anew. The rest is as it was, and the lists of hashes prove that.", len(in.contents.Photos), len(in.contents.Photos)-in.contents.rewritten(), in.contents.rewritten())
}

// cautions stand wherever figures of a record are shown.
var cautions = []string{
	"This says where heads were measured and how well. It does not say that a roof meets a code or that a warranty applies.",
	"Only what the photos show was judged: a sample of the roof, as long as each course was open.",
	"Follow the instructions printed for the shingle, and the local code; where they differ from the schedule, they win.",
	"Unresolved means that the measurement cannot tell.",
	"Cameras' clocks and what a photo says of itself can be changed before a record is made: they are evidence, no proof.",
	"Only the building official, the product's maker or a licensed professional can accept the work.",
}

func (in pageInput) cautions(b *sheet) {
	b.head("Cautions and limits")
	for _, c := range cautions {
		b.item("%s", c)
	}
}
