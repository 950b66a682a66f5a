package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/escape"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// otherWords are words that people try for what another command does.
var otherWords = map[string]string{
	"report":    "coursegauge inspect writes the report, coursegauge review opens it",
	"measure":   "coursegauge inspect measures photos",
	"check":     "coursegauge inspect checks photos, coursegauge record verify checks a record",
	"run":       "coursegauge inspect measures photos",
	"open":      "coursegauge review opens the report of a folder",
	"show":      "coursegauge review opens the report of a folder",
	"decide":    "coursegauge review takes decisions",
	"mend":      "coursegauge review DIR --mend FILE.html writes the list of what to mend",
	"sheet":     "coursegauge crew NAME writes the sheet of a crew",
	"print":     "coursegauge card make draws the card to print",
	"prove":     "coursegauge card prove takes the measured size of a card",
	"calibrate": "coursegauge camera learn learns the lens of a phone",
	"verify":    "coursegauge record verify checks a record",
	"key":       "coursegauge record key makes a key to sign with",
}

// noSuchCommand answers words after a command's name that are no command.
func noSuchCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			names = append(names, sub.Name())
		}
	}
	hint := c.CommandPath() + " --help lists the commands"
	if other, known := otherWords[args[0]]; known && !c.HasParent() {
		hint = other
	} else if near := nearest(args[0], names); near != "" {
		hint = "did you mean: " + c.CommandPath() + " " + strings.Join(append([]string{near}, args[1:]...), " ")
	}
	return usageError{"no such command: " + args[0], hint}
}

// nearFlag is the flag of a command that a mistyped one stands for, "" when
// none is near. The flag library names what it does not know at the end.
func nearFlag(c *cobra.Command, err error) string {
	_, typed, unknown := strings.Cut(err.Error(), "unknown flag: --")
	if !unknown {
		return ""
	}
	var names []string
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			names = append(names, f.Name)
		}
	})
	return nearest(typed, names)
}

// nearest is the name that differs from the typed word by the fewest slips, at
// most one for every three letters, or else one that the word begins or that
// begins the word.
func nearest(typed string, names []string) string {
	typed = strings.ToLower(typed)
	best, least := "", max(1, len(typed)/3)+1
	for _, name := range names {
		if d := slips(typed, name); d < least {
			best, least = name, d
		}
	}
	if best != "" || len(typed) < 2 {
		return best
	}
	for _, name := range names {
		if strings.HasPrefix(name, typed) || strings.HasPrefix(typed, name) {
			return name
		}
	}
	return ""
}

// nearPath is the hint about a path that is not there: one beside it with nearly
// the same name, or else what usually helps.
func nearPath(path, otherwise string) string {
	path = filepath.Clean(path)
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return otherwise
	}
	beside, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return otherwise
	}
	best, least := "", max(1, len(filepath.Base(path))/3)+1
	for _, e := range beside {
		if d := slips(strings.ToLower(filepath.Base(path)), strings.ToLower(e.Name())); d < least && !strings.HasPrefix(e.Name(), ".") {
			best, least = e.Name(), d
		}
	}
	if best == "" {
		return otherwise
	}
	return "did you mean: " + escape.Text(filepath.Join(filepath.Dir(path), best))
}

// slips counts the letters to change, insert, leave out or swap with the next
// one that turn a into b (the restricted Damerau-Levenshtein distance).
func slips(a, b string) int {
	before, last, row := []int(nil), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			changed := last[j-1]
			if a[i-1] != b[j-1] {
				changed++
			}
			row[j] = min(changed, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, make([]int, len(b)+1)
	}
	return last[len(b)]
}
