package main

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"coursegauge/report/page"
	"coursegauge/vision"
	"coursegauge/vision/photo"
)

// workers start and keep the processes that touch pixels. A worker is started
// when one is needed and none is free, and serves until the batch ends or a
// photo takes it along.
type workers struct {
	settings settings
	stages   string
	limit    time.Duration // for one photo

	mu   sync.Mutex
	free []*worker
}

// newWorkers starts nothing yet. Where more photos are at work than there are
// cores, each gets the more time.
func newWorkers(s settings, stages string, jobs int) *workers {
	debug.SetGCPercent(25) // what a batch knows of its photos stays to the end; refuse should not grow with it
	crowd := max(1, (jobs+runtime.NumCPU()-1)/runtime.NumCPU())
	return &workers{settings: s, stages: stages, limit: timeLimit * time.Duration(crowd)}
}

// see measures one photo. The error is that of an ended context, or of a
// worker that cannot be started; fault is one of ours that the photo met. A
// photo that takes its worker along is refused with the reason. If something
// from outside ends the worker, that is not the photo's fault, and it is
// measured once more. whole tells that the result depends on nothing but photo
// and settings, so that it may be kept.
func (w *workers) see(ctx context.Context, p photoFile) (s *seen, fault error, whole bool, err error) {
	for try := 0; ; try++ {
		a, d, err := w.ask(ctx, order{Path: p.path, Name: p.name})
		switch {
		case err != nil:
			return nil, nil, false, err
		case d == nil:
			if a.Fault != "" {
				fault = fmt.Errorf("internal fault: %s", a.Fault)
			}
			return a.Seen, fault, fault == nil, nil
		case d.outside && try == 0:
			continue
		}
		return &seen{Result: &vision.Result{Refusal: d.refusal()}}, nil, false, nil
	}
}

// shrink makes a picture of the report.
func (w *workers) shrink(ctx context.Context, v page.View) ([]byte, error) {
	for try := 0; ; try++ {
		a, d, err := w.ask(ctx, order{View: &v})
		switch {
		case err != nil:
			return nil, err
		case d != nil && d.outside && try == 0:
			continue
		case d != nil:
			return nil, errors.New(d.what)
		case a.Fault != "":
			return nil, errors.New(a.Fault)
		}
		return a.Picture, nil
	}
}

// ask gives an order to a free worker and waits for its answer, or for its end.
func (w *workers) ask(ctx context.Context, o order) (answer, *death, error) {
	k, err := w.take()
	if err != nil {
		return answer{}, nil, failure{fmt.Sprintf("cannot start a worker: %v", cause(err)), ""}
	}
	stop := context.AfterFunc(ctx, k.interrupt)
	a, err := k.ask(o, w.limit)
	if !stop() || ctx.Err() != nil {
		k.end()
		return answer{}, nil, ctx.Err()
	}
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		k.interrupt()
		k.end()
		return answer{}, &death{what: fmt.Sprintf("measuring took more than %.0f s", w.limit.Seconds())}, nil
	case err != nil:
		return answer{}, k.end(), nil
	}
	if k.served++; k.served >= mostServed {
		k.end()
		return a, nil, nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.free = append(w.free, k)
	return a, nil, nil
}

// mostServed is after how many orders a worker makes room for a new one, so
// that whatever native code leaks stays bounded. A photo is a handful of orders;
// a start costs a hundredth of them.
const mostServed = 200

// take gives a free worker, or starts one.
func (w *workers) take() (*worker, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if n := len(w.free); n > 0 {
		k := w.free[n-1]
		w.free = w.free[:n-1]
		return k, nil
	}
	return startWorker(order{Settings: &w.settings, Stages: w.stages})
}

// close ends the workers that are free.
func (w *workers) close() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, k := range w.free {
		k.end()
	}
	w.free = nil
}

// worker is one process.
type worker struct {
	process  *exec.Cmd
	orders   *os.File
	answers  *os.File
	encode   *gob.Encoder
	decode   *gob.Decoder
	lastSaid firstWords
	served   int
}

// workerEnvironment is what native libraries read when they start: a bound of
// the decoders' own on what a header may ask for, and that memory which is free
// again goes back to the system at once (mallopt(3)): pictures and networks come
// and go in pieces of many megabytes.
var workerEnvironment = []string{
	fmt.Sprintf("OPENCV_IO_MAX_IMAGE_PIXELS=%d", photo.DefaultMaxPixels),
	"MALLOC_ARENA_MAX=1", "MALLOC_MMAP_THRESHOLD_=262144", "MALLOC_TRIM_THRESHOLD_=262144",
}

