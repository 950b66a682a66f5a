// Package ledger keeps inspections over the years in one SQLite file, so that
// what a crew did can be seen over time. In: inspections with what people
// decided about them. Out: lists, a table of fasteners, the work of one crew in
// a period.
//
// A photo counts once, however many inspections hold it: in the one that was
// made last. Lengths are millimetres with standard uncertainties (k = 1).
//
// The file is whole after every call, also when the process is killed in the
// middle of one: each change is one transaction with a rollback journal, which
// needs no second file at rest. Any number of processes may use one file; who
// writes waits for the others.
package ledger

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

//go:embed schema/*.sql
var schema embed.FS

const (
	// current is the version of the schema, kept in the file as user_version.
	current = 3
	// applicationID marks the file as ours: "cgld".
	applicationID = 0x63676c64
	// patience is how long a writer waits for the others, ms.
	patience = 60_000
)

// Ledger is an open ledger. Its methods may be called by several goroutines.
type Ledger struct {
	path string
	db   *sql.DB
}

// Error is what went wrong with a ledger: one line, and what to do about it.
type Error struct {
	Op, Path string
	Cause    error
	Advice   string
}

func (e *Error) Error() string { return fmt.Sprintf("ledger %s: %s: %v", e.Path, e.Op, e.Cause) }
func (e *Error) Unwrap() error { return e.Cause }

// Hint is what to do about it, "" when that is plain.
func (e *Error) Hint() string { return e.Advice }

// The causes that callers may ask for with errors.Is.
var (
	ErrMissing  = errors.New("there is no such file")
	ErrForeign  = errors.New("this is no ledger")
	errNewer    = errors.New("it was written by a newer version of coursegauge")
	errDamaged  = errors.New("the file is damaged")
	errBusy     = errors.New("another process has been writing to it for a minute")
	ErrNotFound = errors.New("not in the ledger")
)

// Open opens the ledger at path, which must be there. One with an older schema
// is brought up to date first, whole or not at all.
func Open(path string) (*Ledger, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &Error{"open", path, ErrMissing, "ledger add DIR --ledger " + path + " makes one"}
	}
	if err == nil && info.Size() == 0 {
		return nil, &Error{"open", path, ErrForeign, "the file is empty"}
	}
	return open(path)
}

// Create opens the ledger at path and makes it where there is none.
func Create(path string) (*Ledger, error) { return open(path) }

func open(path string) (*Ledger, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, &Error{"open", path, errors.New("this is no regular file"), "name a file"}
	}
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		return nil, &Error{"open", path, errors.New("its folder is not there"), ""}
	}
	db, err := sql.Open("sqlite", source(path))
	if err != nil {
		return nil, &Error{"open", path, err, ""}
	}
	db.SetMaxOpenConns(1) // within a process calls wait here, not for the file's lock
	l := &Ledger{path, db}
	if err := l.migrate(context.Background()); err != nil {
		db.Close()
		return nil, l.fault("open", err)
	}
	return l, nil
}

// source is the driver's name for a file, whatever the file is called.
func source(path string) string {
	q := url.Values{"_txlock": {"immediate"}}
	for _, p := range []string{fmt.Sprintf("busy_timeout(%d)", patience), "foreign_keys(1)", "journal_mode(DELETE)", "synchronous(FULL)"} {
		q.Add("_pragma", p)
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + q.Encode()
}

// Close lets the file go.
func (l *Ledger) Close() error { return l.db.Close() }

// migrate brings the schema up to date. A file of a newer version, or of
// another program, is left as it is.
func (l *Ledger) migrate(ctx context.Context) error {
	version, err := l.version(ctx, l.db)
	if err != nil || version == current {
		return err
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	// Another process may have been first.
	if version, err = l.version(ctx, tx); err != nil {
		return err
	}
	for v := version + 1; v <= current; v++ {
		step, err := schema.ReadFile(fmt.Sprintf("schema/%03d.sql", v))
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, string(step)); err != nil {
			return fmt.Errorf("schema %d: %w", v, err)
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, current)); err != nil {
		return err
	}
	return tx.Commit()
}

// rows is a database or a transaction on one.
type rows interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// version is the schema's version of the file, 0 for a fresh one.
func (l *Ledger) version(ctx context.Context, db rows) (int, error) {
	var id, version, tables int
	for q, to := range map[string]*int{"PRAGMA application_id": &id, "PRAGMA user_version": &version, "SELECT count(*) FROM sqlite_schema": &tables} {
		if err := db.QueryRowContext(ctx, q).Scan(to); err != nil {
			return 0, err
		}
	}
	switch {
	case id == 0 && version == 0 && tables == 0:
		return 0, nil
	case id != applicationID:
		return 0, ErrForeign
	case version > current:
		return 0, fmt.Errorf("%w (schema %d; this one knows up to %d)", errNewer, version, current)
	case version < 1:
		return 0, errDamaged
	}
	return version, nil
}

// sound looks the file through before it is written to: a damaged one must not
// be made worse.
func sound(ctx context.Context, db rows) error {
	var said string
	if err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return errDamaged
	}
	return nil
}

// fault words an error of the driver for people.
func (l *Ledger) fault(op string, err error) error {
	var of *sqlite.Error
	if errors.As(err, &of) {
		switch of.Code() & 0xff {
		case sqlite3.SQLITE_NOTADB:
			err = ErrForeign
		case sqlite3.SQLITE_CORRUPT:
			err = errDamaged
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
			err = errBusy
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN:
			err = errors.New("it cannot be written to")
		case sqlite3.SQLITE_FULL:
			err = errors.New("the disk is full; nothing was changed")
		}
	}
	e := &Error{op, l.path, err, ""}
	switch {
	case errors.Is(err, ErrForeign):
		e.Advice = "give the file that ledger add made"
	case errors.Is(err, errNewer):
		e.Advice = "use that version; the file was left as it is"
	case errors.Is(err, errDamaged):
		e.Advice = "it was left as it is; take a copy of before, or make a new one from the folders with ledger add"
	case errors.Is(err, errBusy):
		e.Advice = "try again when that is done"
	}
	return e
}

// change does something in one transaction, on a file that is sound.
func (l *Ledger) change(ctx context.Context, op string, do func(*sql.Tx) error) error {
	if err := sound(ctx, l.db); err != nil {
		return l.fault(op, err)
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return l.fault(op, err)
	}
	defer tx.Rollback()
	if err := do(tx); err != nil {
		return l.fault(op, err)
	}
	if err := tx.Commit(); err != nil {
		return l.fault(op, err)
	}
	return nil
}
