package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/crew"
	"coursegauge/vision"
)

// A list of crews beside the schedule is found and said; one that is named
// comes before it; a broken one stops the run before a photo is opened.
func TestCrews(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "north/a.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "south/b.jpg"), cardless(t, 640, 481))
	writeFile(t, filepath.Join(dir, "job/lot.yaml"), []byte(goodSchedule))
	writeFile(t, filepath.Join(dir, "job/crews.yaml"), []byte("folders: {north: first crew}\n"))
	writeFile(t, filepath.Join(dir, "other.yaml"), []byte("folders: {south: second crew}\n"))
	writeFile(t, filepath.Join(dir, "bad.yaml"), []byte("cards: {28: first crew}\n"))
	crews := func(out string) string {
		var names []string
		for _, p := range inspectionIn(t, filepath.Join(dir, out)).Photos {
			names = append(names, p.File+"="+p.Crew)
		}
		return strings.Join(names, " ")
	}
	r := runIn(t, dir, "inspect", "north", "south", "--schedule", "job/lot.yaml", "--out", "out")
	r.said(t, exitLook, "crews: job/crews.yaml, found beside the schedule")
	if got := crews("out"); got != "north/a.jpg=first crew south/b.jpg=" {
		t.Error(got)
	}
	if strings.Contains(r.err, "no photo lies in") {
		t.Error(r.err)
	}
	writeFile(t, filepath.Join(dir, "misspelt.yaml"), []byte("folders: {nroth: first crew, south: second crew, west: third crew}\n"))
	r = runIn(t, dir, "inspect", "north", "south", "--schedule", "job/lot.yaml", "--out", "misspelt", "--crews", "misspelt.yaml")
	r.said(t, exitLook, "warning: crews.yaml: no photo lies in nroth, west; write each folder as it is called")
	r = runIn(t, dir, "ledger", "add", "misspelt", "--ledger", "l", "--crews", "misspelt.yaml")
	r.said(t, exitDone, "warning: crews.yaml: no photo lies in nroth, west;")
	r = runIn(t, dir, "inspect", "north", "south", "--schedule", "job/lot.yaml", "--out", "out", "--crews", "other.yaml")
	r.said(t, exitLook)
	if strings.Contains(r.err, "found beside") || crews("out") != "north/a.jpg= south/b.jpg=second crew" {
		t.Error(crews("out"), r.err)
	}
	for name, words := range map[string]string{"bad.yaml": "bad.yaml:1:9: card \"28\": cards have numbers from 0 to 27", "none.yaml": "--crews none.yaml"} {
		r = runIn(t, dir, "inspect", "north", "--schedule", "job/lot.yaml", "--out", "never", "--crews", name)
		r.said(t, exitUsage, words)
		r.oneError(t)
	}
	if _, err := os.Stat(filepath.Join(dir, "never")); err == nil {
		t.Error("a folder was made for nothing")
	}
}

// The card that is seen tells the crew before folder and phone do, and a
// contradiction is told.
func TestCrewByCard(t *testing.T) {
	l, err := crew.Read("crews.yaml", []byte("cards: {2: first crew}\nfolders: {north: second crew}\n"))
	if err != nil {
		t.Fatal(err)
	}
	p := photoFile{path: "north/a.jpg", name: "a.jpg"}
	if name, doubt := crewOf(l, p, "", &vision.CardSight{Number: 2}); name != "first crew" || !strings.Contains(doubt, "second crew") {
		t.Errorf("%q, %q", name, doubt)
	}
	if name, doubt := crewOf(l, p, "", nil); name != "second crew" || doubt != "" {
		t.Errorf("without a card: %q, %q", name, doubt)
	}
}
