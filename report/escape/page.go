package escape

import (
	"bytes"
	"html/template"
	"io"
	"unicode/utf8"
)

// Execute fills a template of a page, as t.ExecuteTemplate does, and escapes what is
// filled in and the eye would not see; html/template escapes what is markup. So a
// name cannot turn the direction of what stands around it.
func Execute(w io.Writer, t *template.Template, name string, data any) error {
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return err
	}
	_, err := w.Write(markup(b.Bytes()))
	return err
}

// markup is a page in which all that Text escapes is escaped, but for ends of lines,
// tabs and backslashes.
func markup(page []byte) []byte {
	out, from := []byte(nil), 0
	for i := 0; i < len(page); {
		if c := page[i]; c >= ' ' && c < 0x7f || c == '\n' || c == '\r' || c == '\t' {
			i++
			continue
		}
		r, size := utf8.DecodeRune(page[i:])
		if written := string(page[i : i+size]); form(r, written) != written {
			out = append(append(out, page[from:i]...), form(r, written)...)
			from = i + size
		}
		i += size
	}
	if out == nil {
		return page
	}
	return append(out, page[from:]...)
}
