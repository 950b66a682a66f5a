package ledger

import (
	"context"
	"database/sql"
	"io"
	"slices"
	"strconv"
	"strings"

	"coursegauge/report/escape"
	"coursegauge/vision/length"
)

// exported are the columns of a table of fasteners. A length has four: value
// and U95 in inches and in millimetres. lower_joint is signed: positive when
// the joint lies to the right of the head.
var exported = []string{"inspection", "title", "day", "taken", "crew", "device", "file", "sha256", "fastener", "verdict", "decision", "suspect_rules", "unresolved_rules", "drive", "piece", "x_px", "y_px"}

var exportedLengths = []string{"above_butt", "left_end", "right_end", "lower_joint", "next_joint", "diameter"}

const exportQuery = `SELECT substr(i.key, 1, 8), i.title, p.day, p.taken, p.crew, p.device, p.file, p.sha256, h.n, h.verdict, h.answer, h.rules, h.drive, h.piece, h.x_px, h.y_px,
	h.above_butt, h.above_butt_u, h.left_end, h.left_end_u, h.right_end, h.right_end_u, h.lower_joint, h.lower_joint_u, h.next_joint, h.next_joint_u, h.diameter, h.diameter_u
	FROM photo p CROSS JOIN inspection i ON i.id = p.inspection CROSS JOIN head h ON h.photo = p.id WHERE p.counted = 1 ORDER BY p.day, i.id, p.file, h.n`

const exportMissed = `SELECT substr(i.key, 1, 8), i.title, p.day, p.taken, p.crew, p.device, p.file, p.sha256, m.x_px, m.y_px
	FROM missed m JOIN photo p ON p.id = m.photo JOIN inspection i ON i.id = p.inspection WHERE p.counted = 1 ORDER BY p.day, i.id, p.file, m.target`

// Export writes one row a fastener in the form of escape.CSV, each photo once;
// heads that only people saw come last, with the verdict "missed".
func (l *Ledger) Export(ctx context.Context, w io.Writer) error {
	header := slices.Clone(exported)
	for _, name := range exportedLengths {
		header = append(header, name+"_in", name+"_u95_in", name+"_mm", name+"_u95_mm")
	}
	c := escape.NewCSV(w, header)
	for _, part := range []struct {
		query string
		row   func(*sql.Rows) ([]string, error)
	}{{exportQuery, headRow}, {exportMissed, missedRow}} {
		if err := l.exportPart(ctx, c, part.query, part.row); err != nil {
			return err
		}
	}
	return c.Flush()
}

func (l *Ledger) exportPart(ctx context.Context, c *escape.CSV, query string, row func(*sql.Rows) ([]string, error)) error {
	r, err := l.db.QueryContext(ctx, query)
	if err != nil {
		return l.fault("export", err)
	}
	defer r.Close()
	for r.Next() {
		cells, err := row(r)
		if err != nil {
			return l.fault("export", err)
		}
		for i := range cells { // a photo, a schedule, a person or another's ledger said so
			cells[i] = escape.Text(cells[i])
		}
		c.Row(cells...)
	}
	if err := r.Err(); err != nil {
		return l.fault("export", err)
	}
	return nil
}

func headRow(r *sql.Rows) ([]string, error) {
	var s [12]string // up to file, then verdict to drive
	var sha string
	var n, piece int
	var x, y float64
	var v [12]sql.NullFloat64
	to := []any{&s[0], &s[1], &s[2], &s[3], &s[4], &s[5], &s[6], &sha, &n, &s[7], &s[8], &s[9], &s[10], &piece, &x, &y}
	for i := range v {
		to = append(to, &v[i])
	}
	if err := r.Scan(to...); err != nil {
		return nil, err
	}
	of := ""
	if piece >= 0 {
		of = strconv.Itoa(piece)
	}
	out := append(slices.Clone(s[:7]), sha, strconv.Itoa(n), s[7], s[8], withResult(s[9], "s"), withResult(s[9], "u"), s[10], of, decimal(x, 2), decimal(y, 2))
	for i := range exportedLengths {
		out = append(out, lengthCells(v[2*i], v[2*i+1])...)
	}
	return out, nil
}

func missedRow(r *sql.Rows) ([]string, error) {
	var s [7]string
	var sha string
	var x, y float64
	if err := r.Scan(&s[0], &s[1], &s[2], &s[3], &s[4], &s[5], &s[6], &sha, &x, &y); err != nil {
		return nil, err
	}
	out := append(slices.Clone(s[:]), sha, "", "missed", "missed", "", "", "", "", decimal(x, 2), decimal(y, 2))
	return append(out, make([]string, 4*len(exportedLengths))...), nil
}

func withResult(rules, letter string) string {
	var out []string
	for word := range strings.FieldsSeq(rules) {
		if name, l, _ := strings.Cut(word, ":"); l == letter {
			out = append(out, name)
		}
	}
	return strings.Join(out, " ")
}

func lengthCells(v, u sql.NullFloat64) []string {
	if !v.Valid || !u.Valid {
		return make([]string, 4)
	}
	in, u95 := float64(length.Inch), length.K95*u.Float64
	return []string{decimal(v.Float64/in, 3), decimal(u95/in, 3), decimal(v.Float64, 2), decimal(u95, 2)}
}

func decimal(v float64, n int) string { return strconv.FormatFloat(v, 'f', n, 64) }
