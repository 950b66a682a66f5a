package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"coursegauge/report/inspection"
)

const testdata = "../../testdata"

// inspectedJob is a job of testdata/photos after the program has seen it.
type inspectedJob struct {
	name, folder, out string
	status            int
	said              string
	document          inspection.Document
}

// inspectedJobs runs the program over testdata/photos once for all tests.
var inspectedJobs = sync.OnceValues(func() ([]inspectedJob, error) {
	schedules, err := filepath.Glob(filepath.Join(testdata, "photos/*/schedule.yaml"))
	if err != nil || len(schedules) == 0 {
		return nil, fmt.Errorf("no job in %s/photos (%v); is this a complete clone?", testdata, err)
	}
	var jobs []inspectedJob
	for _, s := range schedules {
		j := inspectedJob{folder: filepath.Dir(s)}
		j.name = filepath.Base(j.folder)
		j.out = filepath.Join(os.Getenv("XDG_CACHE_HOME"), "jobs", j.name) // goes with the tests' own folder
		var out, stderr strings.Builder
		j.status = run([]string{"inspect", j.folder, "--schedule", s, "--out", j.out}, &terminal{out: &out, err: &stderr})
		j.said = out.String() + stderr.String()
		if j.document, err = inspection.ReadFile(filepath.Join(j.out, "inspection.json")); err != nil {
			return nil, fmt.Errorf("%s: %w\n%s", j.name, err, j.said)
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
})

func mustInspect(t *testing.T) []inspectedJob {
	t.Helper()
	jobs, err := inspectedJobs()
	if err != nil {
		t.Fatal(err)
	}
	return jobs
}

// truthOf is the part of a rendered scene's truth that is compared here.
// Lengths in mm, px upright.
type truthOf struct {
	Measurable bool    `json:"measurable"`
	Reason     *string `json:"reason"`
	Fasteners  []struct {
		ID        string     `json:"id"`
		Px        [2]float64 `json:"px"`
		RadiusPx  float64    `json:"radius_px"`
		AboveButt float64    `json:"above_butt_mm"`
		Exposed   bool       `json:"exposed"`
		Visible   bool       `json:"visible"`
	} `json:"fasteners"`
}

func readTruth(t *testing.T, j inspectedJob, file string) truthOf {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(j.folder, strings.TrimSuffix(file, filepath.Ext(file))+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth truthOf
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return truth
}

// headAt is the head found nearest to a true place, no farther than 0.7 of the
// true radius or 8 px; nil when there is none.
func headAt(heads []inspection.Fastener, px [2]float64, radius float64) *inspection.Fastener {
	var found *inspection.Fastener
	nearest := max(0.7*radius, 8)
	for i, h := range heads {
		if d := math.Hypot(h.Px[0]-px[0], h.Px[1]-px[1]); d <= nearest {
			nearest, found = d, &heads[i]
		}
	}
	return found
}

// The rendered scenes against their truth, from the files on disk to the
// documents. The limits are a net, wider than what `make score` asks for.
func TestPhotosAgainstTruth(t *testing.T) {
	const leastRecall, p50Limit, maxLimit = 0.9, 1.0, 6.0 // share of visible heads; mm; mm
	var visible, found int
	var errors []float64
	refused := 0
	for _, j := range mustInspect(t) {
		for _, p := range j.document.Photos {
			truth := readTruth(t, j, p.File)
			if !truth.Measurable {
				refused++
				if p.Refusal == nil || truth.Reason == nil || p.Refusal.Reason != *truth.Reason {
					t.Errorf("%s/%s: %+v, want a refusal for %s", j.name, p.File, p.Refusal, *truth.Reason)
				}
				continue
			}
			if p.Refusal != nil {
				t.Errorf("%s/%s: refused: %+v", j.name, p.File, *p.Refusal)
				continue
			}
			for _, f := range truth.Fasteners {
				if !f.Visible {
					continue
				}
				visible++
				h := headAt(p.Heads, f.Px, f.RadiusPx)
				if h == nil {
					t.Logf("%s/%s: head %s at %.0f, %.0f is not found", j.name, p.File, f.ID, f.Px[0], f.Px[1])
					continue
				}
				found++
				if h.AboveButt != nil && !f.Exposed {
					errors = append(errors, math.Abs(h.AboveButt.MM-f.AboveButt))
				}
			}
		}
	}
	if refused == 0 || visible == 0 || len(errors) == 0 {
		t.Fatalf("%d photos to refuse, %d heads, %d heights: nothing was compared", refused, visible, len(errors))
	}
	slices.Sort(errors)
	p50, worst := errors[len(errors)/2], errors[len(errors)-1]
	t.Logf("%d of %d visible heads found; height above the butt: |error| median %.2f mm, worst %.2f mm", found, visible, p50, worst)
	if recall := float64(found) / float64(visible); recall < leastRecall || p50 > p50Limit || worst > maxLimit {
		t.Errorf("recall %.3f (at least %.2f), median %.2f mm (at most %.1f), worst %.2f mm (at most %.1f)", recall, leastRecall, p50, p50Limit, worst, maxLimit)
	}
}

// The documents field by field against the goldens.
func TestPhotosGolden(t *testing.T) {
	for _, j := range mustInspect(t) {
		t.Run(j.name, func(t *testing.T) {
			if j.status != exitDone && j.status != exitLook {
				t.Errorf("exit status %d\n%s", j.status, j.said)
			}
			d := inspection.Timeless(j.document)
			d.Tool = inspection.Tool{}
			got := encoded(t, d)
			path := filepath.Join(testdata, "goldens", j.name+".json")
			want, err := os.ReadFile(path)
			if err != nil && !*update {
				t.Fatalf("%v; go test ./cmd/coursegauge -run Golden -update makes it", err)
			}
			changes := differences("", decoded(t, want), decoded(t, []byte(got)))
			if *update {
				writeFile(t, path, []byte(got))
				t.Logf("%s renewed, %d fields moved beyond the tolerance", path, len(changes))
				return
			}
			for _, c := range changes[:min(len(changes), 20)] {
				t.Error(c)
			}
			if len(changes) > 20 {
				t.Errorf("and %d more", len(changes)-20)
			}
		})
	}
}

func decoded(t *testing.T, data []byte) any {
	t.Helper()
	if len(data) == 0 {
		return nil
	}
	var v any
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// tolerance of a number: other processors round otherwise in the last bits,
// and a threshold may then move a sub-pixel place a little. Half a tenth of a
// millimetre or pixel, a hundredth of a probability.
func tolerance(path string, v float64) float64 {
	switch {
	case strings.HasSuffix(path, ".p"), strings.Contains(path, ".p."), strings.HasSuffix(path, ".score"):
		return 0.02
	case strings.HasSuffix(path, ".id"), strings.Contains(path, ".totals."), strings.HasSuffix(path, ".piece"):
		return 0
	}
	return 0.05 + 1e-3*math.Abs(v)
}

var figures = regexp.MustCompile(`[0-9]+([./-][0-9]+)*`)

// differences names the fields in which two JSON values differ beyond the
// tolerance. Sentences are compared without the figures in them, which stand in
// fields of their own.
func differences(path string, want, got any) []string {
	differ := []string{fmt.Sprintf("%s: %v, want %v", path, got, want)}
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return differ
		}
		var out []string
		keys := maps.Clone(w)
		maps.Copy(keys, g)
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			out = append(out, differences(path+"."+k, w[k], g[k])...)
		}
		return out
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return []string{fmt.Sprintf("%s: %d entries, want %d", path, len(g), len(w))}
		}
		var out []string
		for i := range w {
			out = append(out, differences(fmt.Sprintf("%s[%d]", path, i), w[i], g[i])...)
		}
		return out
	case float64:
		if g, ok := got.(float64); ok && math.Abs(g-w) <= tolerance(path, w) {
			return nil
		}
		return differ
	case string:
		g, ok := got.(string)
		if ok && (g == w || figures.ReplaceAllString(g, "#") == figures.ReplaceAllString(w, "#") && strings.Contains(w, " ")) {
			return nil
		}
		return differ
	}
	if want == got {
		return nil
	}
	return differ
}

func TestDifferences(t *testing.T) {
	for _, c := range []struct {
		want, got string
		differ    bool
	}{
		{`{"mm": 10.00}`, `{"mm": 10.05}`, false},
		{`{"mm": 10.00}`, `{"mm": 10.20}`, true},
		{`{"mm": 10.00}`, `{}`, true},
		{`{}`, `{"mm": 10.00}`, true},
		{`{"id": 1}`, `{"id": 2}`, true},
		{`{"p": 0.5}`, `{"p": 0.51}`, false},
		{`{"verdict": "clear"}`, `{"verdict": "suspect"}`, true},
		{`{"text": "0.31 in above the band"}`, `{"text": "0.32 in above the band"}`, false},
		{`{"text": "0.31 in above the band"}`, `{"text": "0.31 in below the band"}`, true},
		{`{"file": "roof-001.jpg"}`, `{"file": "roof-002.jpg"}`, true},
		{`[1, 2]`, `[1]`, true},
		{`[true, null]`, `[true, null]`, false},
	} {
		if got := differences("", decoded(t, []byte(c.want)), decoded(t, []byte(c.got))); (len(got) > 0) != c.differ {
			t.Errorf("%s and %s: %q, want some: %v", c.want, c.got, got, c.differ)
		}
	}
}
