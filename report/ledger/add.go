package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

// Outcome says what Add did.
type Outcome struct {
	Inspection Inspection
	Same       bool // it was there already, exactly so: nothing was written
	Renewed    bool // it was there and has changed, decisions for example
	Again      int  // photos that another inspection holds too; the later made counts
	Twice      int  // files of the inspection that are copies of others in it; left out
}

// Add takes inspections in, all or none of them. One that is there already,
// exactly so, changes nothing; one that was judged anew or decided about since
// is replaced. When nothing is new the file is not written to.
func (l *Ledger) Add(ctx context.Context, entries ...Entry) ([]Outcome, error) {
	out, err := l.allKnown(ctx, l.db, entries)
	if err != nil {
		return nil, l.fault("add", err)
	}
	if !slices.ContainsFunc(out, func(o Outcome) bool { return !o.Same }) {
		return out, nil
	}
	err = l.change(ctx, "add", func(tx *sql.Tx) error {
		for i, e := range entries {
			var err error
			if out[i], err = l.known(ctx, tx, e); err != nil { // another process may have been first
				return err
			}
			if !out[i].Same {
				if err := l.put(ctx, tx, e, &out[i]); err != nil {
					return err
				}
			}
		}
		return nil
	})
	return out, err
}

func (l *Ledger) allKnown(ctx context.Context, db rows, entries []Entry) ([]Outcome, error) {
	out := make([]Outcome, len(entries))
	for i, e := range entries {
		var err error
		if out[i], err = l.known(ctx, db, e); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// known tells whether an inspection is there, and whether exactly so.
func (l *Ledger) known(ctx context.Context, db rows, e Entry) (out Outcome, err error) {
	var id int64
	var content string
	switch err := db.QueryRowContext(ctx, "SELECT id, content FROM inspection WHERE key = ?", e.key()).Scan(&id, &content); {
	case errors.Is(err, sql.ErrNoRows):
		return out, nil
	case err != nil:
		return out, err
	}
	out.Renewed, out.Same = content != e.content(), content == e.content()
	if out.Same {
		out.Inspection, err = l.one(ctx, db, id)
	}
	return out, err
}

// put writes an inspection, in the place of its former self if there is one.
func (l *Ledger) put(ctx context.Context, tx *sql.Tx, e Entry, out *Outcome) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM inspection WHERE key = ?", e.key()); err != nil {
		return err
	}
	d, q := e.Document, e.Product
	if q == nil {
		q = fromRules(d)
	}
	done, err := tx.ExecContext(ctx, `INSERT INTO inspection (key, content, folder, made, tool, title, schedule,
		width, height, exposure, band_low, band_high, end_min, end_max, clearance, per_piece) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
		e.key(), e.content(), e.Folder, d.Made, d.Tool.Version, d.Schedule.Title, d.Schedule.SHA256,
		known(q.Width), known(q.Height), known(q.Exposure), known(q.BandLow), known(q.BandHigh), known(q.EndMin), known(q.EndMax), known(q.Clearance), known(float64(q.PerPiece)))
	if err != nil {
		return err
	}
	id, err := done.LastInsertId()
	if err != nil {
		return err
	}
	w, err := newWriter(ctx, tx)
	if err != nil {
		return err
	}
	defer w.close()
	have := map[string]bool{}
	for _, p := range d.Photos {
		if have[p.SHA256] {
			out.Twice++
			continue
		}
		have[p.SHA256] = true
		if err := w.photo(ctx, id, p, day(p), e.Answers); err != nil {
			return fmt.Errorf("photo %q: %w", p.File, err)
		}
	}
	if out.Again, err = recount(ctx, tx, id); err != nil {
		return err
	}
	out.Inspection, err = l.one(ctx, tx, id)
	return err
}

// recount decides anew which inspection counts for each photo of one of them,
// and tells how many of these photos others hold too.
func recount(ctx context.Context, tx *sql.Tx, id int64) (again int, err error) {
	if _, err := tx.ExecContext(ctx, `UPDATE photo SET counted = (id = (
		SELECT q.id FROM photo q JOIN inspection i ON i.id = q.inspection
		WHERE q.sha256 = photo.sha256 ORDER BY i.made DESC, i.id DESC LIMIT 1))
		WHERE sha256 IN (SELECT sha256 FROM photo WHERE inspection = ?)`, id); err != nil {
		return 0, err
	}
	err = tx.QueryRowContext(ctx, `SELECT count(DISTINCT p.sha256) FROM photo p JOIN photo q ON q.sha256 = p.sha256 AND q.inspection <> p.inspection
		WHERE p.inspection = ?`, id).Scan(&again)
	return again, err
}

// known is NULL for a length that nobody told.
func known(v float64) any {
	if v == 0 {
		return nil
	}
	return v
}

// fromRules takes what it can of the product from the limits that the heads
// were judged by.
func fromRules(d inspection.Document) *Product {
	var q Product
	for _, p := range d.Photos {
		for _, h := range p.Heads {
			for _, r := range h.Rules {
				switch r.Rule {
				case "height":
					take(&q.BandLow, r.LowMM)
					take(&q.BandHigh, r.HighMM)
				case "end":
					take(&q.EndMin, r.LowMM)
					take(&q.EndMax, r.HighMM)
				case "lower_joint":
					take(&q.Clearance, r.LowMM)
				}
			}
		}
	}
	return &q
}

func take(to, from *float64) {
	if from != nil {
		*to = *from
	}
}

// writer holds the statements of one transaction.
type writer struct{ photos, heads, pieces, findings, missed *sql.Stmt }

func newWriter(ctx context.Context, tx *sql.Tx) (*writer, error) {
	w := &writer{}
	for to, text := range map[**sql.Stmt]string{
		&w.photos: "INSERT INTO photo (inspection, sha256, file, taken, device, crew, status, reason, day) VALUES (?,?,?,?,?,?,?,?,?)",
		&w.heads: `INSERT INTO head (photo, n, x_px, y_px, radius_px, piece, above_butt, above_butt_u, left_end, left_end_u, right_end, right_end_u,
			lower_joint, lower_joint_u, next_joint, next_joint_u, diameter, diameter_u, drive, rules, verdict, answer)
			VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
		&w.pieces:   "INSERT INTO piece (photo, n, width, width_u) VALUES (?,?,?,?)",
		&w.findings: "INSERT INTO finding (photo, target, piece, rule, result, answer) VALUES (?,?,?,?,?,?)",
		&w.missed:   "INSERT INTO missed (photo, target, x_px, y_px) VALUES (?,?,?,?)",
	} {
		var err error
		if *to, err = tx.PrepareContext(ctx, text); err != nil {
			w.close()
			return nil, err
		}
	}
	return w, nil
}

