package main

import (
	"fmt"
	"sync"

	"github.com/schollz/progressbar/v3"
)

// progress tells how far a batch is: a bar with count, rate and time left on a
// terminal, a plain line a photo elsewhere. Workers call it at any time.
type progress struct {
	mu    sync.Mutex
	t     *terminal
	bar   *progressbar.ProgressBar // nil: plain lines
	total int
	done  int
}

func newProgress(t *terminal, total int) *progress {
	p := &progress{t: t, total: total}
	if t.live {
		p.bar = progressbar.NewOptions(total,
			progressbar.OptionSetWriter(t.err),
			progressbar.OptionSetDescription("photos"),
			progressbar.OptionShowCount(),
			progressbar.OptionShowIts(),
			progressbar.OptionSetItsString("photos"),
			progressbar.OptionSetPredictTime(true),
			progressbar.OptionSetWidth(24),
			progressbar.OptionClearOnFinish(),
		)
		_ = p.bar.RenderBlank() // a bar that cannot be drawn is no reason to stop
	}
	return p
}

// photo tells that one more photo is done.
func (p *progress) photo(name, what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	if p.bar != nil {
		_ = p.bar.Add(1)
		return
	}
	width := len(fmt.Sprint(p.total))
	p.t.tell("[%*d/%d] %s: %s", width, p.done, p.total, name, what)
}

// end leaves the line to others.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		_ = p.bar.Clear()
	}
}
