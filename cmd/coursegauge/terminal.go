package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"reflect"
	"slices"
	"strings"

	"coursegauge/report/escape"

	"golang.org/x/term"
)

// The rules of the interface:
//
//   - What was asked for goes to standard output: the summary, or with --json
//     one JSON object and nothing else. Everything said on the way goes to
//     standard error: progress, warnings, errors, hints, cautions.
//   - An error is one line: "coursegauge: ", lower case, what and where, the
//     legal values; no full stop. A hint may follow on a line of its own.
//   - A person's mistake never shows a stack trace and never leaves half a file.
//   - Bars and redrawn lines only on a terminal; elsewhere one plain line a photo.
//   - What photos, schedules, ledgers and people say is shown escaped: no text of
//     unknown origin ends its line, moves the cursor or turns the direction.
//   - No colour: a report of a run reads the same in a log, on paper and aloud.

// terminal is where a command speaks.
type terminal struct {
	out, err io.Writer
	live     bool         // err is a terminal that can redraw a line
	log      *slog.Logger // what is said on the way goes here when it is set
}

// The ways to tell of the work.
const (
	logText = "text" // sentences and a bar, for people
	logJSON = "json" // one JSON object a line, for programs
)

// logAs chooses how to tell of the work from now on.
func (t *terminal) logAs(format string) error {
	switch format {
	case logText, "":
	case logJSON:
		t.log = slog.New(slog.NewJSONHandler(plainJSON{t.err}, nil))
	default:
		return usageError{fmt.Sprintf("--log-format %s: text or json is needed", format), ""}
	}
	return nil
}

func newTerminal() *terminal {
	return &terminal{
		out:  os.Stdout,
		err:  os.Stderr,
		live: term.IsTerminal(int(os.Stderr.Fd())) && os.Getenv("TERM") != "dumb",
	}
}

// say prints a line of what was asked for.
func (t *terminal) say(format string, args ...any) {
	fmt.Fprintf(t.out, format+"\n", shown(args)...)
}

// tell prints a line on the way.
func (t *terminal) tell(format string, args ...any) {
	text := fmt.Sprintf(format, shown(args)...)
	if t.log != nil {
		t.log.Info(text)
		return
	}
	fmt.Fprintln(t.err, text)
}

// warn prints something that went wrong without ending the work.
func (t *terminal) warn(format string, args ...any) {
	if t.log != nil {
		t.log.Warn(fmt.Sprintf(format, shown(args)...))
		return
	}
	t.tell("warning: "+format, args...)
}

// hint prints what to do about the line before.
func (t *terminal) hint(text string) {
	if text != "" {
		t.tell("hint: %s", text)
	}
}

// fail prints the error that ends a command.
func (t *terminal) fail(err error) {
	hint := ""
	var withHint interface{ Hint() string }
	if errors.As(err, &withHint) {
		hint = withHint.Hint()
	}
	if t.log != nil {
		t.log.Error(printable(oneLine(err.Error())), "hint", printable(hint))
		return
	}
	t.tell("coursegauge: %s", err)
	t.hint(hint)
}

// json prints v as the answer for a script.
func (t *terminal) json(v any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := io.WriteString(t.out, escape.JSON(b.String()))
	return err
}

// plainJSON writes JSON lines in the form of escape.JSON.
type plainJSON struct{ to io.Writer }

func (w plainJSON) Write(line []byte) (int, error) {
	if _, err := io.WriteString(w.to, escape.JSON(string(line))); err != nil {
		return 0, err
	}
	return len(line), nil
}

// usageError is wrong use: of the command line, or of a file that it names.
type usageError struct{ what, hint string }

func (e usageError) Error() string { return e.what }
func (e usageError) Hint() string  { return e.hint }

// failure is right use that could not be carried out.
type failure struct{ what, hint string }

func (e failure) Error() string { return e.what }
func (e failure) Hint() string  { return e.hint }

// cause strips the call and the path from an error of the file system, which
// the line around it names already.
func cause(err error) error {
	var onPath *fs.PathError
	if errors.As(err, &onPath) {
		return onPath.Err
	}
	var link *os.LinkError
	if errors.As(err, &link) {
		return link.Err
	}
	return err
}

// shown are the arguments of a line as it prints them: each text escaped, and an
// error of a library on one line. Every line goes through here, so that none of
// the places that print a name has to remember it.
func shown(args []any) []any {
	out := slices.Clone(args)
	for i, a := range out {
		if err, ok := a.(error); ok {
			out[i] = printable(oneLine(err.Error()))
		} else if v := reflect.ValueOf(a); v.Kind() == reflect.String {
			out[i] = printable(v.String())
		}
	}
	return out
}

// printable is escape.Text of a text that may hold what is escaped already: a
// backslash alone is no reason to double it.
func printable(s string) string {
	escaped := escape.Text(s)
	if strings.ReplaceAll(escaped, `\\`, `\`) == s {
		return s
	}
	return escaped
}

// oneLine keeps an error of a library on the one line that ours have.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// plural is "1 photo" or "3 photos".
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
