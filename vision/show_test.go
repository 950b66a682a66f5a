package vision

import (
	"errors"
	"os"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"coursegauge/vision/card"
)

// virtualMB is how much memory this process has mapped.
func virtualMB(t *testing.T) int {
	t.Helper()
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Skip("no /proc here to tell the memory: ", err)
	}
	pages := 0
	for _, r := range strings.Fields(string(text))[0] {
		pages = 10*pages + int(r-'0')
	}
	return pages * os.Getpagesize() >> 20
}

// A picture that could not be drawn to the end is closed and not handed on.
func TestShowClosesWhatFailed(t *testing.T) {
	p := &pass{o: Options{Stages: func(name string, _ gocv.Mat) { t.Errorf("%s was handed on", name) }}}
	const each, times = 32, 24 // MB
	before := virtualMB(t)
	for range times {
		p.show("broken", func() (gocv.Mat, error) {
			return gocv.NewMatWithSize(each<<10, 1<<10, gocv.MatTypeCV8UC1), errors.New("not drawn")
		})
	}
	if more := virtualMB(t) - before; more > each*times/4 {
		t.Errorf("%d pictures of %d MB left %d MB behind", times, each, more)
	}
	p.show("none", func() (gocv.Mat, error) { return gocv.Mat{}, errors.New("never made") })
}

// What a refusal says and what it advises are two things: together they do not
// say the same twice.
func TestAdviceIsNotSaidTwice(t *testing.T) {
	for _, u := range []*card.Unseen{
		{Kind: card.ErrTwo, Numbers: map[int]int{1: 20, 2: 20}},
		{Kind: card.ErrOutside, Outside: []int{990}, Legal: 27},
	} {
		p := &pass{r: &Result{}}
		r, err := p.noCard(u)
		if err != nil || r == nil {
			t.Fatal(r, err)
		}
		for _, verb := range []string{"leave", "print", "use", "take"} {
			if strings.Contains(r.Detail, verb+" ") {
				t.Errorf("%q advises already, before %q", r.Detail, r.Advice)
			}
		}
	}
}
