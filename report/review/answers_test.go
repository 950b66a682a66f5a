package review

import (
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"coursegauge/report/inspection"
)

// with sets the time, so that the latest is known.
func (d Decision) at(when string) Decision { d.When = "2026-05-04T" + when + ":00Z"; return d }

func TestAnswers(t *testing.T) {
	a := decided(5, Wrong).at("10:00")
	b := decided(5, Sound, a.ID).at("10:01")
	c := decided(5, Sound).at("10:02") // did not see the others
	open := decided(5, Undecided, a.ID).at("10:03")
	settled := decided(5, Unsure, b.ID, a.ID, c.ID).at("10:04")
	elsewhere := decided(6, Sound, a.ID)
	for _, x := range []struct {
		name string
		in   []Decision
		want string
	}{
		{"none", nil, ""},
		{"one", []Decision{a}, Wrong},
		{"changed", []Decision{a, b}, Sound},
		{"two that disagree", []Decision{a, c}, Conflict},
		{"two that agree", []Decision{b, a, c}, Sound},
		{"taken back", []Decision{a, open}, ""},
		{"taken back, and another one's answer", []Decision{a, open, c}, Sound},
		{"a conflict settled", []Decision{a, c, settled}, Unsure},
		{"a decision follows its own target alone", []Decision{a, elsewhere}, Wrong},
		{"the same line twice", []Decision{a, a}, Wrong},
	} {
		for range 6 {
			rand.Shuffle(len(x.in), reflect.Swapper(x.in))
			if got, _ := Fold(x.in).Answer(a.Photo, "head/5"); got != x.want {
				t.Errorf("%s: %q, want %q", x.name, got, x.want)
			}
		}
	}
	if got := Fold([]Decision{a, c}).Conflicts(); len(got) != 1 || got[0] != a.Key() {
		t.Errorf("conflicts %q", got)
	}
	if _, by := Fold([]Decision{c, b, a}).Answer(a.Photo, "head/5"); by == nil || by.ID != c.ID {
		t.Errorf("%+v answers, want the latest", by)
	}
}

func TestMissed(t *testing.T) {
	place := decided(0, Missed)
	place.Target = PlaceTarget(inspection.XY{812.46, 430})
	back := place
	back.ID, back.What, back.Seen = NewID(), Undecided, []string{place.ID}
	if got := Fold([]Decision{place, decided(1, Wrong)}).Missed(place.Photo); len(got) != 1 {
		t.Fatalf("%+v", got)
	} else if at, ok := got[0].Place(); !ok || at != (inspection.XY{812.5, 430}) {
		t.Errorf("at %v", at)
	}
	if got := Fold([]Decision{place, back}).Missed(place.Photo); len(got) != 0 {
		t.Errorf("taken back, and yet %+v", got)
	}
}

func TestCheckWhat(t *testing.T) {
	for target, legal := range map[string]string{
		"head/5": "wrong sound unsure no_nail open", "piece/0/gap/1": "wrong sound unsure open", "joint/2/offset/0": "wrong sound unsure open",
		"place/10.0/20.5": "missed open", "photo": "complete open",
		"head/": "", "head/-1": "", "head/5/6": "", "piece/0": "", "place/1": "", "place/NaN/2": "", "place/1e9/2": "", "roof": "", "": "",
	} {
		for _, what := range []string{Wrong, Sound, Unsure, NoNail, Missed, Complete, Undecided, "", "Wrong"} {
			d := decided(1, what)
			d.Target = target
			if want := what != "" && strings.Contains(" "+legal+" ", " "+what+" "); (d.check() == nil) != want {
				t.Errorf("%q of %q: %v, want it accepted: %v", what, target, d.check(), want)
			}
		}
	}
	for name, spoil := range map[string]func(*Decision){
		"format": func(d *Decision) { d.Format = "x" }, "id": func(d *Decision) { d.ID = "../../etc" },
		"photo": func(d *Decision) { d.Photo = "a.jpg" }, "when": func(d *Decision) { d.When = "today" },
		"note": func(d *Decision) { d.Note = strings.Repeat("x", maxText+1) }, "seen": func(d *Decision) { d.Seen = []string{"1"} },
		"letters": func(d *Decision) { d.Who = "\xff" },
	} {
		d := decided(1, Wrong)
		spoil(&d)
		if d.check() == nil {
			t.Errorf("a bad %s was accepted", name)
		}
	}
}

// What was undone, or followed by another decision, is not counted.
func TestStand(t *testing.T) {
	a := decided(5, Wrong)
	for _, c := range []struct {
		name string
		in   []Decision
		want int
	}{
		{"none", nil, 0},
		{"two heads", []Decision{a, decided(6, Sound)}, 2},
		{"undone", []Decision{a, decided(5, Undecided, a.ID)}, 0},
		{"changed", []Decision{a, decided(5, Sound, a.ID)}, 1},
		{"a disagreement", []Decision{a, decided(5, Sound)}, 2},
		{"undone by who did not see it", []Decision{a, decided(5, Undecided)}, 1},
	} {
		if got := Fold(c.in).Stand(); got != c.want {
			t.Errorf("%s: %d stand, want %d", c.name, got, c.want)
		}
	}
}

func TestKnown(t *testing.T) {
	piece, joint := 0, 1
	doc := inspection.Document{Photos: []inspection.Photo{{
		File: "a.jpg", SHA256: strings.Repeat("ab", 32), Image: &inspection.Image{Width: 4000, Height: 3000},
		Heads:    []inspection.Fastener{{ID: 5, Px: inspection.XY{100, 200}, RadiusPx: 14}},
		Findings: []inspection.Finding{{Rule: "gap", Piece: &piece}, {Rule: "gap", Piece: &piece}, {Rule: "offset", Joint: &joint}},
	}}}
	known := NewKnown(doc)
	near, far := inspection.XY{103, 204}, inspection.XY{400, 200}
	for _, c := range []struct {
		target string
		px     *inspection.XY
		ok     bool
	}{
		{"head/5", nil, true}, {"head/5", &near, true}, {"head/5", &far, false}, {"head/6", nil, false},
		{"piece/0/gap/1", nil, true}, {"piece/0/gap/2", nil, false}, {"joint/1/offset/0", nil, true},
		{"place/3999.0/10.0", nil, true}, {"place/4100.0/10.0", nil, false}, {"photo", nil, true},
	} {
		d := decided(1, Wrong)
		d.Target, d.Px = c.target, c.px
		if err := known.Check(d); (err == nil) != c.ok {
			t.Errorf("%s at %v: %v", c.target, c.px, err)
		}
	}
	stranger := decided(5, Wrong)
	stranger.Photo = strings.Repeat("cd", 32)
	if n := Strangers(doc, []Decision{stranger, decided(5, Wrong)}); n != 1 {
		t.Errorf("%d strangers", n)
	}
	undone := decided(5, Undecided, stranger.ID)
	undone.Photo = stranger.Photo
	if n := Strangers(doc, []Decision{stranger, decided(5, Wrong), undone}); n != 0 {
		t.Errorf("%d strangers, the only one was undone", n)
	}
}
