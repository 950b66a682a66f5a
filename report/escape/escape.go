// Package escape prints text of unknown origin, such as a file name or a field of a
// document, so that it can neither leave its line nor change what stands around it.
package escape

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text is s on one line, with nothing in it that a terminal obeys or that the eye
// does not see: control characters, line and paragraph separators, controls of
// direction, invisible characters and bytes that are not UTF-8 are escaped as in
// Go. A backslash is doubled, so that different texts stay different.
func Text(s string) string {
	if !strings.ContainsFunc(s, escaped) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		b.WriteString(form(r, s[i:i+size]))
		i += size
	}
	return b.String()
}

// escaped is true of utf8.RuneError too, which a byte that is not UTF-8 is read as.
func escaped(r rune) bool {
	return r == '\\' || r == utf8.RuneError || !unicode.IsGraphic(r) ||
		unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// form is one character as it is printed; written is how it stands in the text.
func form(r rune, written string) string {
	switch {
	case r == utf8.RuneError && len(written) == 1:
		return fmt.Sprintf(`\x%02X`, written[0])
	case r == utf8.RuneError || !escaped(r):
		return written
	case r == '\\':
		return `\\`
	case r == '\n':
		return `\n`
	case r == '\r':
		return `\r`
	case r == '\t':
		return `\t`
	case r < utf8.RuneSelf:
		return fmt.Sprintf(`\x%02X`, r)
	case r <= 0xffff:
		return fmt.Sprintf(`\u%04X`, r)
	}
	return fmt.Sprintf(`\U%08X`, r)
}
