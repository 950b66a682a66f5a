package escape

import (
	"encoding/json"
	"errors"
	"reflect"
	"strconv"
	"testing"
	"unicode"
	"unicode/utf8"
)

func TestText(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", ""},
		{"a file name", "IMG 0001 (2).jpg", "IMG 0001 (2).jpg"},
		{"letters with marks", "Küche-ñ-e\u0301.jpg", "Küche-ñ-e\u0301.jpg"},
		{"other scripts and spaces", "屋根\u3000\u00a0🏠", "屋根\u3000\u00a0🏠"},
		{"replacement character, valid", "a\ufffdb", "a\ufffdb"},
		{"line ends and tabs", "a\r\n\tb", `a\r\n\tb`},
		{"colour of a terminal", "\x1b[32mok", `\x1B[32mok`},
		{"title of a terminal", "\x1b]0;x\a", `\x1B]0;x\x07`},
		{"zero and delete", "\x00\x7f", `\x00\x7F`},
		{"C1 controls", "\u0085\u009b31m", `\u0085\u009B31m`},
		{"byte of a C1 control", "\x9b31m", `\x9B31m`},
		{"bytes that are not UTF-8", "a\xff\xc3", `a\xFF\xC3`},
		{"a surrogate", "\xed\xa0\x80", `\xED\xA0\x80`},
		{"line and paragraph separator", "a\u2028b\u2029c", `a\u2028b\u2029c`},
		{"marks of direction", "\u061c\u200e\u200f", `\u061C\u200E\u200F`},
		{"embeddings and overrides", "\u202a\u202b\u202c\u202d\u202egpj.exe", `\u202A\u202B\u202C\u202D\u202Egpj.exe`},
		{"isolates", "\u2066\u2067\u2068\u2069", `\u2066\u2067\u2068\u2069`},
		{"zero width", "\u200b\u200c\u200d\ufeff\u2060\u00ad", `\u200B\u200C\u200D\uFEFF\u2060\u00AD`},
		{"invisible letters and marks", "\u3164\u115f\u034f\ufe0f", `\u3164\u115F\u034F\uFE0F`},
		{"tag characters", "\U000e0041", `\U000E0041`},
		{"private use and unassigned", "\ue000\u0378", `\uE000\u0378`},
		{"backslash", `a\n`, `a\\n`},
		{"backslash before a line end", "\\\n", `\\\n`},
	} {
		if got := Text(c.in); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// FuzzText holds what is printed to its promises, by the standard library's own tables
// and by its reader of quoted text, which gives the text back.
func FuzzText(f *testing.F) {
	for _, s := range []string{"a", "\x1b[2J", "\u202e\xff\\", "\U000e0041\ufffd\r\n", `\u202E`, `"'` + "`"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := Text(s)
		if !utf8.ValidString(got) {
			t.Fatalf("%q is not UTF-8", got)
		}
		for _, r := range got {
			if unicode.In(r, unicode.C, unicode.Zl, unicode.Zp, unicode.Bidi_Control, unicode.Join_Control) {
				t.Fatalf("%q holds %U", got, r)
			}
		}
		back, rest := "", got
		for rest != "" {
			r, wide, tail, err := strconv.UnquoteChar(rest, 0)
			if err != nil {
				t.Fatalf("%q: %v", got, err)
			}
			if rest = tail; wide {
				back += string(r)
			} else {
				back += string([]byte{byte(r)})
			}
		}
		if back != s {
			t.Fatalf("%q was printed as %q, which reads %q", s, got, back)
		}
	})
}

func TestJSON(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"plain", "{\n \"a\": \"ü \\n\"\n}\n", "{\n \"a\": \"ü \\n\"\n}\n"},
		{"C1 control and delete", "\"\u009b\x7f\"", `"\u009b\u007f"`},
		{"direction", "\"\u202ea\"", `"\u202ea"`},
		{"beyond 16 bits", "\"\U000e0041\"", `"\udb40\udc41"`},
	} {
		if got := JSON(c.in); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		var before, after any
		if err := errors.Join(json.Unmarshal([]byte(c.in), &before), json.Unmarshal([]byte(JSON(c.in)), &after)); err != nil || !reflect.DeepEqual(before, after) {
			t.Errorf("%s: %v became %v: %v", c.name, before, after, err)
		}
	}
}
