package crew_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"coursegauge/report/crew"
	"coursegauge/report/yamltext"
)

const file = `# who is who
cards:
  3: first crew
  4: second crew
folders:
  north: second crew
  lot-7/north: third crew
devices: {Example  Phone 12: fourth crew, 5: fifth crew}
`

func TestOf(t *testing.T) {
	l, err := crew.Read("crews.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what   string
		photo  crew.Photo
		name   string
		rivals []string
	}{
		{"card", crew.Photo{Card: 3, Path: "/p/a.jpg"}, "first crew", nil},
		{"no card", crew.Photo{Card: -1, Path: "/p/a.jpg"}, "", nil},
		{"card of nobody", crew.Photo{Card: 0, Path: "/p/a.jpg"}, "", nil},
		{"folder", crew.Photo{Card: -1, Path: "/jobs/north/a.jpg"}, "second crew", nil},
		{"folder above", crew.Photo{Card: -1, Path: "/jobs/north/monday/a.jpg"}, "second crew", nil},
		{"the longer of two", crew.Photo{Card: -1, Path: "/jobs/lot-7/north/a.jpg"}, "third crew", nil},
		{"a part of a name is none", crew.Photo{Card: -1, Path: "/jobs/north-west/a.jpg"}, "", nil},
		{"the file's own name is none", crew.Photo{Card: -1, Path: "/jobs/north"}, "", nil},
		{"device, however it is written", crew.Photo{Card: -1, Path: "/p/a.jpg", Device: "example phone 12"}, "fourth crew", nil},
		{"device that is a number", crew.Photo{Card: -1, Path: "/p/a.jpg", Device: "5"}, "fifth crew", nil},
		{"card before the others", crew.Photo{Card: 4, Path: "/lot-7/north/a.jpg", Device: "Example Phone 12"}, "second crew", []string{"third crew", "fourth crew"}},
		{"agreement is no rivalry", crew.Photo{Card: 4, Path: "/north/a.jpg"}, "second crew", nil},
	} {
		if name, rivals := l.Of(c.photo); name != c.name || !slices.Equal(rivals, c.rivals) {
			t.Errorf("%s: %q against %q, want %q against %q", c.what, name, rivals, c.name, c.rivals)
		}
	}
	if name, _ := (crew.List{}).Of(crew.Photo{Card: 3, Path: "/north/a.jpg"}); name != "" {
		t.Errorf("an empty list names %q", name)
	}
}

func TestUnused(t *testing.T) {
	l, err := crew.Read("crews.yaml", []byte("folders: {north: a, lot-7/north: b, nroth: c, south/west: d, a.jpg: e}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		paths []string
		want  string
	}{
		{nil, "a.jpg lot-7/north north nroth south/west"},
		{[]string{"/jobs/north/a.jpg"}, "a.jpg lot-7/north nroth south/west"},
		{[]string{"/lot-7/north/a.jpg"}, "a.jpg nroth south/west"}, // the shorter name is no mistake where the longer counts
		{[]string{"/north/x/a.jpg", "/p/south/west/1/2/b.jpg"}, "a.jpg lot-7/north nroth"},
		{[]string{"/south/x/west/b.jpg", "/north-west/b.jpg", "/north"}, "a.jpg lot-7/north north nroth south/west"},
	} {
		if got := strings.Join(l.Unused(c.paths), " "); got != c.want {
			t.Errorf("%q: unused %q, want %q", c.paths, got, c.want)
		}
	}
	if got := (crew.List{}).Unused([]string{"/north/a.jpg"}); len(got) > 0 {
		t.Errorf("of an empty list %q are unused", got)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "crews.yaml:1:1: no crews are named"},
		{"cards: {28: x}", `crews.yaml:1:9: card "28": cards have numbers from 0 to 27`},
		{"cards: {one: x}", "from 0 to 27"},
		{"cards: {3: x, 03: y}", "card 3 stands twice"},
		{"cards: {3: x, 3: y}", "stands twice"},
		{"cards: {3: }", "needs the name of one crew"},
		{"cards: {3: [a, b]}", "needs the name of one crew"},
		{"cards: 3", "no list of keys"},
		{"crews: {3: x}", `unknown key "crews"; legal keys are cards, folders, devices`},
		{"folders: {..: x}", "give the name of a folder"},
		{"folders: {north: x, north/: y}", "stands twice"},
		{"devices: {A  b: x, a b: y}", "stands twice"},
		{"- a", "no list of keys"},
		{"cards: {3: x", "this is no YAML"},
		{strings.Repeat("[", 60), "nested deeper than 50; a list of crews"},
	} {
		_, err := crew.Read("crews.yaml", []byte(c.text))
		var fault *yamltext.Error
		if !errors.As(err, &fault) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want one line with %q", c.text, err, c.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(file))
	f.Add([]byte("cards: {3: x, 03: y}"))
	f.Add([]byte("folders:\n  - a\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := crew.Read("f", data)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("more than one line: %q", err)
			}
			return
		}
		l.Of(crew.Photo{Card: 3, Path: "/a/b/c.jpg", Device: "x"})
	})
}
