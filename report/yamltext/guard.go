package yamltext

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

// The limits that a file must keep before the YAML parser sees it. The
// parser's memory grows with the square of the nesting: 20 kB of opening
// brackets take more than half a gigabyte.
const (
	maxBytes = 64 << 10
	maxDepth = 50
)

// guard refuses a file that could harm the parser or is no text at all. It
// knows nothing of quoting and so counts some brackets that are only text;
// a real file stays far below the limits.
func guard(noun string, data []byte) (line int, err error) {
	if len(data) > maxBytes {
		return 1, fmt.Errorf("the file has %d bytes; %s has at most %d", len(data), noun, maxBytes)
	}
	brackets := 0
	var indents []int
	for text := range bytes.Lines(data) {
		line++
		if !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0 {
			return line, fmt.Errorf("the file is not UTF-8 text; save it as plain text")
		}
		indents = indent(indents, text)
		deepest := brackets
		for _, c := range text {
			switch c {
			case '[', '{':
				brackets++
				deepest = max(deepest, brackets)
			case ']', '}':
				brackets = max(0, brackets-1)
			}
		}
		if deepest+len(indents) > maxDepth {
			return line, fmt.Errorf("nested deeper than %d; %s needs two levels", maxDepth, noun)
		}
	}
	return line, nil
}

// indent gives the columns at which the blocks that hold this line begin,
// from those of the line before. The marks "- ", "? " and ": " at a line's
// start open a block each.
func indent(open []int, text []byte) []int {
	column := 0
	push := func() {
		for len(open) > 0 && open[len(open)-1] >= column {
			open = open[:len(open)-1]
		}
		open = append(open, column)
	}
	for i, c := range text {
		switch {
		case c == ' ' || c == '\t':
			column++
		case (c == '-' || c == '?' || c == ':') && i+1 < len(text) && bytes.IndexByte([]byte(" \t\r\n"), text[i+1]) >= 0:
			push()
			column++
		case c == '\r' || c == '\n':
			return open
		default:
			push()
			return open
		}
	}
	return open
}
