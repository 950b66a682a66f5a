package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every photo of testdata explained, with its schedule and without: the answer
// is that of inspect, the page names the limits and shows in a browser.
func TestExplain(t *testing.T) {
	dir := t.TempDir()
	var pages []string
	for _, j := range mustInspect(t) {
		for _, p := range j.document.Photos {
			t.Run(j.name+"/"+p.File, func(t *testing.T) {
				out := filepath.Join(dir, j.name+"-"+p.File+".html")
				pages = append(pages, out)
				photo := filepath.Join(j.folder, p.File)
				r := say("explain", photo, "--schedule", filepath.Join(j.folder, "schedule.yaml"), "--out", out)
				if p.Refusal != nil {
					r.said(t, exitLook, "refused ("+p.Refusal.Reason+")", "NOT  ")
				} else {
					r.said(t, exitDone, plural(len(p.Heads), "fastener", "fasteners"), "angle off square to the card", "at most 52 degrees")
					if strings.Contains(r.out, "NOT  ") && !strings.Contains(r.out, "NOT  self-check") {
						t.Errorf("measured, and yet a limit is not kept:\n%s", r.out)
					}
				}
				data, err := os.ReadFile(out)
				if err != nil {
					t.Fatal(err)
				}
				for _, words := range []string{"softness of the card&#39;s edges", "drawn ", " times its length", "Stages"} {
					if p.Refusal == nil && !strings.Contains(string(data), words) {
						t.Errorf("the page lacks %q", words)
					}
				}
				if p.Refusal == nil {
					say("explain", photo, "--out", filepath.Join(dir, "short.html")).said(t, exitDone, "give --schedule to look for the course too", "bend of the card")
				}
			})
		}
	}
	browse(t, append(pages, filepath.Join(dir, "short.html"))...)
}

func TestExplainBadPhotos(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "text.jpg"), []byte("no picture"))
	writeFile(t, filepath.Join(dir, "plain.jpg"), cardless(t, 640, 480))
	writeFile(t, filepath.Join(dir, "tiny.jpg"), cardless(t, 40, 30))
	for name, words := range map[string]string{"text.jpg": "refused (unreadable)", "plain.jpg": "markers decoded: 0, at least 3", "tiny.jpg": "shorter side of the picture: 30 px, at least 200 px"} {
		runIn(t, dir, "explain", name).said(t, exitLook, words, strings.TrimSuffix(name, ".jpg")+"-explained.html")
	}
	browse(t, filepath.Join(dir, "text-explained.html"), filepath.Join(dir, "plain-explained.html"))
	for _, c := range []struct{ line, words string }{
		{"explain", "one photo is explained at a time, 0 given"},
		{"explain text.jpg plain.jpg", "one photo is explained at a time, 2 given"},
		{"explain none.jpg", "no such photo: none.jpg"},
		{"explain .", ". is a folder"},
		{"explain plain.jpg --schedule none.yaml", "--schedule none.yaml"},
		{"explain plain.jpg --out plain.jpg", "is the photo itself"},
	} {
		r := runIn(t, dir, strings.Fields(c.line)...)
		r.said(t, exitUsage, c.words)
		r.oneError(t)
	}
}
