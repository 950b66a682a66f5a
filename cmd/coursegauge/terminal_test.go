package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode"
)

// hostile is a text that forges a line of ours, clears a terminal, turns the
// direction and hides.
const hostile = "x\n  complete and unchanged\r\x1b[2J\u009b31m\u0085\u202egpj\u2066\u2028\u200b\U000e0041"

// escapedHostile is how it is shown.
const escapedHostile = `x\n  complete and unchanged\r\x1B[2J\u009B31m\u0085\u202Egpj\u2066\u2028\u200B\U000E0041`

// obeyed is the first place of a text that a terminal or the eye would obey,
// by the standard library's tables; "" when there is none.
func obeyed(text string) string {
	i := strings.IndexFunc(text, func(r rune) bool {
		return unicode.In(r, unicode.C, unicode.Zl, unicode.Zp) && r != '\n' && r != '\t' && r != '\r'
	})
	if i < 0 {
		return ""
	}
	return fmt.Sprintf("%q", text[max(0, i-40):min(len(text), i+10)])
}

func TestTerminalShowsForeignText(t *testing.T) {
	type named string
	inJSON := strings.NewReplacer(`\`, `\\`).Replace(escapedHostile)
	for _, c := range []struct {
		name string
		say  func(t *terminal)
		want string
	}{
		{"what was asked for", func(t *terminal) { t.say("%s: %d photos", hostile, 3) }, escapedHostile + ": 3 photos\n"},
		{"on the way", func(t *terminal) { t.tell("%v", hostile) }, escapedHostile + "\n"},
		{"a type of its own", func(t *terminal) { t.tell("%s", named(hostile)) }, escapedHostile + "\n"},
		{"a warning", func(t *terminal) { t.warn("%s", hostile) }, "warning: " + escapedHostile + "\n"},
		{"an error within a line", func(t *terminal) { t.warn("left out: %v", errors.New("a\nb\x1b")) }, `warning: left out: a b\x1B` + "\n"},
		{"a hint", func(t *terminal) { t.hint("look at " + hostile) }, "hint: look at " + escapedHostile + "\n"},
		{"the error that ends it", func(t *terminal) { t.fail(usageError{"no a\x1b\u202e\nb", "not \x1b"}) }, `coursegauge: no a\x1B\u202E b` + "\nhint: not \\x1B\n"},
		{"bytes that are not UTF-8", func(t *terminal) { t.say("%s", "a\xff") }, `a\xFF` + "\n"},
		{"a backslash", func(t *terminal) { t.say("%s", `C:\new\x1b`) }, `C:\new\x1b` + "\n"},
		{"what is escaped already", func(t *terminal) { t.say("%s", escapedHostile) }, escapedHostile + "\n"},
		{"a log", func(t *terminal) {
			_ = t.logAs(logJSON)
			t.warn("%s", hostile)
		}, `"level":"WARN","msg":"` + inJSON + `"}` + "\n"},
		{"the error in a log", func(t *terminal) {
			_ = t.logAs(logJSON)
			t.fail(usageError{"no \u202e", "\u202e"})
		}, `"msg":"no \\u202E","hint":"\\u202E"}` + "\n"},
	} {
		var b strings.Builder
		c.say(&terminal{out: &b, err: &b})
		if got := b.String(); got != c.want && !(strings.HasPrefix(got, `{"time":`) && strings.HasSuffix(got, c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A program reads the same text from the answer, and a terminal obeys nothing in it.
func TestJSONKeepsForeignText(t *testing.T) {
	var b strings.Builder
	tm := &terminal{out: &b, err: &b}
	if err := tm.json(map[string]string{hostile: hostile + `\` + "\x7f"}); err != nil {
		t.Fatal(err)
	}
	if err := tm.logAs(logJSON); err != nil {
		t.Fatal(err)
	}
	answer := b.String()
	tm.log.Info("photo", "file", hostile)
	if bad := obeyed(b.String()); bad != "" {
		t.Errorf("holds %s", bad)
	}
	var back map[string]string
	if err := json.Unmarshal([]byte(answer), &back); err != nil || back[hostile] != hostile+`\`+"\x7f" {
		t.Errorf("%v: %q came back as %q", err, hostile, back)
	}
	var line struct{ File string }
	if err := json.Unmarshal([]byte(b.String()[len(answer):]), &line); err != nil || line.File != hostile {
		t.Errorf("%v: %q came back as %q", err, hostile, line.File)
	}
}
