package sheet

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"

	"coursegauge/report/escape"
	"coursegauge/report/judge"
	"coursegauge/report/ledger"
	"coursegauge/report/review"
	"coursegauge/report/sign"
)

// Whole is a photo as an attribute src="data:...", with the size of the photo
// that the ledger's pixels count in. The zero value is none.
type Whole struct {
	Src           template.HTMLAttr
	Width, Height int
}

// exercise is the walk through one exercise as the template takes it.
type exercise struct {
	base
	Lead  string
	Steps []step
	Print *plot
	Facts []fact
}

// Tight tells that there are so many photos that the printed page must be set
// closely to stay one.
func (e exercise) Tight() bool { return len(e.Steps) > 14 }

// step is one photo of the walk.
type step struct {
	N, Before, Next int // 0 where there is none
	Heading, File   string
	Refused         bool
	Whole
	Size  float64
	Marks []ring
	Lines []string
	short int // how many of the lines go on the printed page
}

// printed is how many lines fit on the printed page, in all.
const printed = 34

// Short are the lines for the printed page; More are those that it leaves out.
func (e step) Short() []string { return e.Lines[:min(e.short, len(e.Lines))] }
func (e step) More() int       { return len(e.Lines) - len(e.Short()) }

type ring struct {
	X, Y, TextX, TextY float64
	R                  float64
	Text, Class, Sign  string
}

// WriteExercise writes the photos of one exercise in the order they were taken,
// each with what is to be looked at, and for the printer one page with all of
// it. The work must be of one crew and one inspection.
func WriteExercise(w io.Writer, work ledger.Work, pictures func(ledger.Photo) Whole, l Look) error {
	return writeExercise(w, work, pictures, l, newSpeaker(l.Lang))
}

func writeExercise(w io.Writer, work ledger.Work, pictures func(ledger.Photo) Whole, l Look, s speaker) error {
	d := exercise{base: newBase(s.say("Exercise of %s", work.Crew), work.Crew, l, s)}
	if len(work.Jobs) > 0 {
		d.Lead = work.Jobs[0].Title
	}
	st := newStudy(work)
	for i, p := range work.Photos {
		e := step{
			N: i + 1, Before: i, Next: (i + 2) % (len(work.Photos) + 1), File: p.File, Refused: p.Refused != "", Whole: pictures(p),
			Heading: s.say("Photo %s of %s", s.count(i+1), s.count(len(work.Photos))),
		}
		e.findings(s, p, work.Jobs[p.Job].Product)
		d.Steps = append(d.Steps, e)
	}
	for i := range d.Steps {
		d.Steps[i].short = max(1, printed/max(1, len(d.Steps)))
	}
	if len(st.frames) > 0 {
		d.Print = s.piecePlot("print", &st.frames[0], slices.DeleteFunc(slices.Clone(st.points), func(q point) bool { return q.frame != &st.frames[0] || math.IsNaN(q.x) }))
	}
	d.Facts = []fact{{s.say("photos"), s.count(st.Photos)}, {s.say("nails"), s.count(st.Heads.Judged() + st.Heads.Open)}, {s.say("bad"), s.count(st.Heads.Bad)}, {s.say("cannot be told"), s.count(st.Heads.Open)}}
	return escape.Execute(w, templates, "exercise.html.tmpl", d)
}

// findings are what is to be looked at in a photo, and its marks.
func (e *step) findings(s speaker, p ledger.Photo, q ledger.Product) {
	e.Size = float64(max(e.Width, e.Height, 1)) / 45
	for _, h := range p.Heads {
		stands := standing(h.Verdict, h.Answer)
		if h.Answer == review.NoNail || stands != bad && stands != open {
			continue
		}
		what := s.faults(h, q)
		if len(what) == 0 {
			what = []string{s.say("a rule may be broken")}
		}
		for _, t := range what {
			if stands == open {
				t += ": " + s.say("look, or measure by hand")
			}
			e.Lines = append(e.Lines, s.say("Nail %s", s.count(h.N))+": "+t)
		}
		n := len(e.Marks)
		m := ring{X: h.Px[0], Y: h.Px[1], R: max(h.RadiusPx*1.8, e.Size/2), TextX: h.Px[0], Text: s.count(h.N), Class: statusClass[stands]}
		m.Sign = sign.Path(verdicts[stands], m.R)
		m.TextY = m.Y - m.R - e.Size*(.4+1.1*float64(n%2)) // in two rows in turn
		e.Marks = append(e.Marks, m)
	}
	for _, f := range p.Found {
		stands := standing(f.Result, f.Answer)
		if stands != bad && stands != open {
			continue
		}
		text := s.named(f.Rule)
		if key, ok := pieceHabits[f.Rule]; ok {
			text = s.say(habitWords[key].short)
		}
		if stands == open {
			text += ": " + s.say("look, or measure by hand")
		}
		if f.Piece >= 0 {
			text = s.say("Piece %s", s.count(f.Piece)) + ": " + text
		}
		e.Lines = append(e.Lines, text)
	}
}

// faults are the rules that a nail breaks, or may break, in words.
func (s speaker) faults(h ledger.Head, q ledger.Product) (out []string) {
	said := map[string]bool{}
	for _, r := range habitRules {
		stands := ruleStanding(h, r.rule)
		length, limit, is := r.is(h, q)
		if stands != bad && stands != open || !is {
			continue
		}
		said[r.rule] = true
		text := s.say(habitWords[r.key].short)
		if !math.IsNaN(length) && limit > 0 {
			text = fmt.Sprintf("%s (%s)", text, s.say("%s; the limit is %s", s.tape(length), s.tape(limit)))
		}
		out = append(out, text)
	}
	for _, t := range judge.AllTexts() {
		if stands := ruleStanding(h, t.Rule); (stands == bad || stands == open) && !said[t.Rule] {
			out = append(out, s.named(t.Rule))
		}
	}
	return out
}
