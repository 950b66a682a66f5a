package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"coursegauge/report/escape"

	"github.com/google/renameio/v2"
	"golang.org/x/sys/unix"
)

// openFolder makes sure, before any work, that a command can write into the
// folder and that nothing it writes lies among the photos. flag names the
// flag that gave the folder.
func openFolder(flag, folder string, photos []photoFile) error {
	if folder == "" {
		return usageError{flag + " is missing", "name the folder to write to: " + flag + " DIR"}
	}
	if info, err := os.Stat(folder); err == nil && !info.IsDir() {
		return usageError{fmt.Sprintf("%s %s is a file; a folder is needed", flag, folder), ""}
	}
	if err := namedAsFolder(flag, folder); err != nil {
		return err
	}
	real := identity(folder)
	for _, p := range photos {
		if filepath.Dir(identity(p.path)) == real {
			return usageError{fmt.Sprintf("%s %s is the folder of the photos", flag, folder),
				"give a folder of its own, so that nothing is written among the photos"}
		}
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return failure{fmt.Sprintf("%s: cannot make the folder %s: %v", flag, folder, cause(err)), writeHint(nearestFolder(folder), err)}
	}
	if err := tryWriting(folder); err != nil {
		return failure{fmt.Sprintf("%s: cannot write to the folder %s: %v", flag, folder, cause(err)), writeHint(folder, err)}
	}
	return nil
}

// nearestFolder is the part of a path that is there.
func nearestFolder(path string) string {
	for {
		_, err := os.Lstat(path)
		up := filepath.Dir(path)
		if err == nil || up == path {
			return path
		}
		path = up
	}
}

// fileEndings are endings of names that a person gives to a file, not to a folder.
var fileEndings = []string{".csv", ".doc", ".docx", ".gif", ".htm", ".html", ".jpeg", ".jpg", ".json", ".md", ".odt", ".pdf", ".png", ".svg", ".tsv", ".txt", ".xls", ".xlsx", ".xml", ".yaml", ".yml", ".zip"}

// namedAsFolder refuses a new folder that is called like a file: whoever writes
// so expects that file.
func namedAsFolder(flag, folder string) error {
	if _, err := os.Stat(folder); err == nil || !isKind(folder, fileEndings) {
		return nil
	}
	return usageError{fmt.Sprintf("%s %s is called like a file; the name of a folder is needed", flag, escape.Text(folder)),
		"the report is written there as report.html, the table as fasteners.csv, the figures as inspection.json"}
}

// tryWriting opens a file without a name, of which nothing is left whatever ends
// the process; one with a name only where the file system has no such files.
func tryWriting(folder string) error {
	f, err := os.OpenFile(folder, os.O_WRONLY|unix.O_TMPFILE, 0o600)
	if err == nil {
		return f.Close()
	}
	if !errors.Is(err, unix.EOPNOTSUPP) && !errors.Is(err, unix.EISDIR) {
		return err
	}
	if f, err = os.CreateTemp(folder, ".probe-"); err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// writeWhole puts a file into place, whole or not at all.
func writeWhole(path string, data []byte) error {
	return cannotWrite(path, renameio.WriteFile(path, data, 0o644))
}
