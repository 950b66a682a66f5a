package bag

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// Report is what a check of a bag came to. A bag is valid (complete, and every
// checksum right) when there are no problems.
type Report struct {
	Version  string
	Info     Info
	Problems []Problem
	Warnings []Problem
	Files    int   // of the payload
	Octets   int64 // of the payload
	// Sums are the SHA-256 of every file that the manifests list, where they were computed.
	Sums map[string]string
	// Unlisted are files outside the payload that no manifest lists: the bag's
	// own rules allow them, and nothing vouches for them.
	Unlisted []string
}

// Valid tells whether nothing is wrong.
func (r Report) Valid() bool { return len(r.Problems) == 0 }

// checker gathers the report.
type checker struct {
	Report
	src         Source
	declaration Declaration
	// expected sums of a file, by algorithm, each with the manifest that lists it
	listed map[string]map[string]listing
	fetch  []string
}

type listing struct{ sum, manifest string }

func (c *checker) problem(path, format string, args ...any) {
	c.Problems = append(c.Problems, Problem{path, fmt.Sprintf(format, args...)})
}

func (c *checker) warn(path, format string, args ...any) {
	c.Warnings = append(c.Warnings, Problem{path, fmt.Sprintf(format, args...)})
}

// Check holds a bag against RFC 8493. The error is that of an ended context.
func Check(ctx context.Context, src Source) (Report, error) {
	c := &checker{src: src, listed: map[string]map[string]listing{}}
	c.Sums = map[string]string{}
	c.Problems = append(c.Problems, src.Refused()...)
	if !c.readDeclaration() {
		return c.sorted(), ctx.Err()
	}
	c.readInfo()
	c.readFetch()
	c.readManifests()
	c.nameClashes()
	if err := c.hashAll(ctx); err != nil {
		return Report{}, err
	}
	c.complete()
	return c.sorted(), nil
}

// sorted puts problems into the order of paths, each once.
func (c *checker) sorted() Report {
	for _, list := range []*[]Problem{&c.Problems, &c.Warnings} {
		slices.SortStableFunc(*list, func(a, b Problem) int { return compare(a.Path, b.Path) })
		*list = slices.Compact(*list)
	}
	return c.Report
}

func (c *checker) has(path string) bool {
	_, ok := find(c.src, path)
	return ok
}

func (c *checker) readDeclaration() bool {
	if !c.has(DeclarationFile) {
		c.problem(DeclarationFile, "is missing; without it this is no bag")
		return false
	}
	data, err := Read(c.src, DeclarationFile, maxTag)
	if err == nil {
		c.declaration, err = parseDeclaration(data)
	}
	if err != nil {
		c.problem(DeclarationFile, "%v", err)
		return false
	}
	c.Version = c.declaration.Version
	return true
}

// text reads a tag file in the bag's encoding; false when it cannot be.
func (c *checker) text(path string, limit int64) (string, bool) {
	data, err := Read(c.src, path, limit)
	var s string
	if err == nil {
		s, err = c.declaration.decode(data)
	}
	if err != nil {
		c.problem(path, "%v", err)
	}
	return s, err == nil
}

func (c *checker) readInfo() {
	for _, f := range c.src.Files() {
		if strings.HasPrefix(f.Path, Payload) {
			c.Files++
			c.Octets += f.Size
		}
	}
	if !c.has(InfoFile) {
		return
	}
	text, ok := c.text(InfoFile, maxTag)
	if !ok {
		return
	}
	info, err := parseInfo(text)
	if err != nil {
		c.problem(InfoFile, "%v", err)
		return
	}
	c.Info = info
	oxum := info.All("Payload-Oxum")
	if len(oxum) > 1 {
		c.problem(InfoFile, "Payload-Oxum stands there %d times; once is allowed", len(oxum))
	}
	if have := fmt.Sprintf("%d.%d", c.Octets, c.Files); len(oxum) == 1 && oxum[0] != have {
		c.problem(InfoFile, "Payload-Oxum says \"%.40s\" bytes.files; here are %s", oxum[0], have)
	}
}

func (c *checker) readFetch() {
	if !c.has(fetchFile) {
		return
	}
	text, ok := c.text(fetchFile, maxManifest)
	if !ok {
		return
	}
	paths, err := parseFetch(text, c.Version)
	if err != nil {
		c.problem(fetchFile, "%v", err)
		return
	}
	for _, p := range paths {
		switch why := unsafe(p); {
		case why != "":
			c.problem(fetchFile, "%s %s", shown(p), why)
		case !strings.HasPrefix(p, Payload):
			c.problem(fetchFile, "%s lies outside %s", shown(p), Payload)
		default:
			c.fetch = append(c.fetch, p)
		}
	}
}

