package schedule

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// legalKeys lists the keys of a section; "" is the top of the file.
func legalKeys(section string) []string {
	var keys []string
	for _, f := range fields {
		head, tail, inSection := strings.Cut(f.key, ".")
		switch {
		case section == "" && !slices.Contains(keys, head):
			keys = append(keys, head)
		case section != "" && inSection && head == section:
			keys = append(keys, tail)
		}
	}
	return keys
}

func requiredKeys() []string {
	var keys []string
	for _, f := range fields {
		if f.required {
			keys = append(keys, f.key)
		}
	}
	return keys
}

func fieldOf(key string) (field, bool) {
	i := slices.IndexFunc(fields, func(f field) bool { return f.key == key })
	if i < 0 {
		return field{}, false
	}
	return fields[i], true
}

// unknownKey says what the writer may have meant: a near key of the section,
// or the same key where it belongs.
func unknownKey(section, key string) string {
	legal := legalKeys(section)
	text := fmt.Sprintf("unknown key %s", shorten(key))
	if section != "" {
		text += " in " + section
	}
	text += "; legal keys are " + strings.Join(legal, ", ")
	if hint := didYouMean(key, legal); hint != "" {
		return text + hint
	}
	for _, f := range fields {
		if head, tail, ok := strings.Cut(f.key, "."); ok && tail == key {
			return text + fmt.Sprintf("; hint: %s belongs under %s", key, head)
		}
	}
	return text
}

// didYouMean is a hint with the nearest legal word, or "".
func didYouMean(word string, legal []string) string {
	best, least := "", 3
	for _, l := range legal {
		if d := distance(strings.ToLower(word), l); d < least && d < len(l) {
			best, least = l, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf("; hint: did you mean %s?", best)
}

// distance counts the letters to insert, delete or replace between two words
// (Levenshtein). Words far too long for any key are far from all of them.
func distance(a, b string) int {
	if len(a) > 40 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		corner := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := corner
			if a[i] != b[j] {
				change++
			}
			corner = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// scalarOf is the text of a single value.
func scalarOf(node ast.Node) (scalar, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		return scalar{text: n.Value}, true
	case *ast.LiteralNode:
		return scalar{text: n.Value.Value}, true
	case *ast.IntegerNode, *ast.FloatNode:
		return scalar{text: n.GetToken().Value, number: true}, true
	}
	return scalar{}, false
}

// named says what stands in the file where something else should.
func named(node ast.Node) string {
	switch n := node.(type) {
	case nil, *ast.NullNode:
		return "nothing"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a group of keys"
	case *ast.SequenceNode:
		return "a list"
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		return "a YAML anchor, alias or tag, which a schedule does not use"
	default:
		return shorten(n.GetToken().Value)
	}
}

// example shows how a section is written.
func example(section string) string {
	switch section {
	case "":
		return "title: Lot 7"
	case "next_course":
		return "next_course: {stagger: observed}"
	case "fasteners":
		return "fasteners: {per_piece: 4}"
	case "decision":
		return "decision: {suspect: 0.5, clear: 0.05}"
	}
	return section + ": {" + legalKeys(section)[0] + ": ...}"
}

// hintOf shows a value that a key takes, when there is a usual one.
func hintOf(f field) string {
	if f.fallback == "" {
		return ""
	}
	return fmt.Sprintf(", as in %q", f.fallback)
}
