package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/crew"
	"coursegauge/vision"
)

// crewsFile is what a list of crews beside the schedule is called.
const crewsFile = "crews.yaml"

// readCrews reads the file of --crews, or the one beside the schedule where
// there is one. said is a line for people, "" when no crews are known.
func readCrews(path, schedule string) (l crew.List, said string, err error) {
	if path == "" {
		path = filepath.Join(filepath.Dir(schedule), crewsFile)
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			return crew.List{}, "", nil
		}
		said = "crews: " + path + ", found beside the schedule"
	}
	data, err := readFile(path)
	if err != nil {
		return crew.List{}, "", usageError{fmt.Sprintf("--crews %s: %v", path, err), ""}
	}
	l, err = crew.Read(path, data)
	if err != nil {
		return crew.List{}, "", usageError{err.Error(), "--help shows an example"}
	}
	return l, said, nil
}

// warnUnusedFolders names the folders of a list of crews in which no photo
// lies: one that is misspelt would otherwise leave its crew out without a word.
func warnUnusedFolders(t *terminal, l crew.List, photos []photoFile) {
	paths := make([]string, 0, len(photos))
	for _, p := range photos {
		if abs, err := filepath.Abs(p.path); err == nil {
			paths = append(paths, abs)
		}
	}
	const most = 10
	unused := l.Unused(paths)
	if n := len(unused); n > most {
		unused = append(unused[:most], fmt.Sprintf("%d more", n-most))
	}
	if len(unused) > 0 {
		t.warn("%s: no photo lies in %s; write each folder as it is called", crewsFile, strings.Join(unused, ", "))
	}
}

// crewOf names the crew of a photo and says in a line when the file would have
// it otherwise by another of its keys.
func crewOf(l crew.List, p photoFile, device string, card *vision.CardSight) (name, doubt string) {
	of := crew.Photo{Card: -1, Path: p.path, Device: device}
	if abs, err := filepath.Abs(p.path); err == nil {
		of.Path = abs
	}
	if card != nil {
		of.Card = card.Number
	}
	name, rivals := l.Of(of)
	if len(rivals) > 0 {
		doubt = fmt.Sprintf("%s: crew %s, though %s names %s too: the card counts before the folder, the folder before the phone", p.shown(), name, crewsFile, strings.Join(rivals, " and "))
	}
	return name, doubt
}
