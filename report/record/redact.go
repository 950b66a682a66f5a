package record

import (
	"bytes"
	"fmt"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

// redact takes out of the document and the decisions what the record is to lack, and
// keeps under which name each photo lies in its folder.
func (m *maker) redact() {
	m.crews = newPseudonyms(m.crewNames())
	d := m.Document
	d.Photos = slices.Clone(d.Photos)
	taken := map[string]bool{}
	m.sources = map[string]string{}
	renamed := map[string]string{}
	for i := range d.Photos {
		p := &d.Photos[i]
		was := p.File
		path := p.Path() // of which File may be a shown form
		p.AlsoAs = slices.Clone(p.AlsoAs)
		if m.NoLocation {
			p.Location, p.Device = nil, ""
			p.File = m.withoutPlaces(p.File, i)
			for k := range p.AlsoAs {
				p.AlsoAs[k] = m.withoutPlaces(p.AlsoAs[k], i)
			}
		}
		if m.NoCrew {
			for k := range p.AlsoAs {
				p.AlsoAs[k] = m.crews.replace(p.AlsoAs[k])
			}
			p.File, p.Crew, p.Device = m.crews.replace(p.File), m.crews.replace(p.Crew), m.crews.replace(p.Device)
			if p.Refusal != nil {
				r := *p.Refusal
				r.Detail = m.crews.replace(r.Detail)
				p.Refusal = &r
			}
			p.Checks = slices.Clone(p.Checks)
			for k := range p.Checks {
				p.Checks[k].Text = m.crews.replace(p.Checks[k].Text)
			}
		}
		ext := filepath.Ext(p.File)
		for stem, k := strings.TrimSuffix(p.File, ext), 2; taken[p.File]; k++ {
			p.File = fmt.Sprintf("%s-%d%s", stem, k, ext)
		}
		taken[p.File] = true
		m.sources[p.File] = path
		if renamed[was] = p.File; was != p.File {
			m.renamed++
			p.FileBytes = ""
		}
	}
	notDone := slices.Clone(d.NotDone)
	for i := range notDone {
		if m.NoLocation && tellsPlace(notDone[i]) {
			notDone[i] = fmt.Sprintf("a photo that was not done (%d)", i+1)
		}
		if m.NoCrew {
			notDone[i] = m.crews.replace(notDone[i])
		}
	}
	if m.NoCrew {
		d.Schedule.Title, d.Schedule.File = m.crews.replace(d.Schedule.Title), m.crews.replace(d.Schedule.File)
	}
	m.Document = inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)
	m.Document.NotDone = notDone
	m.Decisions = m.redactedDecisions(renamed)
	m.sweepTexts()
}

func (m *maker) redactedDecisions(renamed map[string]string) []review.Decision {
	out := slices.Clone(m.Decisions)
	for i := range out {
		d := &out[i]
		if to, ok := renamed[d.File]; ok {
			d.File = to
		} else if m.NoLocation && tellsPlace(d.File) {
			d.File = "a photo"
		}
		if m.NoLocation {
			d.Note = places.ReplaceAllString(d.Note, " (a place, left out) ")
		}
		if m.NoCrew {
			d.File, d.Who, d.Note = m.crews.replace(d.File), m.crews.replace(d.Who), m.crews.replace(d.Note)
		}
	}
	return out
}

// crewNames are those of the inspection and those that the list of crews knows.
func (m *maker) crewNames() []string {
	names := slices.Clone(m.CrewNames)
	for _, p := range m.Document.Photos {
		if p.Crew != "" {
			names = append(names, p.Crew)
		}
	}
	return names
}

