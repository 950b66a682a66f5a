package schedule

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"coursegauge/report/yamltext"
)

// Error is one fault of a file: a single line "file:line:column: what is
// wrong; what is legal".
type Error = yamltext.Error

// place is where a key stands in the file.
type place struct{ line, column int }

// reader collects the values of one file.
type reader struct {
	file     string
	schedule Schedule
	seen     map[string]place // keys and sections met so far
}

// Read reads a schedule; name is the file's name for messages. The error is an
// *Error with the first fault found.
func Read(name string, data []byte) (Schedule, error) {
	r := reader{file: name, seen: map[string]place{}}
	sum := sha256.Sum256(data)
	r.schedule.File, r.schedule.SHA256 = name, hex.EncodeToString(sum[:])
	body, err := yamltext.Parse(name, "a schedule", data)
	if err != nil {
		return Schedule{}, err
	}
	for _, step := range []func() error{
		func() error { return r.mapping("", body) },
		r.complete,
		r.check,
	} {
		if err := step(); err != nil {
			return Schedule{}, err
		}
	}
	return r.schedule, nil
}

// mapping takes the keys of one section; section is "" at the top.
func (r *reader) mapping(section string, node ast.Node) error {
	if node == nil {
		return nil
	}
	m, ok := node.(*ast.MappingNode)
	if !ok {
		return r.fault(node, "%s holds keys, as in %q; here stands %s", cmp.Or(section, "a schedule"), example(section), named(node))
	}
	for _, pair := range m.Values {
		if err := r.pair(section, pair); err != nil {
			return err
		}
	}
	return nil
}

// pair takes one "key: value".
func (r *reader) pair(section string, pair *ast.MappingValueNode) error {
	name, ok := pair.Key.(*ast.StringNode)
	if !ok {
		return r.fault(pair.Key, "%s is no key; legal keys are %s", shorten(pair.Key.GetToken().Value), strings.Join(legalKeys(section), ", "))
	}
	key := name.Value
	if !slices.Contains(legalKeys(section), key) {
		return r.fault(pair.Key, "%s", unknownKey(section, key))
	}
	if section != "" {
		key = section + "." + key
	}
	if first, twice := r.seen[key]; twice {
		return r.fault(pair.Key, "%s stands twice, first in line %d; keep one", key, first.line)
	}
	position := name.GetToken().Position
	r.seen[key] = place{position.Line, position.Column}
	f, ok := fieldOf(key)
	if !ok {
		return r.mapping(key, pair.Value)
	}
	v, ok := scalarOf(pair.Value)
	if !ok {
		return r.fault(cmp.Or[ast.Node](pair.Value, pair.Key), "%s needs one value%s; here stands %s", key, hintOf(f), named(pair.Value))
	}
	if err := f.set(&r.schedule, v); err != nil {
		return r.fault(pair.Value, "%s: %s", key, err)
	}
	return nil
}

// complete finds missing keys and sets the defaults.
func (r *reader) complete() error {
	for _, f := range fields {
		if _, ok := r.seen[f.key]; ok {
			continue
		}
		if f.required {
			at := r.where(f.key)
			return &Error{File: r.file, Line: at.line, Column: at.column, Text: fmt.Sprintf("%s is missing; required are %s", f.key, strings.Join(requiredKeys(), ", "))}
		}
		if f.fallback == "" {
			continue
		}
		if err := f.set(&r.schedule, scalar{text: f.fallback, number: true}); err != nil {
			return fmt.Errorf("default of %s: %w", f.key, err)
		}
		r.schedule.Defaults = append(r.schedule.Defaults, f.key)
	}
	// A product with few fasteners needs no more in a short piece than in a whole one.
	if r.schedule.IsDefault("cut.short_count") {
		r.schedule.Cut.ShortCount = min(r.schedule.Cut.ShortCount, r.schedule.Fasteners.PerPiece)
	}
	return nil
}

// check looks for values that cannot be true together.
func (r *reader) check() error {
	for _, c := range checks {
		text := c.say(r.schedule)
		if text == "" {
			continue
		}
		key := c.key
		if r.schedule.IsDefault(key) {
			text += fmt.Sprintf("; %s is a default here: set it", key)
			key = c.other
		} else if r.schedule.IsDefault(c.other) {
			text += fmt.Sprintf("; %s is a default here: set it", c.other)
		}
		at := r.where(key)
		return &Error{File: r.file, Line: at.line, Column: at.column, Text: text}
	}
	return nil
}

// where is the place of a key, else of its section, else the file's start.
func (r *reader) where(key string) place {
	if at, ok := r.seen[key]; ok {
		return at
	}
	section, _, _ := strings.Cut(key, ".")
	if at, ok := r.seen[section]; ok {
		return at
	}
	return place{1, 1}
}

func (r *reader) fault(node ast.Node, format string, args ...any) error {
	return yamltext.At(r.file, node, format, args...)
}
