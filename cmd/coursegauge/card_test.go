package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"coursegauge/calibrate/print"
)

func TestCardMake(t *testing.T) {
	dir := t.TempDir()
	for file, starts := range map[string][]string{"a.pdf": {"%PDF-"}, "b.svg": {"<?xml", "<svg"}, "c.PNG": {"\x89PNG"}} {
		runIn(t, dir, "card", "make", "--number", "6", "--paper", "A4", "--lang", "es", "--out", file).said(t, exitDone, file)
		for _, name := range []string{file, file[:1] + "-2" + file[1:]} {
			b, err := os.ReadFile(filepath.Join(dir, name))
			if file == "a.pdf" && name != file { // both pages are in the one
				if err == nil {
					t.Errorf("%s was written", name)
				}
				continue
			}
			ok := false
			for _, s := range starts {
				ok = ok || bytes.HasPrefix(b, []byte(s))
			}
			if err != nil || !ok {
				t.Errorf("%s: %v, begins %.20q", name, err, b)
			}
		}
	}
}

// TestCardWrongUse: each mistake is one line that says what to do, and writes nothing.
func TestCardWrongUse(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"make", "--number", "28", "--out", "x.pdf"}, "0 to 27"},
		{[]string{"make", "--number", "-2", "--out", "x.pdf"}, "0 to 27"},
		{[]string{"make", "--out", "x.pdf"}, "--number is missing"},
		{[]string{"make", "--number", "3"}, "--out is missing"},
		{[]string{"make", "--number", "3", "--out", "x.jpg"}, ".pdf, .svg or .png"},
		{[]string{"make", "--number", "3", "--paper", "a5", "--out", "x.pdf"}, "letter and a4"},
		{[]string{"make", "--number", "3", "--lang", "xx", "--out", "x.pdf"}, "en, es"},
		{[]string{"make", "3", "--out", "x.pdf"}, `takes no "3"`},
		{[]string{"make", "--number", "three", "--out", "x.pdf"}, "whole number"},
		{[]string{"prove", "--number", "3", "--length", "10", "--out", "x.json"}, "no unit"},
		{[]string{"prove", "--number", "28", "--length", "10.02in", "--out", "x.json"}, "0 to 27"},
		{[]string{"prove", "--length", "10.02in", "--out", "x.json"}, "--number is missing"},
		{[]string{"prove", "--number", "3", "--out", "x.json"}, "--length is missing"},
		{[]string{"prove", "--number", "3", "--length", "10.02in"}, "--out is missing"},
		{[]string{"prove", "--number", "3", "--length", "9.6in", "--out", "x.json"}, "4.0 % too small"},
		{[]string{"prove", "--number", "3", "--length", "10.02in", "--short", "6.85in", "--out", "x.json"}, "too long for its height"},
		{[]string{"prove", "--number", "3", "--length", "10.02in", "--out", "."}, "--out ."},
	} {
		dir := t.TempDir()
		r := runIn(t, dir, append([]string{"card"}, c.args...)...)
		r.said(t, exitUsage, c.says)
		r.oneError(t)
		if left := filesIn(t, dir); len(left) > 0 {
			t.Errorf("%v left %v", c.args, left)
		}
	}
}

// TestCardProve: the file keeps the other cards, replaces the same number, and
// is left alone when it is something else.
func TestCardProve(t *testing.T) {
	dir := t.TempDir()
	prove := func(args ...string) ran {
		return runIn(t, dir, append([]string{"card", "prove", "--out", "cards.json"}, args...)...)
	}
	prove("--number", "3", "--length", "10.02in", "--thickness", "3mm").said(t, exitDone, "100.20 %", "the short side was not measured")
	prove("--number", "1", "--length", "253.6mm", "--short", "177.6mm").said(t, exitDone, "99.84 %", "99.89 %")
	prove("--number", "3", "--length", "10.03in", "--json").said(t, exitDone, `"read": "10.03in"`)
	data, err := os.ReadFile(filepath.Join(dir, "cards.json"))
	if err != nil {
		t.Fatal(err)
	}
	f, err := print.Parse(data)
	if err != nil || len(f.Cards) != 2 || f.Cards[1].Long.Read != "10.03in" || f.Cards[1].Thickness != nil {
		t.Errorf("%v: %+v", err, f)
	}
	writeFile(t, filepath.Join(dir, "other.json"), []byte(`{"a": 1}`))
	r := runIn(t, dir, "card", "prove", "--number", "3", "--length", "10.02in", "--out", "other.json")
	r.said(t, exitUsage, "no card file")
	if b, _ := os.ReadFile(filepath.Join(dir, "other.json")); string(b) != `{"a": 1}` {
		t.Errorf("the file was changed: %s", b)
	}
}
