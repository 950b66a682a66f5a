package page

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/schedule"
	"coursegauge/vision/length"
	"coursegauge/vision/stats"
)

// facts say what was photographed: folders, crews, and when.
func facts(photos []inspection.Photo) (out []pair) {
	folders, crews, first, last := map[string]int{}, map[string]int{}, "", ""
	for _, p := range photos {
		folders[path.Dir(p.File)]++
		if p.Crew != "" {
			crews[p.Crew]++
		}
		if p.Taken != "" && (first == "" || p.Taken < first) {
			first = p.Taken
		}
		last = max(last, p.Taken)
	}
	if len(folders) > 1 {
		out = append(out, pair{"folders", counted(folders)})
	}
	if len(crews) > 0 {
		out = append(out, pair{"crews", counted(crews)})
	}
	if first != "" {
		span := minute(first)
		if minute(last) != span {
			span += " to " + minute(last)
		}
		out = append(out, pair{"taken", span})
	}
	return out
}

// minute is a time as in EXIF or RFC 3339 without its seconds.
func minute(taken string) string {
	return strings.Replace(taken[:min(len(taken), len("2006-01-02T15:04"))], "T", " ", 1)
}

// counted is "north (12), south (8)", at most eight of them.
func counted(of map[string]int) string {
	names := slices.SortedFunc(maps.Keys(of), func(a, b string) int { return cmp.Or(of[b]-of[a], cmp.Compare(a, b)) })
	var words []string
	for i, n := range names {
		if i == 8 {
			words = append(words, fmt.Sprintf("%d more", len(names)-i))
			break
		}
		words = append(words, fmt.Sprintf("%s (%d)", n, of[n]))
	}
	return strings.Join(words, ", ")
}

// located says what the files tell about where the photos were taken and with
// what, or that this was left out.
func located(photos []inspection.Photo, o Options) string {
	if o.NoLocation {
		return "Where the photos were taken, and with which device, was left out on request."
	}
	places, devices := 0, 0
	for _, p := range photos {
		if p.Location != nil {
			places++
		}
		if p.Device != "" {
			devices++
		}
	}
	switch {
	case places > 0:
		return fmt.Sprintf("Location inside: inspection.json holds where %s taken, and the device. Before you pass the files on: inspect --no-location leaves both out.", wereTaken(places))
	case devices > 0:
		return "Device inside: the files tell with which device the photos were taken. Before you pass them on: inspect --no-location leaves that out."
	}
	return ""
}

func wereTaken(n int) string {
	if n == 1 {
		return "1 photo was"
	}
	return grouped(n) + " photos were"
}

// sampleWords say what the count of suspects supports.
func sampleWords(t inspection.Totals, s schedule.Schedule, squares float64) []string {
	n, k := t.Fasteners, t.Verdicts["suspect"]
	if n == 0 {
		return []string{"No fastener was measured, so nothing can be said of the roof."}
	}
	out := []string{seenShare(n, s, squares)}
	if k == 0 {
		out = append(out, fmt.Sprintf("None suspect of %s: with 95 %% confidence under %s of fasteners like these (exact one-sided bound).", grouped(n), share(stats.NoneSeen(n))))
	} else {
		i := stats.Wilson(k, n)
		out = append(out, fmt.Sprintf("%s suspect of %s (%s): with 95 %% confidence between %s and %s of fasteners like these (Wilson interval).", grouped(k), grouped(n), share(float64(k)/float64(n)), share(i.Low), share(i.High)))
	}
	return append(out, "Photos of neighbouring pieces are no random sample: faults come in runs, so the truth may lie farther off than the interval says.")
}

// seenShare compares what was measured with how many fasteners the roof has:
// its area over that of a piece's exposure, times the heads of a piece.
func seenShare(n int, s schedule.Schedule, squares float64) string {
	piece := float64(s.Shingle.Exposure*s.Shingle.Width) / float64(length.Inch*length.Inch)
	if squares <= 0 || piece <= 0 {
		return fmt.Sprintf("%s seen. How many the roof has was not told (inspect --squares N), so the share that was seen is not known.", fasteners(n))
	}
	const square = 100 * 144 // sq in
	all := squares * square / piece * float64(s.Fasteners.PerPiece)
	return fmt.Sprintf("%s of about %s fasteners seen (%s squares of 100 sq ft, %d a piece).",
		share(math.Min(1, float64(n)/all)), grouped(rounded(all)), strconv.FormatFloat(squares, 'f', -1, 64), s.Fasteners.PerPiece)
}