// startWorker starts a process and gives it the first order.
func startWorker(first order) (*worker, error) {
	ordersIn, orders, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer ordersIn.Close()
	answers, answersOut, err := os.Pipe()
	if err != nil {
		orders.Close()
		return nil, err
	}
	defer answersOut.Close()
	k := &worker{orders: orders, answers: answers, encode: gob.NewEncoder(orders), decode: gob.NewDecoder(answers)}
	k.process = exec.Command("/proc/self/exe", workerArgument)
	k.process.ExtraFiles = []*os.File{ordersIn, answersOut}
	k.process.Stderr = &k.lastSaid
	k.process.Env = append(os.Environ(), workerEnvironment...)
	if err := k.process.Start(); err != nil {
		orders.Close()
		answers.Close()
		return nil, err
	}
	if err := k.encode.Encode(first); err != nil {
		k.end()
		return nil, err
	}
	return k, nil
}

// ask waits no longer than the limit.
func (k *worker) ask(o order, limit time.Duration) (a answer, err error) {
	k.lastSaid.clear()
	if err := k.answers.SetReadDeadline(time.Now().Add(limit)); err != nil {
		return a, err
	}
	if err := k.encode.Encode(o); err != nil {
		return a, err
	}
	return a, k.decode.Decode(&a)
}

// interrupt ends a wait.
func (k *worker) interrupt() { _ = k.process.Process.Kill() }

// end makes sure that the process is gone, and tells what it died of when it
// was dead before.
func (k *worker) end() *death {
	k.orders.Close()
	k.answers.Close()
	killed := make(chan struct{})
	timer := time.AfterFunc(2*time.Second, func() { _ = k.process.Process.Kill(); close(killed) })
	_ = k.process.Wait() // it ends with its orders, unless it hangs
	if !timer.Stop() {
		<-killed
	}
	return causeOfDeath(k.process.ProcessState, k.lastSaid.String())
}

// death is how a worker ended before its answer.
type death struct {
	what    string
	outside bool // the photo has no part in it
}

// causeOfDeath reads a process's state and its last words. Go turns a fault of
// native code into exit status 2 and a text.
func causeOfDeath(state *os.ProcessState, said string) *death {
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(said, w) {
				return true
			}
		}
		return false
	}
	status, _ := state.Sys().(syscall.WaitStatus)
	switch {
	case has("out of memory", "cannot allocate memory", "bad_alloc", "Insufficient memory", "Failed to allocate"):
		return &death{what: fmt.Sprintf("measuring needs more than %d GB of memory", memoryLimit>>30)}
	case has("SIGSEGV"):
		return &death{what: "the decoder or the measuring crashed (segmentation fault)"}
	case has("SIGBUS", "SIGILL", "SIGFPE", "SIGABRT", "terminate called"):
		return &death{what: "the decoder or the measuring crashed (abort)"}
	case status.Signaled() && status.Signal() == syscall.SIGSEGV:
		return &death{what: "the decoder or the measuring crashed (segmentation fault)"}
	case status.Signaled():
		return &death{what: fmt.Sprintf("the process that measured it was ended from outside (%v), twice", status.Signal()), outside: true}
	}
	return &death{what: fmt.Sprintf("the process that measured it ended without an answer (exit status %d)", state.ExitCode())}
}

func (d *death) refusal() *vision.Refusal {
	return &vision.Refusal{Reason: vision.Unreadable, Detail: d.what, Advice: "take or copy the photo again; if it happens again, measure this course by hand and report it together with the photo"}
}

// firstWords keeps the beginning of what a process says: there a crash names
// itself, before pages of trace.
type firstWords struct {
	mu   sync.Mutex
	text []byte
}

const mostWords = 16 << 10

func (f *firstWords) Write(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.text = append(f.text, p[:min(len(p), mostWords-len(f.text))]...)
	return len(p), nil
}

func (f *firstWords) clear() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.text = f.text[:0]
}

func (f *firstWords) String() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return string(f.text)
}

var _ io.Writer = (*firstWords)(nil)

// eachInOrder calls work for 0 to n-1 from several goroutines, the lower
// numbers first, until all are done or the context ends; then it waits for the
// calls that have begun.
func eachInOrder(ctx context.Context, n, at int, work func(i int)) {
	var next atomic.Int64
	var running sync.WaitGroup
	for range min(n, max(at, 1)) {
		running.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				work(i)
			}
		})
	}
	running.Wait()
}
