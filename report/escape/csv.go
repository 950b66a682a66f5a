package escape

import (
	"bufio"
	"io"
	"regexp"
	"strings"
)

// CSV writes rows for spreadsheets: RFC 4180, UTF-8 with a byte order mark, which
// spreadsheets need to tell the encoding. Figures stand as they are; every other
// cell is quoted and goes through Cell.
type CSV struct {
	w   *bufio.Writer
	err error
}

// NewCSV begins a table with the names of its columns, which are words of ours.
func NewCSV(w io.Writer, columns []string) *CSV {
	c := &CSV{w: bufio.NewWriter(w)}
	_, c.err = c.w.WriteString("\ufeff" + strings.Join(columns, ",") + "\r\n")
	return c
}

var figure = regexp.MustCompile(`^(-?[0-9]+(\.[0-9]+)?)?$`)

// Row writes one row. An error is kept for Flush.
func (c *CSV) Row(cells ...string) {
	for i, s := range cells {
		if !figure.MatchString(s) {
			s = `"` + strings.ReplaceAll(cell(s), `"`, `""`) + `"`
		}
		if i > 0 {
			s = "," + s
		}
		c.write(s)
	}
	c.write("\r\n")
}

func (c *CSV) write(s string) {
	if c.err == nil {
		_, c.err = c.w.WriteString(s)
	}
}

// Flush ends the table and tells the first error.
func (c *CSV) Flush() error {
	if c.err == nil {
		c.err = c.w.Flush()
	}
	return c.err
}

// formula is where a spreadsheet would begin to read a formula: at the beginning of a
// text, and behind whatever it may be told to split the lines at. Spaces and quotes in
// between are skipped, as some programs do. The signs are those of the keyboard and
// their wide forms.
var formula = regexp.MustCompile("((?:^|[,;|\t\r\n])[\\pZ\\pC\"]*)('*[=+\\-@\uff1d\uff0b\uff0d\uff20])")

// cell is a text in which a spreadsheet finds no formula, even one that splits it: an
// apostrophe stands before each place that would begin one. A lone "-" begins none.
func cell(s string) string {
	if s == "-" {
		return s
	}
	return formula.ReplaceAllString(s, "$1'$2")
}

var guarded = regexp.MustCompile("((?:^|[,;|\t\r\n])[\\pZ\\pC\"]*)'('*[=+\\-@\uff1d\uff0b\uff0d\uff20])")

// FromCell is the text of which Cell made s.
func FromCell(s string) string { return guarded.ReplaceAllString(s, "$1$2") }
