package page

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/vision/length"
)

// RuleWords says in plain words what a rule looks at; one that this version does
// not have is shown as it stands.
func RuleWords(rule string) string {
	if t, ok := judge.TextsOf(rule); ok {
		return t.Label
	}
	return say(nil, rule)
}

var resultWords = map[string]string{
	"suspect": "suspect", "unresolved": "unresolved", "clear": "clear", "not_judged": "not judged",
}

var reasonWords = map[string]string{
	"unreadable": "the file cannot be read", "no_card": "no card in sight", "two_cards": "more than one card in sight",
	"card_cropped": "the card runs out of the picture", "card_bent": "the card is bent", "card_wrong_size": "the card has the wrong size",
	"blurred": "the photo is blurred", "exposure": "the photo is too bright or too dark", "far": "the card is too far away",
	"oblique": "taken too much from the side", "no_open_course": "no open course in sight",
}

// ReasonWords says in plain words for what reason a photo is refused.
func ReasonWords(reason string) string { return say(reasonWords, reason) }

var endWords = map[string]string{
	"joint": "joint", "rake": "rake", "cut": "cut end", "frame": "out of the picture", "hidden": "hidden",
}

// sourceWords says where uncertainty comes from.
var sourceWords = map[length.Source]string{
	length.Localisation: "place of head and edge in the picture", length.Corners: "corners of the card", length.Lens: "lens",
	length.Height: "height of card and head", length.Surface: "surface of the shingles", length.Bend: "bend of the card", length.Print: "printed size of the card",
	length.Product: "edges of the courses, lengths of the product",
}

// say looks a word of the file up; an unknown one is shown as it stands.
func say(words map[string]string, key string) string {
	if w, ok := words[key]; ok {
		return w
	}
	return strings.ReplaceAll(key, "_", " ")
}

// cell is a length for a table: inches with U95 first, millimetres small.
type cell struct{ Inches, Millimetres string }

func lengthCell(l *inspection.Length) *cell {
	if l == nil {
		return nil
	}
	m := length.New(length.MM(l.MM), length.MM(l.U))
	return &cell{m.String(), m.StringMM()}
}

// percent tells a probability; neither certainty is ever claimed.
func percent(p float64) string {
	switch {
	case p < 0.01:
		return "under 1 %"
	case p > 0.99:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

func countOf(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + one + "s"
}

// num prints a coordinate: two decimals, none that say nothing.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func capital(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// sentence ends a text with a full stop.
func sentence(s string) string {
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