// readManifests takes in every manifest there is.
func (c *checker) readManifests() {
	var payload, tags []string
	for _, f := range c.src.Files() {
		name := manifestName.FindStringSubmatch(f.Path)
		if name == nil {
			continue
		}
		if name[1] == "" {
			payload = append(payload, f.Path)
		} else {
			tags = append(tags, f.Path)
		}
		if algorithms[name[2]] == nil {
			c.problem(f.Path, "is of an algorithm that is not known; known are %s", strings.Join(slices.Sorted(maps.Keys(algorithms)), ", "))
			continue
		}
		c.readManifest(f.Path, name[2], name[1] != "")
	}
	if len(payload) == 0 {
		c.problem("", "no payload manifest (manifest-sha256.txt or the like)")
	}
	if len(tags) == 0 {
		c.warn("", "no tag manifest: nothing says whether %s and the manifests are as they were", InfoFile)
	}
	c.eachListsAll(payload)
	for _, t := range tags {
		for _, p := range payload {
			if !c.lists(t, p) && c.Version == "1.0" {
				c.problem(t, "does not list %s", p)
			}
		}
	}
	if c.Files == 0 && !slices.ContainsFunc(c.src.Folders(), func(d string) bool { return strings.HasPrefix(d+"/", Payload) }) {
		c.problem(Payload, "is missing; a bag holds its files there")
	}
}

func (c *checker) lists(manifest, path string) bool {
	for _, l := range c.listed[path] {
		if l.manifest == manifest {
			return true
		}
	}
	return false
}

// eachListsAll holds the payload manifests against the payload: since version
// 1.0 each lists every file, before, some manifest does.
func (c *checker) eachListsAll(payload []string) {
	for _, f := range c.src.Files() {
		if !strings.HasPrefix(f.Path, Payload) {
			continue
		}
		if len(c.listed[f.Path]) == 0 {
			c.problem(f.Path, "was added: no manifest lists it")
			continue
		}
		for _, m := range payload {
			if c.Version == "1.0" && !c.lists(m, f.Path) {
				c.problem(f.Path, "is not listed in %s", m)
			}
		}
	}
}

func (c *checker) readManifest(path, algorithm string, tag bool) {
	text, ok := c.text(path, maxManifest)
	if !ok {
		return
	}
	entries, err := parseManifest(text, algorithm, c.Version)
	if err != nil {
		c.problem(path, "%v", err)
		return
	}
	if algorithm == "md5" || algorithm == "sha1" {
		c.warn(path, "%s finds accidents, not somebody who means harm", algorithm)
	}
	for _, e := range entries {
		c.takeEntry(path, algorithm, e, tag)
	}
}

func (c *checker) takeEntry(manifest, algorithm string, e Entry, tag bool) {
	at := func(format string, args ...any) string {
		return fmt.Sprintf("line %d: %s ", e.Line, shown(e.Path)) + fmt.Sprintf(format, args...)
	}
	if why := unsafe(e.Path); why != "" {
		c.problem(manifest, "%s", at("%s", why))
		return
	}
	inside := strings.HasPrefix(e.Path, Payload)
	switch {
	case !tag && !inside:
		c.problem(manifest, "%s", at("lies outside %s", Payload))
		return
	case tag && inside:
		c.problem(manifest, "%s", at("is payload, which a tag manifest does not list"))
		return
	case tag && strings.HasPrefix(e.Path, "tagmanifest-"):
		c.problem(manifest, "%s", at("is a tag manifest, which none lists"))
		return
	}
	if e.Star {
		c.warn(manifest, "%s", at("is marked with a *, as md5sum and its kin do"))
	}
	if e.DotSlash {
		c.warn(manifest, "%s", at("is written with ./"))
	}
	if c.listed[e.Path] == nil {
		c.listed[e.Path] = map[string]listing{}
	}
	before, twice := c.listed[e.Path][algorithm]
	switch {
	case twice && before.sum != e.Sum:
		c.problem(manifest, "%s", at("is listed twice with different checksums"))
	case twice && c.Version == "1.0":
		c.problem(manifest, "%s", at("is listed twice"))
	case twice:
		c.warn(manifest, "%s", at("is listed twice"))
	default:
		c.listed[e.Path][algorithm] = listing{e.Sum, manifest}
	}
}

