package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"coursegauge/report/inspection"
)

// Span is a stretch of days, both inside it, as 2026-05-04; "" leaves a side
// open. Photos without a date lie in no span but the one that is open on both.
type Span struct{ From, To string }

// Crew is somebody of whom the ledger has photos.
type Crew struct {
	Name        string
	First, Last string // days; "" when no photo has a date
	Photos      int
	Undated     int // of these, without a date
}

// Work is what one crew did in a span: nothing of anybody else.
type Work struct {
	Crew    string
	Span    Span
	Jobs    []Job
	Photos  []Photo // by day, then as they were taken; those without a date first
	LeftOut int     // photos of the crew without a date that a span with a side leaves out
}

// Dated is the work without the photos that have no date: what can be put in
// order of time.
func (w Work) Dated() Work {
	n := 0
	for n < len(w.Photos) && w.Photos[n].Day == "" {
		n++
	}
	w.Photos = w.Photos[n:]
	return w
}

// Job is an inspection that the work comes from.
type Job struct {
	ID, Title, Folder string
	Product           Product // zero where nothing is known
}

// Photo is one photo with what was seen in it.
type Photo struct {
	Job     int // index in Jobs
	SHA256  string
	File    string
	Day     string // "" when the file does not say
	Taken   string
	Refused string // the reason; "" for a measured one
	Heads   []Head
	Pieces  []Piece
	Found   []Finding
	Missed  int // heads that only people saw
	row     int64
}

// Head is a head with its lengths from its own piece, nil where there is none.
type Head struct {
	N                     int
	Px                    inspection.XY
	RadiusPx              float64
	Piece                 int // -1 when it lies on none
	AboveButt             *inspection.Length
	LeftEnd, RightEnd     *inspection.Length
	LowerJoint, NextJoint *inspection.Length // LowerJoint is signed: positive to the right of the head
	Drive, Verdict        string
	Answer                string            // of people; "" while they did not decide
	Rules                 map[string]string // results by rule
}

// Piece is one shingle; Width is nil when an end was out of sight.
type Piece struct {
	N     int
	Width *inspection.Length
}

// Finding is a rule about a piece, or a joint (Piece -1).
type Finding struct {
	Piece                int
	Rule, Result, Answer string
}

// Crews are all of whom the ledger has photos, by name; photos of nobody are
// left out.
func (l *Ledger) Crews(ctx context.Context) (out []Crew, err error) {
	r, err := l.db.QueryContext(ctx, "SELECT crew, coalesce(min(nullif(day, '')), ''), max(day), count(*), sum(day = '') FROM photo WHERE counted = 1 AND crew <> '' GROUP BY crew ORDER BY crew")
	if err != nil {
		return nil, l.fault("read", err)
	}
	defer r.Close()
	for r.Next() {
		var c Crew
		if err := r.Scan(&c.Name, &c.First, &c.Last, &c.Photos, &c.Undated); err != nil {
			return nil, l.fault("read", err)
		}
		out = append(out, c)
	}
	if err := r.Err(); err != nil {
		return nil, l.fault("read", err)
	}
	return out, nil
}

// The queries of a sheet. Each finds the crew's photos of the span by the index
// photo_by_crew, and what hangs on them by its primary key.
const (
	ofCrew = ` p.crew = ?1 AND p.counted = 1 AND p.day >= ?2 AND p.day <= ?3 `

	photosOfCrew = `SELECT p.id, p.inspection, p.sha256, p.file, p.day, p.taken, p.reason,
		(SELECT count(*) FROM missed m WHERE m.photo = p.id) FROM photo p WHERE` + ofCrew + `ORDER BY p.day, p.taken, p.file, p.id`

	undatedOfCrew = `SELECT count(*) FROM photo p WHERE p.crew = ?1 AND p.counted = 1 AND p.day = ''`

	headsOfCrew = `SELECT h.photo, h.n, h.x_px, h.y_px, h.radius_px, h.piece, h.above_butt, h.above_butt_u, h.left_end, h.left_end_u,
		h.right_end, h.right_end_u, h.lower_joint, h.lower_joint_u, h.next_joint, h.next_joint_u, h.drive, h.rules, h.verdict, h.answer
		FROM photo p CROSS JOIN head h ON h.photo = p.id WHERE` + ofCrew

	piecesOfCrew = `SELECT q.photo, q.n, q.width, q.width_u FROM photo p CROSS JOIN piece q ON q.photo = p.id WHERE` + ofCrew

	findingsOfCrew = `SELECT f.photo, f.piece, f.rule, f.result, f.answer FROM photo p CROSS JOIN finding f ON f.photo = p.id WHERE` + ofCrew

	jobsOfCrew = `SELECT i.id, i.key, i.title, i.folder, coalesce(i.width, 0), coalesce(i.height, 0), coalesce(i.exposure, 0),
		coalesce(i.band_low, 0), coalesce(i.band_high, 0), coalesce(i.end_min, 0), coalesce(i.end_max, 0), coalesce(i.clearance, 0), coalesce(i.per_piece, 0)
		FROM inspection i WHERE i.id IN (SELECT p.inspection FROM photo p WHERE` + ofCrew + `) ORDER BY i.made, i.id`
)

