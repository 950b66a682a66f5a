package record

import (
	"fmt"
	"slices"
	"strings"

	"coursegauge/report/inspection"
)

// redacted is the document as the record holds it.
func (m *maker) redacted() inspection.Document {
	d := m.Document
	d.Photos = slices.Clone(d.Photos)
	for i := range d.Photos {
		if m.NoLocation {
			d.Photos[i].Location, d.Photos[i].Device = nil, ""
		}
		if m.NoCrew {
			d.Photos[i].Crew = ""
		}
	}
	return d
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
	places, devices, crews := m.tells()
	return m.NoLocation && places+devices > 0 || m.NoCrew && len(crews) > 0
}

// noteLeftOut writes down what the record lacks on purpose, and finds names of
// crews that stand where nothing is left out.
func (m *maker) noteLeftOut() {
	say := func(format string, args ...any) {
		m.contents.LeftOut = append(m.contents.LeftOut, fmt.Sprintf(format, args...))
	}
	places, devices, crews := m.tells()
	if m.NoLocation {
		rewritten := 0
		for _, p := range m.contents.Photos {
			if p.Original != "" {
				rewritten++
			}
		}
		say("where the photos were taken (told for %d of them) and with which device (%d)", places, devices)
		say("%d of %d photos were written anew without location, device, maker's notes, captions and previews; the picture in them is the original's bit for bit, and %s names the hash of each original", rewritten, len(m.contents.Photos), contentsPath)
	}
	if m.NoCrew {
		say("the names of the crews (%d) and the list that tells crews", len(crews))
		m.doubtCrews(crews)
	}
	if m.unread > 0 {
		say("%d photos that could not be read when they were inspected: nothing tells whether a file under their name is the one", m.unread)
	}
	if m.Report != nil && m.reportTells() {
		say("%s: its pages tell what is left out", reportPath)
	}
}

func (m *maker) doubtCrews(crews []string) {
	for _, crew := range crews {
		for _, p := range m.contents.Photos {
			if strings.Contains(strings.ToLower(p.File), strings.ToLower(crew)) {
				m.doubts = append(m.doubts, fmt.Sprintf("the name of photo %s holds that of a crew", p.File))
				break
			}
		}
		for _, d := range m.Decisions {
			if strings.Contains(strings.ToLower(d.Note+" "+d.Who), strings.ToLower(crew)) {
				m.doubts = append(m.doubts, fmt.Sprintf("a decision of %s on %s holds the name of a crew", d.Who, d.File))
				break
			}
		}
		if strings.Contains(strings.ToLower(m.contents.Title), strings.ToLower(crew)) {
			m.doubts = append(m.doubts, "the title of the schedule holds the name of a crew")
		}
	}
}
