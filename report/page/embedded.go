package page

import (
	"bytes"
	"html/template"
	"regexp"
)

var embedded = regexp.MustCompile(`^data:image/jpeg;base64,[A-Za-z0-9+/=]+$`)

// PictureIn finds the reduced picture of a photo in a report of this package
// and gives it as an attribute src="data:..."; "" when it holds none.
func PictureIn(report []byte, file string) template.HTMLAttr {
	_, rest, ok := bytes.Cut(report, []byte(` id="`+sectionID(file)+`" aria-labelledby=`))
	if !ok {
		return ""
	}
	section, _, _ := bytes.Cut(rest, []byte("</article>"))
	_, rest, ok = bytes.Cut(section, []byte(`<img src="`))
	url, _, closed := bytes.Cut(rest, []byte(`"`))
	if !ok || !closed || !embedded.Match(url) {
		return ""
	}
	return template.HTMLAttr(`src="` + string(url) + `"`)
}
