package bag

import (
	"cmp"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

func compare(a, b string) int { return cmp.Compare(a, b) }

var (
	drive    = regexp.MustCompile(`^[A-Za-z]:`)
	variable = regexp.MustCompile(`^(%\w+%|\$)`) // %HOMEDRIVE%, $HOME: other programs put a folder there
	device   = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)`)
)

// unsafe says why a path may lead out of the bag, or into it under a false
// name, on some system; "" when it does not. The answer is the same on every system.
func unsafe(path string) string {
	switch {
	case path == "":
		return "has no name"
	case len(path) > maxPath:
		return "has a path longer than any that is used"
	case !utf8.ValidString(path):
		return "has a path that is not UTF-8"
	case path[0] == '/':
		return "has an absolute path"
	case path[0] == '~':
		return "has a path that means somebody's home folder"
	case drive.MatchString(path):
		return "has a path that names a drive"
	case variable.MatchString(path):
		return "has a path that begins with a variable"
	case strings.Contains(path, `\`):
		return `has a path with a backslash, which leads elsewhere on other systems`
	}
	for _, r := range path {
		if Invisible(r) {
			return "has a path with an invisible character"
		}
	}
	for part := range strings.SplitSeq(path, "/") {
		switch part {
		case "..":
			return "has a path that leaves the bag (..)"
		case "", ".":
			return "has a path with an empty part"
		}
	}
	return ""
}

// awkward says what other systems make of a harmless path, "" for nothing.
func awkward(path string) string {
	for part := range strings.SplitSeq(path, "/") {
		switch {
		case device.MatchString(part):
			return "has a name that means a device on Windows"
		case strings.ContainsAny(part, `:*?"<>|`):
			return "has a name that Windows cannot store"
		case strings.HasSuffix(part, "."), strings.HasSuffix(part, " "):
			return "has a name whose end Windows cuts off"
		case part == ".DS_Store", part == "Thumbs.db", part == "desktop.ini":
			return "is a file that systems make by themselves"
		}
	}
	return ""
}

// lookalikes are letters that read as a Latin one; the commonest of Unicode
// Technical Standard 39, from memory.
var lookalikes = strings.NewReplacer(
	"а", "a", "в", "b", "с", "c", "ԁ", "d", "е", "e", "һ", "h", "і", "i", "ј", "j", "к", "k", "ӏ", "l", "м", "m", "п", "n", "о", "o",
	"р", "p", "ԛ", "q", "г", "r", "ѕ", "s", "т", "t", "ѵ", "v", "ԝ", "w", "х", "x", "у", "y", "з", "3",
	"α", "a", "β", "b", "ε", "e", "ι", "i", "κ", "k", "ν", "v", "ο", "o", "ρ", "p", "τ", "t", "υ", "u", "χ", "x", "ω", "w",
	"ı", "i", "ɑ", "a", "ɡ", "g", "ℓ", "l", "ꓲ", "i", "ⅼ", "l", "ո", "n", "օ", "o", "ս", "u",
	"‐", "-", "‑", "-", "‒", "-", "–", "-", "—", "-", "−", "-", "∕", "/", "⁄", "/", "․", ".",
)

var fold = cases.Fold()

// sameTo is equal for two paths that some system, or the eye, takes for one:
// upper and lower case, composed and decomposed accents, letters of other
// scripts that look alike, ends that Windows cuts off.
func sameTo(path string) string {
	s := lookalikes.Replace(norm.NFKC.String(fold.String(norm.NFKC.String(path))))
	parts := strings.Split(s, "/")
	for i, p := range parts {
		parts[i] = strings.TrimRight(p, " .")
	}
	return strings.Join(parts, "/")
}

// Invisible tells whether a letter cannot be seen in a name.
func Invisible(r rune) bool {
	return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)
}

// Ordinary tells whether every system can keep a name as it is.
func Ordinary(name string) bool { return unsafe(name) == "" && awkward(name) == "" }

// Skeleton is sameTo for other packages that compare names.
func Skeleton(path string) string { return sameTo(path) }
