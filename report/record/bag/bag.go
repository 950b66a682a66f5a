// Package bag reads, checks and writes bags of BagIt (RFC 8493, version 1.0;
// versions 0.93 to 0.97 are read too): a folder or a zip archive whose manifests
// hold the checksum of every file in it.
//
// It knows nothing of what a bag holds. Paths in a bag are UTF-8, with slashes,
// from the bag's own folder; payload files begin with "data/". Nothing is
// extracted, fetched or written while a bag is read.
package bag

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"slices"

	"coursegauge/report/escape"
)

// The files that every bag knows by name.
const (
	DeclarationFile = "bagit.txt"
	InfoFile        = "bag-info.txt"
	fetchFile       = "fetch.txt"
	ManifestFile    = "manifest-sha256.txt"
	TagManifestFile = "tagmanifest-sha256.txt"
	Payload         = "data/"
)

// How much is read before something is taken for an attack.
const (
	maxFiles    = 200_000
	maxManifest = 64 << 20
	maxTag      = 1 << 20 // of bagit.txt, bag-info.txt
	maxPath     = 4096
)

// Problem is what is wrong with one file of a bag, or with the bag when Path is "".
// Both texts may hold what somebody else wrote; String escapes it.
type Problem struct {
	Path string `json:"path,omitempty"`
	Text string `json:"text"`
}

func (p Problem) String() string {
	text := escape.Text(p.Text)
	if p.Path == "" {
		return text
	}
	return escape.Text(shown(p.Path)) + ": " + text
}

// shown is a path as it stands within a sentence: not longer than one can read.
func shown(path string) string {
	const most = 300
	if r := []rune(path); len(r) > most {
		return string(r[:most]) + "…"
	}
	return path
}

// File is a regular file of a bag and its size in bytes.
type File struct {
	Path string
	Size int64
}

// Source is where a bag lies. Files are in the order of their paths.
type Source interface {
	Files() []File
	Open(path string) (io.ReadCloser, error)
	// Refused are the things that were found there and are no files of a bag: links,
	// paths that leave it, bombs. None of them is ever opened.
	Refused() []Problem
	// Folders are those with nothing in them.
	Folders() []string
	Close() error
}

// find gives a file of a source.
func find(s Source, path string) (File, bool) {
	files := s.Files()
	at, ok := slices.BinarySearchFunc(files, path, func(f File, p string) int { return compare(f.Path, p) })
	if !ok {
		return File{}, false
	}
	return files[at], true
}

// Read gives the bytes of a small file of a bag; more than limit is an error.
func Read(s Source, path string, limit int64) ([]byte, error) {
	f, ok := find(s, path)
	if !ok {
		return nil, fmt.Errorf("%s is not there", shown(path))
	}
	if f.Size > limit {
		return nil, fmt.Errorf("%s has %d bytes; no more than %d are read", shown(path), f.Size, limit)
	}
	r, err := s.Open(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	var b bytes.Buffer
	if _, err := copyTo(context.Background(), &b, io.LimitReader(r, limit+1)); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", shown(path), Cause(err))
	}
	data := b.Bytes()
	if int64(len(data)) != f.Size {
		return nil, fmt.Errorf("%s has another size than was told", shown(path))
	}
	return data, nil
}
