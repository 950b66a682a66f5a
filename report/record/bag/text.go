package bag

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/ianaindex"
)

// Declaration is bagit.txt.
type Declaration struct {
	Version string // "1.0"
	text    encoding.Encoding
}

var (
	versionLine  = regexp.MustCompile(`^BagIt-Version: ([0-9]+\.[0-9]+)$`)
	encodingLine = regexp.MustCompile(`^Tag-File-Character-Encoding: ([A-Za-z0-9._:-]+)$`)
)

// versions are those whose rules are known.
const versions = "0.93, 0.94, 0.95, 0.96, 0.97, 1.0"

// parseDeclaration reads bagit.txt (RFC 8493, 2.1.1): two lines, in UTF-8
// without a byte order mark.
func parseDeclaration(data []byte) (Declaration, error) {
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return Declaration{}, errors.New("begins with a byte order mark, which must not be there")
	case !utf8.Valid(data):
		return Declaration{}, errors.New("is not UTF-8")
	}
	l := lines(string(data))
	if len(l) != 2 {
		return Declaration{}, fmt.Errorf("has %d lines; it has two, BagIt-Version and Tag-File-Character-Encoding", len(l))
	}
	v := versionLine.FindStringSubmatch(l[0])
	if v == nil {
		return Declaration{}, fmt.Errorf("line 1 is \"%.60s\"; \"BagIt-Version: 1.0\" is needed", l[0])
	}
	if !strings.Contains(", "+versions+",", ", "+v[1]+",") {
		return Declaration{}, fmt.Errorf("is of version %.20s; known are %s", v[1], versions)
	}
	e := encodingLine.FindStringSubmatch(l[1])
	if e == nil {
		return Declaration{}, fmt.Errorf("line 2 is \"%.60s\"; \"Tag-File-Character-Encoding: UTF-8\" is needed", l[1])
	}
	text, err := ianaindex.IANA.Encoding(e[1])
	if err != nil || text == nil {
		return Declaration{}, fmt.Errorf("names the encoding \"%.40s\", which is not known", e[1])
	}
	return Declaration{v[1], text}, nil
}

// decode gives the text of a tag file in the bag's encoding.
func (d Declaration) decode(data []byte) (string, error) {
	out, err := d.text.NewDecoder().Bytes(data)
	if err != nil {
		return "", fmt.Errorf("is not in the encoding that %s names: %w", DeclarationFile, err)
	}
	// The decoder puts the replacement character in place of what it cannot read.
	if bad := []byte(string(utf8.RuneError)); bytes.Contains(out, bad) && !bytes.Contains(data, bad) {
		return "", fmt.Errorf("is not in the encoding that %s names", DeclarationFile)
	}
	return string(out), nil
}

// lines splits at LF, CR or CRLF; an end without one is a line too.
func lines(s string) []string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.ReplaceAll(s, "\r", "\n")
	s = strings.TrimSuffix(s, "\n")
	if s == "" {
		return nil
	}
	return strings.Split(s, "\n")
}

// Info is bag-info.txt: labels with values, in order, repeated ones too.
type Info []Field

// Field is one label of bag-info.txt and its value.
type Field struct{ Label, Value string }

// parseInfo reads the text of bag-info.txt (RFC 8493, 2.2.2). A value goes on
// in lines that begin with a space or a tab.
func parseInfo(text string) (Info, error) {
	var out Info
	for n, l := range lines(text) {
		if strings.TrimSpace(l) == "" {
			continue
		}
		if l[0] == ' ' || l[0] == '\t' {
			if len(out) == 0 {
				return nil, fmt.Errorf("line %d goes on with a value where none began", n+1)
			}
			out[len(out)-1].Value += "\n" + strings.TrimSpace(l)
			continue
		}
		label, value, ok := strings.Cut(l, ":")
		if label = strings.TrimSpace(label); !ok || label == "" {
			return nil, fmt.Errorf("line %d is \"%.60s\"; \"Label: value\" is needed", n+1, l)
		}
		out = append(out, Field{label, strings.TrimSpace(value)})
	}
	return out, nil
}

// All are the values of a label, whatever its case, in order.
func (in Info) All(label string) (values []string) {
	for _, f := range in {
		if strings.EqualFold(f.Label, label) {
			values = append(values, f.Value)
		}
	}
	return values
}

// Get is the first value of a label, "" without.
func (in Info) Get(label string) string {
	if v := in.All(label); len(v) > 0 {
		return v[0]
	}
	return ""
}

// text is the file; a value keeps to its line.
func (in Info) text() string {
	var b strings.Builder
	for _, f := range in {
		fmt.Fprintf(&b, "%s: %s\n", f.Label, strings.Join(strings.Fields(f.Value), " "))
	}
	return b.String()
}