// Of is the work of one crew in a span.
func (l *Ledger) Of(ctx context.Context, crew string, s Span) (Work, error) {
	w := Work{Crew: crew, Span: s}
	// One transaction, so that a writer in between cannot tear the answers apart.
	tx, err := l.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err == nil {
		defer tx.Rollback()
		err = w.read(ctx, tx)
	}
	if err != nil {
		return Work{}, l.fault("read", err)
	}
	return w, nil
}

// bounds are the span as the queries take it: open sides beyond any day.
func (s Span) bounds() (from, to string) {
	if from, to = s.From, s.To; from == "" && to != "" {
		from = "0" // after no date, before every day
	}
	if to == "" {
		to = "~"
	}
	return from, to
}

func (w *Work) read(ctx context.Context, db rows) error {
	jobs := map[int64]int{}
	if err := w.each(ctx, db, jobsOfCrew, func(r *sql.Rows) error {
		var id int64
		var j Job
		p := &j.Product
		if err := r.Scan(&id, &j.ID, &j.Title, &j.Folder, &p.Width, &p.Height, &p.Exposure, &p.BandLow, &p.BandHigh, &p.EndMin, &p.EndMax, &p.Clearance, &p.PerPiece); err != nil {
			return err
		}
		j.ID = j.ID[:min(len(j.ID), 8)]
		jobs[id] = len(w.Jobs)
		w.Jobs = append(w.Jobs, j)
		return nil
	}); err != nil {
		return err
	}
	at := map[int64]int{}
	if err := w.each(ctx, db, photosOfCrew, func(r *sql.Rows) error {
		var p Photo
		var job int64
		if err := r.Scan(&p.row, &job, &p.SHA256, &p.File, &p.Day, &p.Taken, &p.Refused, &p.Missed); err != nil {
			return err
		}
		p.Job = jobs[job]
		at[p.row] = len(w.Photos)
		w.Photos = append(w.Photos, p)
		return nil
	}); err != nil {
		return err
	}
	if w.Span != (Span{}) {
		if err := db.QueryRowContext(ctx, undatedOfCrew, w.Crew).Scan(&w.LeftOut); err != nil {
			return err
		}
	}
	return w.parts(ctx, db, at)
}

// parts reads what hangs on the photos.
func (w *Work) parts(ctx context.Context, db rows, at map[int64]int) error {
	var photo int64
	if err := w.each(ctx, db, headsOfCrew, func(r *sql.Rows) error {
		h, err := scanHead(r, &photo)
		if err == nil {
			p := &w.Photos[at[photo]]
			p.Heads = append(p.Heads, h)
		}
		return err
	}); err != nil {
		return err
	}
	if err := w.each(ctx, db, piecesOfCrew, func(r *sql.Rows) error {
		var q Piece
		var width, u sql.NullFloat64
		err := r.Scan(&photo, &q.N, &width, &u)
		q.Width = measured(width, u)
		w.Photos[at[photo]].Pieces = append(w.Photos[at[photo]].Pieces, q)
		return err
	}); err != nil {
		return err
	}
	return w.each(ctx, db, findingsOfCrew, func(r *sql.Rows) error {
		var f Finding
		err := r.Scan(&photo, &f.Piece, &f.Rule, &f.Result, &f.Answer)
		w.Photos[at[photo]].Found = append(w.Photos[at[photo]].Found, f)
		return err
	})
}

func scanHead(r *sql.Rows, photo *int64) (Head, error) {
	var h Head
	var rules string
	var v [10]sql.NullFloat64
	err := r.Scan(photo, &h.N, &h.Px[0], &h.Px[1], &h.RadiusPx, &h.Piece, &v[0], &v[1], &v[2], &v[3], &v[4], &v[5], &v[6], &v[7], &v[8], &v[9],
		&h.Drive, &rules, &h.Verdict, &h.Answer)
	for i, l := range []**inspection.Length{&h.AboveButt, &h.LeftEnd, &h.RightEnd, &h.LowerJoint, &h.NextJoint} {
		*l = measured(v[2*i], v[2*i+1])
	}
	h.Rules = results(rules)
	return h, err
}

func measured(v, u sql.NullFloat64) *inspection.Length {
	if !v.Valid || !u.Valid {
		return nil
	}
	return &inspection.Length{MM: v.Float64, U: u.Float64}
}

// results reads what rules wrote.
func results(s string) map[string]string {
	out := map[string]string{}
	for word := range strings.FieldsSeq(s) {
		name, letter, _ := strings.Cut(word, ":")
		for result, l := range letters {
			if l == letter {
				out[name] = result
			}
		}
	}
	return out
}

func (w *Work) each(ctx context.Context, db rows, query string, take func(*sql.Rows) error) error {
	from, to := w.Span.bounds()
	r, err := db.QueryContext(ctx, query, w.Crew, from, to)
	if err != nil {
		return err
	}
	defer r.Close()
	for r.Next() {
		if err := take(r); err != nil {
			return fmt.Errorf("%w: %w", errDamaged, err)
		}
	}
	return r.Err()
}
