// Package yamltext reads the small YAML files that people write by hand. In:
// the bytes of a file. Out: its one document as nodes, or one line that says
// where the file is wrong. It lets nothing reach the YAML parser that is known
// to harm it.
package yamltext

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Error is one fault of a file: a single line "file:line:column: what is
// wrong; what is legal".
type Error struct {
	File         string
	Line, Column int // from 1
	Text         string
}

func (e *Error) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text)
}

// At is a fault at a node of a file.
func At(file string, node ast.Node, format string, args ...any) *Error {
	return atToken(file, node.GetToken(), fmt.Sprintf(format, args...))
}

func atToken(file string, t *token.Token, text string) *Error {
	e := &Error{file, 1, 1, oneLine(text)}
	if t != nil && t.Position != nil {
		e.Line, e.Column = max(t.Position.Line, 1), max(t.Position.Column, 1)
	}
	return e
}

// Parse gives the one document of a file, nil when the file says nothing. noun
// is what such a file is called in messages, "a schedule". The error is an
// *Error.
func Parse(file, noun string, data []byte) (body ast.Node, err error) {
	if line, err := guard(noun, data); err != nil {
		return nil, &Error{file, max(line, 1), 1, err.Error()}
	}
	// The parser is young and panics on some broken texts; for the reader of
	// the message that is one more way to be no YAML.
	defer func() {
		if recover() != nil {
			body, err = nil, &Error{file, 1, 1, "this is no YAML; compare it with the example in the README"}
		}
	}()
	tree, err := parser.ParseBytes(bytes.TrimPrefix(data, []byte("\ufeff")), 0, parser.AllowDuplicateMapKey())
	if err != nil {
		if located, ok := err.(yaml.Error); ok {
			return nil, atToken(file, located.GetToken(), "this is no YAML: "+located.GetMessage())
		}
		return nil, &Error{file, 1, 1, oneLine("this is no YAML: " + err.Error())}
	}
	var bodies []ast.Node
	for _, d := range tree.Docs {
		if d.Body != nil {
			bodies = append(bodies, d.Body)
		}
	}
	if len(bodies) > 1 {
		return nil, At(file, bodies[1], "a second document begins here; %s is one document, without %% and --- lines inside", noun)
	}
	if len(bodies) == 0 {
		return nil, nil
	}
	return bodies[0], nil
}

// oneLine keeps a message on one line whatever the file holds.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