func fasteners(n int) string {
	if n == 1 {
		return "1 fastener"
	}
	return grouped(n) + " fasteners"
}

// rounded keeps two digits.
func rounded(v float64) int {
	if v < 10 {
		return int(math.Round(v))
	}
	k := math.Pow10(int(math.Floor(math.Log10(v))) - 1)
	return int(math.Round(v/k) * k)
}

// share prints a share in percent with one decimal, never nought for what is
// more than that.
func share(p float64) string {
	v := 100 * p
	switch {
	case v == 0:
		return "0 %"
	case v < 0.1:
		return "under 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", v)
}

// grouped prints a count with commas between the thousands.
func grouped(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// ruleRow is one rule with what it found; the bar ends at the shares of the most.
type ruleRow struct {
	Rule                    string
	Suspect, Unresolved     int
	SuspectTo, UnresolvedTo string
}

// ruleRows lists the rules that anything broke or might have, most suspects first.
func ruleRows(t inspection.Totals) (out []ruleRow) {
	most := 0
	rules := maps.Clone(t.SuspectsByRule)
	maps.Copy(rules, t.Unresolved)
	for rule := range rules {
		s, u := t.SuspectsByRule[rule], t.Unresolved[rule]
		if s+u > 0 {
			out = append(out, ruleRow{Rule: RuleWords(rule), Suspect: s, Unresolved: u})
			most = max(most, s+u)
		}
	}
	for i, r := range out {
		out[i].SuspectTo = num(100 * float64(r.Suspect) / float64(most))
		out[i].UnresolvedTo = num(100 * float64(r.Suspect+r.Unresolved) / float64(most))
	}
	slices.SortFunc(out, func(a, b ruleRow) int {
		return cmp.Or(b.Suspect-a.Suspect, b.Unresolved-a.Unresolved, cmp.Compare(a.Rule, b.Rule))
	})
	return out
}

// crewRow is the share of suspect heads of one crew with its 95 % interval, in
// hundredths of the plot's width.
type crewRow struct {
	Crew           string
	Suspect, Heads int
	Low, High, At  string
	Words          string
}

// crewRows are empty unless somebody told whose photos these are; scale is the
// share at the plot's right border.
func crewRows(photos []inspection.Photo) (out []crewRow, scale string) {
	suspect, heads, named := map[string]int{}, map[string]int{}, false
	for _, p := range photos {
		named = named || p.Crew != ""
		for _, h := range p.Heads {
			heads[p.Crew]++
			if h.Verdict == "suspect" {
				suspect[p.Crew]++
			}
		}
	}
	if !named {
		return nil, ""
	}
	top := 0.0
	for crew := range heads {
		top = max(top, stats.Wilson(suspect[crew], heads[crew]).High)
	}
	top = math.Ceil(top*10) / 10
	for _, crew := range slices.Sorted(maps.Keys(heads)) {
		k, n := suspect[crew], heads[crew]
		i := stats.Wilson(k, n)
		name := crew
		if name == "" {
			name = "not told"
		}
		at := func(p float64) string { return num(100 * p / top) }
		out = append(out, crewRow{name, k, n, at(i.Low), at(i.High), at(float64(k) / float64(n)),
			fmt.Sprintf("%s, 95 %% interval %s to %s", share(float64(k)/float64(n)), share(i.Low), share(i.High))})
	}
	return out, share(top)
}

func refusedRows(photos []inspection.Photo) (out []refusedRow) {
	for _, p := range photos {
		if p.Refusal != nil {
			out = append(out, refusedRow{sectionID(p.File), p.Shown(), say(reasonWords, p.Refusal.Reason), sentence(capital(p.Refusal.Advice))})
		}
	}
	return out
}

// reasons is "2 the photo is blurred, 1 no card in sight".
func reasons(counts map[string]int) string {
	var words []string
	for _, reason := range slices.SortedFunc(maps.Keys(counts), func(a, b string) int { return cmp.Or(counts[b]-counts[a], cmp.Compare(a, b)) }) {
		words = append(words, fmt.Sprintf("%d × %s", counts[reason], say(reasonWords, reason)))
	}
	return strings.Join(words, ", ")
}