// places are ways to write coordinates: degrees with four decimals or more, a hemisphere
// before or behind degrees and minutes, a degree sign, a plus code.
var places = regexp.MustCompile(`(?i)\d{1,3}[.,]\d{4,}|(^|[^a-z])[nsew][ _-]?\d{1,3}([.,_ -]\d+)+|\d{1,3}([._ -]\d+)* ?[nsew]([^a-z]|$).*\d{1,3}([._ -]\d+)* ?[nsew]([^a-z]|$)|\d ?[°º]|[23456789CFGHJMPQRVWX]{4,8}\+[23456789CFGHJMPQRVWX]{2,3}`)

func tellsPlace(name string) bool { return places.MatchString(name) }

// withoutPlaces gives a part of a photo's path that reads as coordinates, or holds those
// that the photo tells, another name.
func (m *maker) withoutPlaces(file string, index int) string {
	var known []string
	if l := m.given[index].Location; l != nil {
		for _, v := range []float64{l.Lat, l.Lon} {
			known = append(known, strings.TrimLeft(fmt.Sprintf("%.2f", v), "-"))
		}
	}
	parts := strings.Split(file, "/")
	for i, part := range parts {
		ext := filepath.Ext(part)
		if !photoEnding.MatchString(ext) {
			ext = ""
		}
		stem := strings.TrimSuffix(part, ext)
		if tellsPlace(stem) || slices.ContainsFunc(known, func(k string) bool { return strings.Contains(strings.ReplaceAll(stem, ",", "."), k) }) {
			parts[i] = fmt.Sprintf("photo-%d%s", index+1, ext)
			if i < len(parts)-1 {
				parts[i] = "folder"
			}
		}
	}
	return strings.Join(parts, "/")
}

var photoEnding = regexp.MustCompile(`^\.[A-Za-z]{3,4}$`)

// pseudonyms stand for names of crews, the same for the same name.
type pseudonyms struct {
	list  []pseudonym
	words []string // of the names, that tell a crew by themselves
}

type pseudonym struct {
	name, stands string
	match        *regexp.Regexp
}

// ordinary are words of crews' names that tell nobody.
var ordinary = []string{"crew", "crews", "team", "gang", "first", "second", "third", "fourth", "north", "south", "east", "west", "left", "right", "main", "night", "roof", "roofing", "cuadrilla", "equipo"}

// newPseudonyms numbers names in their order without case.
func newPseudonyms(names []string) (p pseudonyms) {
	byFold := map[string]string{}
	for _, n := range names {
		if key := strings.Join(wordsOf(n), " "); key != "" {
			byFold[key] = n
		}
	}
	for i, key := range slices.Sorted(maps.Keys(byFold)) {
		words := strings.Fields(key)
		for k, w := range words {
			if utf8.RuneCountInString(w) > 3 && !slices.Contains(ordinary, w) {
				p.words = append(p.words, w)
			}
			words[k] = regexp.QuoteMeta(w)
		}
		// between words may stand anything that is neither letter nor digit, or nothing
		match := regexp.MustCompile(`(?i)(^|[^\pL\pN])` + strings.Join(words, `[^\pL\pN]*`) + `($|[^\pL\pN])`)
		p.list = append(p.list, pseudonym{byFold[key], fmt.Sprintf("crew %d", i+1), match})
	}
	// longer names first: one may begin with another
	slices.SortStableFunc(p.list, func(a, b pseudonym) int { return len(b.name) - len(a.name) })
	return p
}

