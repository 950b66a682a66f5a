package inspection

import (
	"errors"
	"net/url"
	"strings"
	"unicode/utf8"

	"coursegauge/report/escape"
)

// Name is how a file name is written down: as it is, or, when it is not UTF-8 and
// JSON cannot hold it, escaped to be read by people, with its bytes
// percent-encoded (RFC 3986) beside.
func Name(path string) (file, bytes string) {
	if utf8.ValidString(path) {
		return path, ""
	}
	parts := strings.Split(path, "/")
	for i, p := range parts {
		parts[i] = url.PathEscape(p)
	}
	return escape.Text(path), strings.Join(parts, "/")
}

// Path is the photo's name as the file system has it, with slashes, below the
// folder of the photos.
func (p Photo) Path() string {
	if p.FileBytes == "" {
		return p.File
	}
	path, err := url.PathUnescape(p.FileBytes)
	if err != nil {
		return p.File // no document that was read has such a photo
	}
	return path
}

// Shown is the name as people see it, on one line; different names differ.
func (p Photo) Shown() string { return escape.Text(p.Path()) }

// checkName holds a name that is written in two ways against what Name writes.
func (p Photo) checkName() error {
	if p.FileBytes == "" {
		return nil
	}
	path, err := url.PathUnescape(p.FileBytes)
	if err != nil {
		return errors.New("file_bytes is no percent-encoded text")
	}
	if utf8.ValidString(path) || strings.ContainsRune(path, 0) {
		return errors.New("file_bytes stands for a name that file can hold, or for none")
	}
	return nil
}
