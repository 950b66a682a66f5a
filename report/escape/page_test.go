package escape

import (
	"errors"
	"html/template"
	"strings"
	"testing"
)

func TestExecute(t *testing.T) {
	page := template.Must(template.New("page").Parse("<p title=\"{{.}}\">\r\n\t{{.}}</p>"))
	for _, c := range []struct{ name, in, want string }{
		{"plain", "roof ñ 屋根", "roof ñ 屋根"},
		{"a backslash", `a\b`, `a\b`},
		{"an override", "a\u202egpj", `a\u202Egpj`},
		{"several", "\u2066\u2069\u200b\x1b[2J\u0085", `\u2066\u2069\u200B\x1B[2J\u0085`},
		{"bytes that are not UTF-8", "a\xffb", `a\xFFb`},
		{"a replacement character", "a\ufffdb", "a\ufffdb"},
		{"beyond 16 bits", "\U000e0041🏠", `\U000E0041🏠`},
		{"markup", "<b>\u202e", `&lt;b&gt;\u202E`},
	} {
		var b strings.Builder
		if err := Execute(&b, page, "page", c.in); err != nil {
			t.Fatal(err)
		}
		if want := "<p title=\"" + c.want + "\">\r\n\t" + c.want + "</p>"; b.String() != want {
			t.Errorf("%s: %q, want %q", c.name, b.String(), want)
		}
	}
}

func TestExecuteTellsErrors(t *testing.T) {
	page := template.Must(template.New("page").Parse("<p>{{.None}}</p>"))
	var b strings.Builder
	if err := Execute(&b, page, "page", 1); err == nil || b.Len() > 0 {
		t.Errorf("%v, %q", err, b.String())
	}
	if err := Execute(full{}, page, "page", map[string]string{}); !errors.Is(err, errFull) {
		t.Errorf("got %v", err)
	}
}
