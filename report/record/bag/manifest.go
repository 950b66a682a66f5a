package bag

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"fmt"
	"hash"
	"regexp"
	"slices"
	"strings"
)

// algorithms are those of the manifests that can be checked. The first two are
// for old bags only: they prove nothing against somebody who means harm.
var algorithms = map[string]func() hash.Hash{
	"md5": md5.New, "sha1": sha1.New,
	"sha224": sha256.New224, "sha256": sha256.New, "sha384": sha512.New384, "sha512": sha512.New,
}

var manifestName = regexp.MustCompile(`^(tag)?manifest-([a-z0-9]+)\.txt$`)

// Entry is one line of a manifest.
type Entry struct {
	Sum  string // hex, lower case
	Path string
	Line int
	// what is worth a warning
	Star, DotSlash bool
}

// parseManifest reads the text of a manifest (RFC 8493, 2.1.3) of version 1.0 or
// before. Paths are decoded and not yet held against anything.
func parseManifest(text, algorithm, version string) ([]Entry, error) {
	digits := 0
	if make, ok := algorithms[algorithm]; ok {
		digits = 2 * make().Size()
	}
	var out []Entry
	for n, l := range lines(text) {
		if l == "" {
			continue
		}
		e, err := parseEntry(l, version)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
		if len(e.Sum) != digits {
			return nil, fmt.Errorf("line %d: a checksum of %d hex digits; %s has %d", n+1, len(e.Sum), algorithm, digits)
		}
		e.Line = n + 1
		out = append(out, e)
	}
	return out, nil
}

func parseEntry(line, version string) (Entry, error) {
	at := strings.IndexAny(line, " \t")
	if at < 0 {
		return Entry{}, fmt.Errorf("\"%.60s\"; a checksum, a space and a path are needed", line)
	}
	e := Entry{Sum: strings.ToLower(line[:at])}
	if _, err := hex.DecodeString(e.Sum); err != nil {
		return Entry{}, fmt.Errorf("\"%.60s\" is no checksum", line[:at])
	}
	path := strings.TrimLeft(line[at:], " \t")
	// md5sum and its kin mark a binary file so, with one space before it
	if rest, ok := strings.CutPrefix(path, "*"); ok {
		e.Star, path = true, rest
	}
	for strings.HasPrefix(path, "./") {
		e.DotSlash, path = true, path[len("./"):]
	}
	e.Path = decodePath(path, version)
	if e.Path == "" {
		return Entry{}, fmt.Errorf("no path after the checksum")
	}
	return e, nil
}

var (
	percentOld = strings.NewReplacer("%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r")
	percentNew = strings.NewReplacer("%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r", "%25", "%")
	percent    = strings.NewReplacer("%", "%25", "\n", "%0A", "\r", "%0D")
)

// decodePath undoes the only escapes that a manifest knows.
func decodePath(s, version string) string {
	if version == "1.0" {
		return percentNew.Replace(s)
	}
	return percentOld.Replace(s)
}

// manifestLine is as sha256sum writes it; a path whose first letter would be taken
// for part of what stands before paths is written from the folder it counts from.
func manifestLine(sum, path string) string {
	if strings.HasPrefix(path, " ") || strings.HasPrefix(path, "\t") || strings.HasPrefix(path, "*") {
		path = "./" + path
	}
	return sum + "  " + percent.Replace(path) + "\n"
}

// parseFetch reads fetch.txt (RFC 8493, 2.2.3): URL, size or "-", path. Only the
// paths matter here: nothing is ever fetched.
func parseFetch(text, version string) (paths []string, err error) {
	for n, l := range lines(text) {
		if l == "" {
			continue
		}
		f := strings.Fields(l)
		if len(f) < 3 || f[1] != "-" && strings.Trim(f[1], "0123456789") != "" {
			return nil, fmt.Errorf("line %d is \"%.60s\"; URL, size and path are needed", n+1, l)
		}
		rest := strings.TrimLeft(strings.TrimPrefix(strings.TrimLeft(l, " \t"), f[0]), " \t")
		rest = strings.TrimLeft(strings.TrimPrefix(rest, f[1]), " \t")
		paths = append(paths, decodePath(strings.TrimPrefix(rest, "./"), version))
	}
	return paths, nil
}

// IsManifest tells whether a file is a manifest by its name.
func IsManifest(path string) bool { return manifestName.MatchString(path) }

// Canonical writes a SHA-256 manifest as Writer does: sorted, two spaces, nothing
// else. What cannot be read gives nothing.
func Canonical(data []byte, version string) []byte {
	entries, err := parseManifest(string(data), "sha256", version)
	if err != nil {
		return nil
	}
	slices.SortFunc(entries, func(a, b Entry) int { return compare(a.Path, b.Path) })
	var b strings.Builder
	for _, e := range entries {
		b.WriteString(manifestLine(e.Sum, e.Path))
	}
	return []byte(b.String())
}
