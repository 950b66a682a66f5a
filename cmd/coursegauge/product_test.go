package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
)

// A schedule of another product is told: first in the summary, at the top of
// the report, for programs, and in the mend list; so are fewer words where it fits.
func TestOtherProductIsTold(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	photo := mustRead(t, "../../testdata/photos/laminated-metric/roof-004.jpg")
	writeFile(t, filepath.Join(dir, "in/roof.jpg"), photo)
	for name, from := range map[string]string{"right.yaml": "laminated-metric", "wrong.yaml": "threetab-inch"} {
		writeFile(t, filepath.Join(dir, name), mustRead(t, "../../testdata/photos/"+from+"/schedule.yaml"))
	}
	const told = "this looks like another product"
	for name, c := range map[string]struct{ other bool }{"right": {false}, "wrong": {true}} {
		r := runIn(t, dir, "inspect", "in", "--schedule", name+".yaml", "--out", name)
		want := exitDone
		if c.other {
			want = exitLook
		}
		if r.status != want || strings.HasPrefix(r.out, "1 of 1 photo that could tell do not fit") != c.other || strings.Contains(r.out, told) != c.other {
			t.Errorf("%s: exit status %d, said:\n%s", name, r.status, r.out)
		}
		report := mustRead(t, filepath.Join(dir, name, "report.html"))
		at, summary := bytes.Index(report, []byte(told)), bytes.Index(report, []byte(`<div class="panes">`))
		if (at >= 0) != c.other || at > summary {
			t.Errorf("%s: the report tells it at %d, its summary begins at %d", name, at, summary)
		}
		for lang, words := range map[string]string{"en": told, "es": "parece otro producto"} {
			runIn(t, dir, "review", name, "--mend", "m-"+lang+".html", "--lang", lang).said(t, exitDone)
			if got := bytes.Contains(mustRead(t, filepath.Join(dir, "m-"+lang+".html")), []byte(words)); got != c.other {
				t.Errorf("%s: the list (%s) tells it: %v", name, lang, got)
			}
		}
	}
	r := runIn(t, dir, "inspect", "in", "--schedule", "wrong.yaml", "--out", "wrong", "--json")
	var s summary
	if err := json.Unmarshal([]byte(r.out), &s); err != nil || s.Product.Off != 1 || s.Product.Of != 1 || !strings.Contains(s.Product.Warning, told) {
		t.Errorf("%v: %+v", err, s.Product)
	}
}
