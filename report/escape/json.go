package escape

import (
	"fmt"
	"strings"
	"unicode/utf16"
)

// JSON is a JSON document that means the same, with what Text escapes escaped within
// its strings; line ends and spaces between its values stay. A backslash is JSON's
// own there and stays too.
func JSON(document string) string {
	var b strings.Builder
	for _, r := range document {
		switch {
		case r < ' ' || r == '\\' || !escaped(r): // JSON has no control character of ASCII within a string
			b.WriteRune(r)
		case r <= 0xffff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		}
	}
	return b.String()
}
