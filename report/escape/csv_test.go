package escape

import (
	"encoding/csv"
	"errors"
	"slices"
	"strings"
	"testing"
)

func TestCell(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", ""},
		{"a file name", "roof 1-2.jpg", "roof 1-2.jpg"},
		{"a sign inside", "a=b+c@d", "a=b+c@d"},
		{"a sign behind a space", "bent - mend", "bent - mend"},
		{"a lone minus, a cell that was left out", "-", "-"},
		{"equals", "=1+1", "'=1+1"},
		{"plus", "+1", "'+1"},
		{"minus", "-cmd|' /C calc'!A0", "'-cmd|' /C calc'!A0"},
		{"at", "@SUM(A1)", "'@SUM(A1)"},
		{"wide forms", "\uff1d1;\uff0b1;\uff0d1;\uff201", "'\uff1d1;'\uff0b1;'\uff0d1;'\uff201"},
		{"behind a semicolon", "a;=1", "a;'=1"},
		{"behind a comma", "a,=1", "a,'=1"},
		{"behind a tab", "a\t@1", "a\t'@1"},
		{"behind a bar", "a|+1", "a|'+1"},
		{"behind the end of a line", "a\n-1\r-2\r\n-3", "a\n'-1\r'-2\r\n'-3"},
		{"behind each", ";=1;=2", ";'=1;'=2"},
		{"behind separators in a row", ";;=1", ";;'=1"},
		{"behind spaces", "a; \u00a0=1", "a; \u00a0'=1"},
		{"behind a quote", `a;"=1`, `a;"'=1`},
		{"behind quotes", `a;""=1`, `a;""'=1`},
		{"behind a control character", "\x00=1", "\x00'=1"},
		{"behind a mark of direction", "\u202e=1", "\u202e'=1"},
		{"a lone sign behind a separator", "a;-", "a;'-"},
		{"guarded already", "'=1", "''=1"},
	} {
		if got := cell(c.in); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Whatever reads the lines, and splits them wherever, finds no cell that begins
// with a sign unless the cell is a figure of ours.
func TestCSV(t *testing.T) {
	attacks := []string{
		`=HYPERLINK("http://a.example")`, `x;=1`, "x\t=1", `x";=1`, `x;"=1`, `x,=1`, "x\n=1", "x\r=1", `";"=1`, `;-`, `";-`, "\t", "@1", `x;""";=1`, "|=1",
	}
	var b strings.Builder
	c := NewCSV(&b, []string{"a", "b", "c", "d"})
	for _, a := range attacks {
		for _, next := range attacks {
			c.Row("1", a, next, "-25.40")
		}
	}
	if err := c.Flush(); err != nil {
		t.Fatal(err)
	}
	text, ok := strings.CutPrefix(b.String(), "\ufeff")
	if !ok || !strings.HasPrefix(text, "a,b,c,d\r\n1,\"'=HYPERLINK(\"\"http://a.example\"\")\",") {
		t.Errorf("begins with %.80q", b.String())
	}
	for _, separators := range []string{",", ";", "\t", "|", ",;", ",;\t"} {
		for _, quotes := range []bool{true, false} {
			for _, cell := range split(text, separators, quotes) {
				if s := strings.TrimSuffix(strings.TrimLeft(cell, "\"\r "), "\r"); s != "" && strings.ContainsRune("=+-@", rune(s[0])) && s != "-25.40" {
					t.Fatalf("split at %q (quotes are heeded: %v): a cell %.60q", separators, quotes, cell)
				}
			}
		}
	}
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(rows) != 1+len(attacks)*len(attacks) {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for i, row := range rows[1:] {
		// encoding/csv gives back \r\n as \n, and no attack has that.
		if want := []string{"1", attacks[i/len(attacks)], attacks[i%len(attacks)], "-25.40"}; FromCell(row[1]) != want[1] || FromCell(row[2]) != want[2] || row[0] != want[0] || row[3] != want[3] {
			t.Errorf("row %d: %q, want %q", i, row, want)
		}
	}
}

// split takes lines apart as a careless reader does: at any of the separators,
// minding quotes only where a cell begins with one.
func split(text, separators string, quotes bool) (cells []string) {
	var cell strings.Builder
	quoted := false
	for i, r := range text {
		switch {
		case quotes && r == '"' && (quoted || cell.Len() == 0):
			quoted = !quoted
			if quoted && i > 0 && text[i-1] == '"' { // a quote that is written twice
				cell.WriteRune('"')
			}
		case !quoted && (r == '\n' || strings.ContainsRune(separators, r)):
			cells = append(cells, cell.String())
			cell.Reset()
		default:
			cell.WriteRune(r)
		}
	}
	return append(cells, cell.String())
}

func TestCSVQuotesText(t *testing.T) {
	var b strings.Builder
	c := NewCSV(&b, []string{"a"})
	c.Row("", "0", "-1.50", "12", "1e5", "true", "-", "a b", "1 in", "0x1", "- 1")
	if err := c.Flush(); err != nil || b.String() != "\ufeffa\r\n,0,-1.50,12,\"1e5\",\"true\",\"-\",\"a b\",\"1 in\",\"0x1\",\"'- 1\"\r\n" {
		t.Errorf("%v, %q", err, b.String())
	}
}

type full struct{}

var errFull = errors.New("no room")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestCSVTellsErrors(t *testing.T) {
	c := NewCSV(full{}, []string{"a"})
	for range 1000 { // more than a buffer
		c.Row("some text")
	}
	if err := c.Flush(); !errors.Is(err, errFull) {
		t.Errorf("got %v", err)
	}
	c = NewCSV(full{}, []string{"a"})
	if err := c.Flush(); !errors.Is(err, errFull) {
		t.Errorf("got %v at the end", err)
	}
}

func FuzzCell(f *testing.F) {
	for _, s := range []string{"a;=1", "''=1", "-", "'", "a;'-", "\t\"=", "\xff=1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := cell(s)
		if back := FromCell(got); back != s {
			t.Fatalf("%q became %q and then %q", s, got, back)
		}
		parts := strings.FieldsFunc(got, func(r rune) bool { return strings.ContainsRune(",;|\t\r\n", r) })
		if i := slices.IndexFunc(parts, func(p string) bool { return p != "" && strings.ContainsRune("=+-@", rune(p[0])) }); i >= 0 && s != "-" {
			t.Fatalf("%q holds a formula, %q", got, parts[i])
		}
	})
}
