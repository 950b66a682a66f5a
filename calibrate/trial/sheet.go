package trial

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"coursegauge/report/escape"
)

// Row is one head to be taped. A head is known by its place in the photo, so
// that the photos can be inspected anew without spoiling the sheet.
type Row struct {
	No    int // on the sheet and on its printed picture
	Photo string
	Head  int     // its number in the report at the time, a help for people only
	X, Y  float64 // px, upright picture
	Side  Side    // to which end of the piece End is taped
	Typed map[Kind]string
	Name  string // the same name in several photos: the same head
	Note  string
	line  int // in the file, 0 when made here
}

// touched tells whether a person wrote anything into the row.
func (r Row) touched() bool {
	for _, text := range r.Typed {
		if _, s, _ := readCell(text); s != blank && s != skipped {
			return true
		}
	}
	return r.Name != "" || r.Note != ""
}

// Touched counts the rows in which a person wrote anything.
func Touched(rows []Row) (n int) {
	for _, r := range rows {
		if r.touched() {
			n++
		}
	}
	return n
}

// columns of the sheet, in order.
var columns = []string{"no", "photo", "head", string(AboveButt), string(End), "side", string(LowerJoint), "name", "note", "x_px", "y_px"}

// ErrSheet is the kind of every fault in what a person typed.
var ErrSheet = errors.New("sheet")

// sheetError is a fault of the sheet; its text is one line.
type sheetError string

func (e sheetError) Error() string { return string(e) }

// Is makes every fault of a sheet an ErrSheet.
func (e sheetError) Is(target error) bool { return target == ErrSheet }

func faulty(format string, args ...any) error { return sheetError(fmt.Sprintf(format, args...)) }

// EncodeSheet writes the rows in the form of escape.CSV, so that no text in them
// begins a formula. A photo's name is as it is; it must be found again.
func EncodeSheet(w io.Writer, rows []Row) error {
	c := escape.NewCSV(w, columns)
	px := func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
	for _, r := range rows {
		c.Row(strconv.Itoa(r.No), r.Photo, strconv.Itoa(r.Head), r.Typed[AboveButt], r.Typed[End], string(r.Side), r.Typed[LowerJoint], r.Name, r.Note, px(r.X), px(r.Y))
	}
	return c.Flush()
}

const (
	maxSheet = 4 << 20 // bytes
	maxRows  = 10_000
)

// DecodeSheet reads a sheet as a spreadsheet may have saved it: with commas,
// semicolons or tabs, columns in any order, more columns than ours. name is the
// file's name for messages; every error is an ErrSheet of one line.
func DecodeSheet(name string, data []byte) ([]Row, error) {
	if len(data) > maxSheet {
		return nil, faulty("%s: %d bytes; a sheet has at most %d", name, len(data), maxSheet)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	c := csv.NewReader(bytes.NewReader(data))
	c.Comma = separator(data)
	c.FieldsPerRecord = -1
	c.LazyQuotes = true // people write 5-3/16" without quoting it
	header, err := c.Read()
	if err != nil {
		return nil, faulty("%s: no header line; make the sheet with: coursegauge trial new DIR", name)
	}
	at := map[string]int{}
	for i, h := range header {
		at[strings.ToLower(strings.TrimSpace(h))] = i
	}
	for _, want := range columns {
		if _, ok := at[want]; !ok && want != "note" && want != "name" && want != "head" {
			return nil, faulty("%s:1: column %s is missing; keep the header line as it was: %s", name, want, strings.Join(columns, ","))
		}
	}
	var rows []Row
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		line, _ := c.FieldPos(0)
		if err != nil {
			return nil, faulty("%s: %s; save the sheet as CSV", name, strings.Join(strings.Fields(err.Error()), " "))
		}
		if empty(record) {
			continue
		}
		if len(rows) == maxRows {
			return nil, faulty("%s: more than %d rows", name, maxRows)
		}
		r, err := readRow(func(column string) string {
			if i, ok := at[column]; ok && i < len(record) {
				return escape.FromCell(strings.TrimSpace(record[i]))
			}
			return ""
		})
		if err != nil {
			return nil, faulty("%s:%d: %s", name, line, err)
		}
		r.line = line
		if i := slices.IndexFunc(rows, func(o Row) bool { return o.No == r.No }); i >= 0 {
			return nil, faulty("%s:%d: no %d stands twice, first in line %d; keep one", name, line, r.No, rows[i].line)
		}
		rows = append(rows, r)
	}
}

func empty(record []string) bool {
	return !slices.ContainsFunc(record, func(s string) bool { return strings.TrimSpace(s) != "" })
}

// separator is what stands most often in the header line.
func separator(data []byte) rune {
	header, _, _ := bytes.Cut(data, []byte("\n"))
	best, most := ',', 0
	for _, s := range ",;\t" {
		if n := bytes.Count(header, []byte(string(s))); n > most {
			best, most = s, n
		}
	}
	return best
}

// readRow takes one record apart; lengths are read, so that each is known to
// be one, and kept as they were typed.
func readRow(get func(column string) string) (Row, error) {
	r := Row{Photo: get("photo"), Side: Side(strings.ToLower(get("side"))), Name: get("name"), Note: get("note"), Typed: map[Kind]string{}}
	var err error
	if r.No, err = strconv.Atoi(get("no")); err != nil || r.No < 1 {
		return r, fmt.Errorf("no %q: the row's number is needed; do not change it", get("no"))
	}
	if r.Photo == "" {
		return r, fmt.Errorf("no %d: photo is empty; do not change it", r.No)
	}
	r.Head, _ = strconv.Atoi(get("head"))
	for column, to := range map[string]*float64{"x_px": &r.X, "y_px": &r.Y} {
		v, err := strconv.ParseFloat(strings.Replace(get(column), ",", ".", 1), 64)
		if err != nil || !(v > -1e6 && v < 1e6) {
			return r, fmt.Errorf("no %d: %s %q is no place in a picture; do not change it", r.No, column, get(column))
		}
		*to = v
	}
	if r.Side != "" && r.Side != Left && r.Side != Right {
		return r, fmt.Errorf("no %d: side %q: left or right, the end of the piece that was taped to", r.No, r.Side)
	}
	for _, k := range kinds {
		text := strings.TrimPrefix(get(string(k)), "'") // some type it so that a fraction stays text
		if _, _, err := readCell(text); err != nil {
			return r, fmt.Errorf("no %d, %s: %s", r.No, k, err)
		}
		if text != "" {
			r.Typed[k] = text
		}
	}
	return r, nil
}
