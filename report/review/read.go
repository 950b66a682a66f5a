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
		line = bytes.TrimSpace(line)
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
