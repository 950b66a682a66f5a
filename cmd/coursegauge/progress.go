package main

import (
	"fmt"
	"log/slog"
	"math"
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
	if t.live && t.log == nil {
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
func (p *progress) photo(name, what string) { p.step(name, what, []any{"file", name, "said", what}) }

// measured tells the same of a photo of a batch.
func (p *progress) measured(f photoFile, o outcome) {
	p.step(f.shown(), o.text(), o.logged(f.name))
}

func (p *progress) step(name, what string, attributes []any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	switch {
	case p.t.log != nil:
		p.t.log.Info("photo", append([]any{"done", p.done, "of", p.total}, attributes...)...)
	case p.bar != nil:
		_ = p.bar.Add(1)
	default:
		width := len(fmt.Sprint(p.total))
		p.t.tell("[%*d/%d] %s: %s", width, p.done, p.total, name, what)
	}
}

// logged are the attributes of a photo's line in a log.
func (o outcome) logged(name string) []any {
	var steps []any
	for _, t := range o.times {
		steps = append(steps, slog.Float64(t.Name, math.Round(10*t.MS)/10))
	}
	out := []any{
		"file", name, "sha256", o.photo.SHA256,
		"status", o.photo.Status, "kept", o.kept, "ms", math.Round(10*milliseconds(o.took)) / 10, slog.Group("steps_ms", steps...),
	}
	if r := o.photo.Refusal; r != nil {
		return append(out, "reason", r.Reason, "detail", oneLine(r.Detail))
	}
	return append(out, "fasteners", len(o.photo.Heads), "suspect", o.suspects())
}

// end leaves the line to others.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		_ = p.bar.Clear()
	}
}