// nameClashes warns of names that some system, or the eye, takes for one, and
// of names that some system cannot keep.
func (c *checker) nameClashes() {
	all := map[string]bool{}
	for _, f := range c.src.Files() {
		all[f.Path] = true
	}
	for p := range c.listed {
		all[p] = true
	}
	first := map[string]string{}
	for _, p := range slices.Sorted(maps.Keys(all)) {
		if why := awkward(p); why != "" {
			c.warn(p, "%s", why)
		}
		key := sameTo(p)
		if other, clash := first[key]; clash {
			c.warn(p, "has a name that some systems, or the eye, take for %s", shown(other))
		} else {
			first[key] = p
		}
	}
}

// hashAll computes what the manifests list, each file read once.
func (c *checker) hashAll(ctx context.Context) error {
	for _, f := range c.src.Files() {
		expected := c.listed[f.Path]
		if len(expected) == 0 {
			if !strings.HasPrefix(f.Path, Payload) && !strings.HasPrefix(f.Path, "tagmanifest-") {
				c.Unlisted = append(c.Unlisted, f.Path)
			}
			expected = nil // it is read all the same, to its end
		}
		sums, err := c.hash(ctx, f, expected)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			c.problem(f.Path, "%v", err)
			continue
		}
		if expected == nil {
			continue
		}
		c.Sums[f.Path] = sums["sha256"]
		for a, want := range expected {
			if sums[a] != want.sum {
				c.problem(f.Path, "was changed: its %s is not the one in %s", a, want.manifest)
			}
		}
	}
	return nil
}

func (c *checker) hash(ctx context.Context, f File, expected map[string]listing) (map[string]string, error) {
	hashes := map[string]hash.Hash{}
	var all []io.Writer
	for a := range expected {
		hashes[a] = algorithms[a]()
		all = append(all, hashes[a])
	}
	r, err := c.src.Open(f.Path)
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", Cause(err))
	}
	defer r.Close()
	n, err := copyTo(ctx, io.MultiWriter(all...), r)
	switch {
	case err != nil:
		return nil, fmt.Errorf("cannot be read whole: %w", Cause(err))
	case n != f.Size:
		return nil, errors.New("has another size than the archive or folder tells")
	}
	out := map[string]string{}
	for a, h := range hashes {
		out[a] = hex.EncodeToString(h.Sum(nil))
	}
	return out, nil
}

// noAnswer is how long a file system may take to answer one read, as a network's whose
// server is gone. It is a variable for tests.
var noAnswer = 30 * time.Second

var errNoAnswer = errors.New("the file system did not answer in time")

// copyTo copies until the end, or until the context ends or a read is not answered. Then
// the reader and a buffer are left to that read.
func copyTo(ctx context.Context, w io.Writer, r io.Reader) (n int64, err error) {
	type answer struct {
		n   int
		err error
	}
	buffer := make([]byte, 256<<10)
	answers := make(chan answer, 1)
	patience := time.NewTimer(noAnswer)
	defer patience.Stop()
	for {
		if err := ctx.Err(); err != nil {
			return n, err
		}
		go func() {
			k, err := r.Read(buffer)
			answers <- answer{k, err}
		}()
		patience.Reset(noAnswer)
		var a answer
		select {
		case a = <-answers:
		case <-ctx.Done():
			return n, ctx.Err()
		case <-patience.C:
			return n, errNoAnswer
		}
		if a.n > 0 {
			if _, err := w.Write(buffer[:a.n]); err != nil {
				return n, err
			}
			n += int64(a.n)
		}
		if errors.Is(a.err, io.EOF) {
			return n, nil
		}
		if a.err != nil {
			return n, a.err
		}
	}
}

// complete finds what is listed and not there. Two listed names that some
// systems take for one, with the same checksum, are one file on those systems.
func (c *checker) complete() {
	twins := map[string]string{}
	for _, f := range c.src.Files() {
		if c.listed[f.Path] != nil {
			twins[sameTo(f.Path)] = f.Path
		}
	}
	for p, sums := range c.listed {
		if c.has(p) {
			continue
		}
		if twin, ok := twins[sameTo(p)]; ok && maps.EqualFunc(sums, c.listed[twin], func(a, b listing) bool { return a.sum == b.sum }) {
			c.warn(p, "is here as %s alone: one file on systems that do not tell the two names apart", shown(twin))
			continue
		}
		if slices.Contains(c.fetch, p) {
			c.problem(p, "is missing: %s says where it was to be fetched from, and nothing is fetched here", fetchFile)
			continue
		}
		c.problem(p, "is missing")
	}
	for _, p := range c.fetch {
		if c.listed[p] == nil {
			c.problem(fetchFile, "%s is in no manifest", shown(p))
		}
	}
}