func (w *writer) close() {
	for _, s := range []*sql.Stmt{w.photos, w.heads, w.pieces, w.findings, w.missed} {
		if s != nil {
			s.Close()
		}
	}
}

func (w *writer) photo(ctx context.Context, id int64, p inspection.Photo, day string, a review.Answers) error {
	reason := ""
	if p.Refusal != nil {
		reason = p.Refusal.Reason
	}
	done, err := w.photos.ExecContext(ctx, id, p.SHA256, p.File, p.Taken, p.Device, p.Crew, p.Status, reason, day)
	if err != nil {
		return err
	}
	at, err := done.LastInsertId()
	if err != nil {
		return err
	}
	for _, h := range p.Heads {
		if err := w.head(ctx, at, p, h, a); err != nil {
			return err
		}
	}
	if p.Course != nil {
		for _, q := range p.Course.Pieces {
			width, u := pair(q.Width)
			if _, err := w.pieces.ExecContext(ctx, at, q.ID, width, u); err != nil {
				return err
			}
		}
	}
	return w.rest(ctx, at, p, a)
}

func (w *writer) head(ctx context.Context, at int64, p inspection.Photo, h inspection.Fastener, a review.Answers) error {
	piece := -1
	if h.Piece != nil {
		piece = *h.Piece
	}
	args := []any{at, h.ID, h.Px[0], h.Px[1], h.RadiusPx, piece}
	for _, l := range []*inspection.Length{h.AboveButt, h.LeftEnd, h.RightEnd} {
		v, u := pair(l)
		args = append(args, v, u)
	}
	if d, ok := jointSide(p, h); ok {
		args = append(args, d, h.LowerJoint.U)
	} else {
		args = append(args, nil, nil)
	}
	for _, l := range []*inspection.Length{h.NextJoint, h.HeadDiameter} {
		v, u := pair(l)
		args = append(args, v, u)
	}
	answer, _ := a.Answer(p.SHA256, review.HeadTarget(h.ID))
	_, err := w.heads.ExecContext(ctx, append(args, h.Drive.Class, rules(h.Rules), h.Verdict, answer)...)
	return err
}

// rest writes what is about no found head.
func (w *writer) rest(ctx context.Context, at int64, p inspection.Photo, a review.Answers) error {
	targets := review.FindingTargets(p.Findings)
	for i, f := range p.Findings {
		piece := -1
		if f.Piece != nil {
			piece = *f.Piece
		}
		answer, _ := a.Answer(p.SHA256, targets[i])
		if _, err := w.findings.ExecContext(ctx, at, targets[i], piece, f.Rule, f.Result, answer); err != nil {
			return err
		}
	}
	for _, m := range a.Missed(p.SHA256) {
		px, _ := m.Place()
		if _, err := w.missed.ExecContext(ctx, at, m.Target, px[0], px[1]); err != nil {
			return err
		}
	}
	return nil
}

func pair(l *inspection.Length) (v, u any) {
	if l == nil {
		return nil, nil
	}
	return l.MM, l.U
}
