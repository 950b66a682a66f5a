package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
)

// Inspection is a line of the ledger.
type Inspection struct {
	ID       string `json:"id"` // short name, good for Remove
	Title    string `json:"title"`
	Folder   string `json:"folder"`
	Made     string `json:"made"`
	First    string `json:"first"` // days of its photos
	Last     string `json:"last"`
	Undated  int    `json:"undated"` // photos without a date
	Photos   int    `json:"photos"`
	Refused  int    `json:"refused"`
	Heads    int    `json:"fasteners"`
	Counted  int    `json:"counted"` // photos that count here, not in a later inspection
	Decided  int    `json:"decided"` // heads that people decided about
	schedule string
	row      int64
}

const listed = `SELECT i.id, i.key, i.title, i.folder, i.made, i.schedule,
	coalesce((SELECT min(nullif(day, '')) FROM photo p WHERE p.inspection = i.id), ''), coalesce((SELECT max(day) FROM photo p WHERE p.inspection = i.id), ''),
	(SELECT count(*) FROM photo p WHERE p.inspection = i.id AND p.day = ''),
	(SELECT count(*) FROM photo p WHERE p.inspection = i.id),
	(SELECT count(*) FROM photo p WHERE p.inspection = i.id AND p.status = 'refused'),
	(SELECT count(*) FROM photo p WHERE p.inspection = i.id AND p.counted = 1),
	(SELECT count(*) FROM photo p JOIN head h ON h.photo = p.id WHERE p.inspection = i.id),
	(SELECT count(*) FROM photo p JOIN head h ON h.photo = p.id WHERE p.inspection = i.id AND h.answer <> '')
	FROM inspection i `

// List is every inspection, by the first day of its photos.
func (l *Ledger) List(ctx context.Context) ([]Inspection, error) {
	out, err := list(ctx, l.db, listed+"ORDER BY 7, i.made, i.id")
	if err != nil {
		return nil, l.fault("list", err)
	}
	return out, nil
}

func list(ctx context.Context, db rows, query string, args ...any) (out []Inspection, err error) {
	r, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	for r.Next() {
		var i Inspection
		if err := r.Scan(&i.row, &i.ID, &i.Title, &i.Folder, &i.Made, &i.schedule, &i.First, &i.Last, &i.Undated, &i.Photos, &i.Refused, &i.Counted, &i.Heads, &i.Decided); err != nil {
			return nil, err
		}
		i.ID = i.ID[:min(len(i.ID), 8)]
		out = append(out, i)
	}
	return out, r.Err()
}

func (l *Ledger) one(ctx context.Context, db rows, row int64) (Inspection, error) {
	all, err := list(ctx, db, listed+"WHERE i.id = ?", row)
	if err != nil {
		return Inspection{}, err
	}
	if len(all) == 0 {
		return Inspection{}, errDamaged
	}
	return all[0], nil
}

// Find is the inspection of that short name, or else of that folder.
func (l *Ledger) Find(ctx context.Context, name string) (Inspection, error) {
	abs, err := filepath.Abs(name)
	if err != nil {
		return Inspection{}, err
	}
	found, err := list(ctx, l.db, listed+"WHERE i.folder = ? ORDER BY i.made DESC, i.id DESC", abs)
	if err == nil && len(found) == 0 && len(name) >= 4 && strings.Trim(name, "0123456789abcdef") == "" {
		found, err = list(ctx, l.db, listed+"WHERE substr(i.key, 1, ?) = ?", len(name), name)
	}
	switch {
	case err != nil:
		return Inspection{}, l.fault("find", err)
	case len(found) == 0:
		return Inspection{}, &Error{"find", l.path, fmt.Errorf("%q is %w", name, ErrNotFound), "ledger list --ledger " + l.path + " shows what is there; give the folder or the short name"}
	case len(found) > 1:
		return Inspection{}, &Error{"find", l.path, fmt.Errorf("%q is several: %s and %s", name, found[0].ID, found[1].ID), "give the short name of one"}
	}
	return found[0], nil
}

// Remove takes an inspection out. Photos that an earlier inspection holds too
// count there again.
func (l *Ledger) Remove(ctx context.Context, name string) (Inspection, error) {
	found, err := l.Find(ctx, name)
	if err != nil {
		return found, err
	}
	return found, l.change(ctx, "remove", func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "UPDATE inspection SET made = '' WHERE id = ?", found.row); err != nil {
			return err // as the earliest of all it counts for nothing that others hold
		}
		if _, err := recount(ctx, tx, found.row); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "DELETE FROM inspection WHERE id = ?", found.row)
		return err
	})
}
