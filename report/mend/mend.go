// Package mend writes the list that a crew mends by: for each photo the picture
// with numbered marks, what is wrong, what is usually done about it, and a box
// to tick. It follows what people decided: what they call sound is left out.
package mend

import (
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/review"
)

//go:embed mend.css
var style string

//go:embed mend.html.tmpl
var source string

// sheet is the page of one photo.
type sheet struct {
	File, Crew, Taken string
	Src               template.HTMLAttr
	ViewBox           string
	Size              float64 // of the numbers, px of the photo
	Items             []item
}

// item is one line of a sheet and its mark.
type item struct {
	N         int
	X, Y      float64 // px of the photo
	LX, LY    float64 // where its number stands
	Name      string
	What, Do  []string
	State     string
	Note      string
	undecided bool
}

// list is the whole document.
type list struct {
	speaker
	Style       template.CSS
	Policy      string
	Title, Made string
	Product     inspection.Fit
	Sheets      []sheet
	Count       int
}

// Say gives the template its words.
func (l list) Say(key string, args ...any) string { return l.say(key, args...) }

// Lang is the language for the document's root.
func (l list) Lang() string { return l.lang }

// Write writes the list of a document in a language that Speaks knows. The
// pictures come out of the report.
func Write(w io.Writer, doc inspection.Document, a review.Answers, report []byte, lang string) error {
	return write(w, doc, a, report, newSpeaker(lang))
}

func write(w io.Writer, doc inspection.Document, a review.Answers, report []byte, s speaker) error {
	sum := sha256.Sum256([]byte(style))
	l := list{
		speaker: s, Product: doc.Product(), Style: template.CSS(style), Title: doc.Schedule.Title, Made: doc.Made[:min(len(doc.Made), len("2006-01-02"))],
		Policy: "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'",
	}
	photos := slices.Clone(doc.Photos)
	slices.SortStableFunc(photos, func(x, y inspection.Photo) int { return cmp.Compare(x.File, y.File) })
	for _, p := range photos {
		items := l.items(p, a)
		if len(items) == 0 {
			continue
		}
		sh := sheet{File: p.Shown(), Crew: p.Crew, Taken: p.Taken, Src: page.PictureIn(report, p.File), Items: items}
		if p.Image != nil {
			sh.ViewBox, sh.Size = fmt.Sprintf("0 0 %d %d", p.Image.Width, p.Image.Height), float64(max(p.Image.Width, p.Image.Height))/90
			spread(items, sh.Size, p.Course)
		}
		l.Sheets = append(l.Sheets, sh)
		l.Count += len(items)
	}
	t, err := template.New("mend").Parse(source)
	if err != nil {
		return err
	}
	return escape.Execute(w, t, t.Name(), l)
}

// items are what is to be mended in one photo, numbered along the course.
func (l list) items(p inspection.Photo, a review.Answers) []item {
	var out []item
	for _, h := range p.Heads {
		if it, ok := l.decided(a, p, review.HeadTarget(h.ID), h.Verdict); ok {
			it.X, it.Y, it.Name = h.Px[0], h.Px[1], l.say("Nail %d", h.ID)
			for _, r := range h.Rules {
				if r.Result == "suspect" || r.Result == "unresolved" {
					l.headLine(&it, h, r)
				}
			}
			out = append(out, l.ended(it))
		}
	}
	targets := review.FindingTargets(p.Findings)
	for i, f := range p.Findings {
		if it, ok := l.decided(a, p, targets[i], f.Result); ok {
			l.place(&it, p, f)
			l.pieceLine(&it, p, f)
			out = append(out, l.ended(it))
		}
	}
	for _, m := range a.Missed(p.SHA256) {
		at, _ := m.Place()
		out = append(out, l.ended(item{X: at[0], Y: at[1], Name: l.say("Marked by hand"), What: []string{l.say("a nail that was not measured")}, State: l.say("look, or measure by hand"), Note: m.Note}))
	}
	ux, uy := along(p.Course)
	slices.SortStableFunc(out, func(a, b item) int { return cmp.Compare(a.X*ux+a.Y*uy, b.X*ux+b.Y*uy) })
	for i := range out {
		out[i].N = i + 1
	}
	return out
}

// along is the direction of the course in the photo; its right when unknown.
func along(c *inspection.Course) (x, y float64) {
	if c == nil {
		return 1, 0
	}
	dx, dy := c.ButtPx[1][0]-c.ButtPx[0][0], c.ButtPx[1][1]-c.ButtPx[0][1]
	if l := math.Hypot(dx, dy); l > 0 {
		return dx / l, dy / l
	}
	return 1, 0
}

// spread puts the numbers beside the course, to both sides and in two rows in
// turn, so that those of neighbours do not cover each other.
func spread(items []item, size float64, c *inspection.Course) {
	ux, uy := along(c)
	for i := range items {
		far := size * []float64{4, -4, 7.5, -7.5}[i%4]
		items[i].LX, items[i].LY = items[i].X-uy*far, items[i].Y+ux*far
	}
}

// decided begins the item of a target, unless it is sound.
func (l list) decided(a review.Answers, p inspection.Photo, target, result string) (item, bool) {
	what, by := a.Answer(p.SHA256, target)
	var it item
	if by != nil {
		it.Note = by.Note
	}
	switch what {
	case review.Wrong:
		it.State = l.say("decided: wrong")
	case review.Sound, review.NoNail:
		return it, false
	case review.Unsure:
		it.State, it.undecided = l.say("look, or measure by hand"), true
	case review.Conflict:
		it.State, it.undecided = l.say("people disagree: ask the supervisor"), true
	default:
		switch result {
		case "suspect":
			it.State = l.say("not decided yet")
		case "unresolved":
			it.State, it.undecided = l.say("look, or measure by hand"), true
		default:
			return it, false
		}
	}
	return it, true
}

// ended sees that an item says something, and what to do.
func (l list) ended(it item) item {
	if len(it.What) == 0 {
		it.What = []string{l.say("a rule may be broken")}
	}
	if len(it.Do) == 0 || it.undecided {
		it.Do = append([]string{l.say("Look, or measure by hand.")}, it.Do...)
	}
	return it
}

// place puts the mark of a piece in the middle of its butt, that of a joint at
// its foot.
func (l list) place(it *item, p inspection.Photo, f inspection.Finding) {
	if p.Course == nil {
		return
	}
	if f.Joint != nil {
		it.Name = l.say("Joint %d of the course below", *f.Joint+1) // an index; people count from 1
		if *f.Joint >= 0 && *f.Joint < len(p.Course.LowerJoints) {
			at := p.Course.LowerJoints[*f.Joint].Px
			it.X, it.Y = at[0], at[1]
		}
		return
	}
	if f.Piece == nil {
		return
	}
	it.Name = l.say("Piece %d", *f.Piece)
	for _, q := range p.Course.Pieces {
		if q.ID == *f.Piece {
			it.X, it.Y = (q.LeftPx[0]+q.RightPx[0])/2, (q.LeftPx[1]+q.RightPx[1])/2
		}
	}
}
