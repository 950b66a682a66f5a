package vision

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"gocv.io/x/gocv"

	"coursegauge/vision/card"
	"coursegauge/vision/course"
	"coursegauge/vision/head"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
	"coursegauge/vision/plane"
)

// Options of Inspect.
type Options struct {
	Product Product
	Known   Known
	// CardOnly stops when the card's pose is known: no product is needed.
	CardOnly bool
	// Stages is called after a stage with a picture worth keeping; the picture
	// is valid during the call only. May be nil.
	Stages func(name string, picture gocv.Mat)
}

// Inspect measures what a picture of an open course shows. A picture that cannot
// be measured is a Result with a Refusal; the error is that of an ended context
// or of an internal fault. Any number of calls may run at the same time, each on
// a picture of its own.
func Inspect(ctx context.Context, picture *photo.Picture, o Options) (*Result, error) {
	return inspect(ctx, picture, o, nil)
}

// inspect is Inspect; done, if any, sees the pass of a photo that was measured.
func inspect(ctx context.Context, picture *photo.Picture, o Options, done func(p *pass)) (*Result, error) {
	n, err := acquire()
	if err != nil {
		return nil, err
	}
	defer n.release()
	p := &pass{ctx: ctx, picture: picture, o: o, nets: n, r: &Result{Camera: Camera{Source: "none"}, Checks: o.Known.Checks}}
	stages := []struct {
		name string
		do   func() (*Refusal, error)
	}{
		{"light", p.light}, {"card", p.findCard}, {"pose", p.pose}, {"turn", p.turn}, {"edges", p.edges}, {"plane", p.adjust}, {"joints", p.joints}, {"heads", p.heads}, {"lengths", p.lengths},
	}
	if o.CardOnly {
		stages = stages[:3]
	}
	for _, s := range stages {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		start := time.Now()
		p.kept, p.dropped = 0, 0
		refusal, err := s.do()
		p.r.Stages = append(p.r.Stages, Stage{Name: s.name, Milliseconds: float64(time.Since(start).Microseconds()) / 1000, Kept: p.kept, Dropped: p.dropped})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.name, err)
		}
		if refusal != nil {
			p.r.Refusal = refusal
			return p.r, nil
		}
	}
	if done != nil {
		done(p)
	}
	return p.r, nil
}

// pass is one photo on its way through the pipeline.
type pass struct {
	ctx     context.Context
	picture *photo.Picture
	o       Options
	nets    *nets
	r       *Result

	kept, dropped int // of the stage that runs

	sight    card.Sight
	lens     plane.Lens
	cardPose plane.CardPose
	place    plane.CardPlace
	stack    plane.Stack
	sketch   *course.Sketch
	maps     *course.Maps
	problem  *plane.Problem
	solution *plane.Solution
	geometry []pieceLines
	lower    []lowerLine
	found    []foundHead
}

// nets are the networks of one worker.
type nets struct {
	course *course.Reader
	joint  *course.JointNet
	head   *head.Finder
}

var pool struct {
	sync.Mutex
	free []*nets
}

// acquire takes loaded networks from the pool, or loads them.
func acquire() (*nets, error) {
	pool.Lock()
	defer pool.Unlock()
	if k := len(pool.free); k > 0 {
		n := pool.free[k-1]
		pool.free = pool.free[:k-1]
		return n, nil
	}
	c, err := course.NewReader()
	if err != nil {
		return nil, err
	}
	j, err := course.NewJointNet()
	if err != nil {
		c.Close()
		return nil, err
	}
	h, err := head.NewFinder()
	if err != nil {
		c.Close()
		j.Close()
		return nil, err
	}
	return &nets{c, j, h}, nil
}

func (n *nets) release() {
	pool.Lock()
	defer pool.Unlock()
	pool.free = append(pool.free, n)
}

// show hands a stage's picture on, if anybody wants it. What draw had of it when
// it failed is closed, too.
func (p *pass) show(name string, draw func() (gocv.Mat, error)) {
	if p.o.Stages == nil {
		return
	}
	m, err := draw()
	if err == nil {
		p.o.Stages(name, m)
	}
	m.Close() // one that was never made has nothing to close
}

// underCard tells whether a place of the roof lies under the card or its rim.
func (p *pass) underCard(x, y float64) bool {
	if x*x+(y-p.place.Y)*(y-p.place.Y) > cardReach*cardReach {
		return false
	}
	s, c := math.Sincos(p.place.Turn)
	u, v := c*x+s*(y-p.place.Y), -s*x+c*(y-p.place.Y)
	return math.Abs(u) < cardHalfLong+cardMargin && math.Abs(v) < cardHalfShort+cardMargin
}

// The card's sheet, mm: US Letter about its middle, and what is kept clear round it.
const (
	cardHalfLong  = 139.7
	cardHalfShort = 107.95
	cardMargin    = 7
	cardReach     = 187 // of its corners, over the margin
)

func mm(v float64) length.MM { return length.MM(v) }