// wordsOf are the words of a text in small letters.
func wordsOf(s string) []string {
	return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// replace puts pseudonyms in place of names.
func (p pseudonyms) replace(s string) string {
	const mark = "\x00" // no name matches what was put in
	for i, n := range p.list {
		for was := ""; was != s; {
			was = s
			s = n.match.ReplaceAllString(s, fmt.Sprintf("${1}%s%d%s${2}", mark, i, mark))
		}
	}
	for i, n := range p.list {
		s = strings.ReplaceAll(s, fmt.Sprintf("%s%d%s", mark, i, mark), n.stands)
	}
	return s
}

// left is a name, or with words a word of one, that a text still holds; "" for none.
// Those of fewer letters than least are not looked for.
func (p pseudonyms) left(data []byte, least int, words bool) string {
	long := func(s string) bool { return utf8.RuneCountInString(s) >= least }
	for _, n := range p.list {
		if long(n.name) && n.match.Match(data) && !n.match.MatchString(n.stands) {
			return n.name
		}
	}
	small := bytes.ToLower(data)
	for _, w := range p.words {
		if words && long(w) && bytes.Contains(small, []byte(w)) {
			return w
		}
	}
	return ""
}

// sweep looks for names of crews in what goes into the record. Words of a name count
// where others wrote: our own pages use many words.
func (m *maker) sweep(path string, data []byte) {
	least, words := 1, strings.HasPrefix(path, settingsFolder)
	if strings.HasPrefix(path, photosFolder) {
		least, words = 6, true // fewer letters stand in the bytes of any picture by chance
	}
	m.doubt(path, m.crews.left(data, least, words))
}

func (m *maker) doubt(where, name string) {
	if m.NoCrew && name != "" {
		m.doubts = append(m.doubts, fmt.Sprintf("%s still holds \"%s\" of a crew's name", where, name))
	}
}

// sweepTexts looks for words of names in what people wrote.
func (m *maker) sweepTexts() {
	look := func(where, text string) { m.doubt(where, m.crews.left([]byte(text), 1, true)) }
	look("the title of the schedule", m.Document.Schedule.Title)
	for _, p := range m.Document.Photos {
		look("the name of the photo "+p.File, p.File)
		look("the device of the photo "+p.File, p.Device)
	}
	for _, d := range m.Decisions {
		look("a decision about "+d.File, d.Who+"\n"+d.Note)
	}
}

// tells is what the inspection told before anything was left out.
func (m *maker) tells() (places, devices int, crews []string) {
	for _, p := range m.given {
		if p.Location != nil {
			places++
		}
		if p.Device != "" {
			devices++
		}
		if p.Crew != "" && !slices.Contains(crews, p.Crew) {
			crews = append(crews, p.Crew)
		}
	}
	return places, devices, crews
}

// reportTells is whether the page of the report tells what is to be left out. It
// cannot be made again without measuring, so that it stays out as a whole.
func (m *maker) reportTells() bool {
	places, devices, _ := m.tells()
	return m.NoLocation && places+devices+m.renamed > 0 || m.NoCrew && (len(m.crews.list) > 0 || m.renamed > 0)
}

// noteLeftOut writes down what the record lacks on purpose.
func (m *maker) noteLeftOut() {
	say := func(format string, args ...any) {
		m.contents.LeftOut = append(m.contents.LeftOut, fmt.Sprintf(format, args...))
	}
	if n := len(m.Document.NotDone); n > 0 {
		say("%d photos that nobody inspected: the run was stopped before them, so that this record is not complete", n)
	}
	places, devices, _ := m.tells()
	if m.NoLocation {
		say("where the photos were taken (told for %d of them) and with which device (%d)", places, devices)
		say("%d of %d photos were written anew without location, device, maker's notes, captions, colour profiles and previews; the picture in them is the original's bit for bit, and %s names the hash of each original", m.contents.rewritten(), len(m.contents.Photos), contentsPath)
	}
	for _, o := range m.contents.Omitted {
		say("the photo %s: %s", o.File, o.Why)
	}
	if m.renamed > 0 {
		say("the names of %d photos, which told what is left out: they have others here", m.renamed)
	}
	if m.NoCrew {
		say("the names of the crews (%d), for which crew 1, crew 2 and so on stand wherever they were, and the list that tells crews", len(m.crews.list))
	}
	if m.unread > 0 {
		say("%d photos that could not be read when they were inspected: nothing tells whether a file under their name is the one", m.unread)
	}
	if m.Report != nil && m.reportTells() {
		say("%s: its pages tell what is left out", reportPath)
	}
}
