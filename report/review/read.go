package review

import (
	"bytes"
	"fmt"
)

// ReadAll reads the lines of a file that was made elsewhere. Unlike the log, it
// is refused as a whole when one line of it is not of the form: the error names
// the line.
func ReadAll(name string, data []byte) (out []Decision, err error) {
	n := 0
	for line := range bytes.Lines(data) {
		n++
		line = trimmed(line)
		if len(line) == 0 {
			continue
		}
		d, err := Parse(line)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, n, err)
		}
		out = append(out, d)
	}
	return out, nil
}

// trimmed is a line without what surrounds it: space, and the byte order mark
// that some programs put before the first line, and files one after the other
// before others.
func trimmed(line []byte) []byte {
	return bytes.TrimSpace(bytes.TrimPrefix(line, []byte("\ufeff")))
}
