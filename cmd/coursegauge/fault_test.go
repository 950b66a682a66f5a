package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/photo"

	"gocv.io/x/gocv"
)

// faultAt says by the width of a picture what befalls the worker that measures it.
var faultAt = map[int]func() error{
	336: func() error { var none []int; return errors.New(string(rune(none[3]))) },
	337: func() error { return errors.New("matrix is singular") },
	338: func() error { // reads far out of a picture, in native code
		m := gocv.NewMatWithSize(8, 8, gocv.MatTypeCV8U)
		return fmt.Errorf("read %d from nowhere", m.GetUCharAt(1<<28, 0))
	},
	339: func() error { // an exception in native code that nobody catches
		m := gocv.NewMatWithSize(60_000, 60_000, gocv.MatTypeCV8UC3)
		return fmt.Errorf("%d rows", m.Rows())
	},
	340: func() error { b := make([]byte, 8<<30); b[len(b)-1] = 1; return fmt.Errorf("%d bytes", len(b)) },
	341: func() error {
		for rounds := 0; ; rounds++ {
			if rounds < 0 {
				return errors.New("all numbers are used up")
			}
		}
	},
	342: func() error { return syscall.Kill(os.Getpid(), syscall.SIGKILL) },
}

// inspectFaulty is vision.Inspect in workers of this test program.
func inspectFaulty(ctx context.Context, picture *photo.Picture, o vision.Options) (*vision.Result, error) {
	fault, ok := faultAt[picture.Width()]
	switch {
	case ok:
		return nil, fault()
	case picture.Width() == slow: // some tenths of a second of native work, as a photo takes
		blurred := gocv.NewMat()
		defer blurred.Close()
		for range 60 {
			if err := gocv.MedianBlur(picture.Gray, &blurred, 5); err != nil {
				return nil, err
			}
		}
	}
	return vision.Inspect(ctx, picture, o)
}

// slow is the width of a picture that takes its time.
const slow = 700

// newBatch is an inspector without a cache, its report in a folder of its own.
func newBatch(t *testing.T, stages string, limit time.Duration) *inspector {
	t.Helper()
	s, err := schedule.Read("lot.yaml", []byte(goodSchedule))
	if err != nil {
		t.Fatal(err)
	}
	report, err := page.NewWriter(t.TempDir(), s, page.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { report.Close() })
	set := settings{Product: s.Product()}
	kept, err := newKeeper(nil, set, s, page.Options{}, false, nil)
	if err != nil {
		t.Fatal(err)
	}
	in := &inspector{schedule: s, page: report, workers: newWorkers(set, stages, 2), kept: kept, reading: readLimit}
	in.workers.limit = limit
	t.Cleanup(in.workers.close)
	return in
}

// A fault stays in the photo that met it, be it in Go or in native code: that
// photo is refused with the reason, the others are measured. A fault of ours
// that was contained makes the run a failed one; a photo that takes its worker
// along is the photo's own refusal.
func TestFaultStaysInItsPhoto(t *testing.T) {
	for _, c := range []struct {
		name   string
		width  int
		detail string
		ours   bool
	}{
		{"a panic", 336, "internal fault while measuring: runtime error: index out of range", true},
		{"an error", 337, "internal fault while measuring: matrix is singular", true},
		{"a segmentation fault in native code", 338, "crashed (segmentation fault)", false},
		{"an uncaught native exception for want of memory", 339, "needs more than 4 GB of memory", false},
		{"more memory than there may be", 340, "needs more than 4 GB of memory", false},
		{"no end", 341, "took more than 3 s", false},
		{"killed from outside, each time", 342, "ended from outside (killed), twice", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			var photos []photoFile
			for i, name := range []string{"a.jpg", "b.jpg", "c.jpg", "d.jpg"} {
				width := 320 + i
				if name == "b.jpg" {
					width = c.width
				}
				path := filepath.Join(dir, "photos", name)
				writeFile(t, path, cardless(t, width, 240))
				photos = append(photos, photoFile{path: path, name: name})
			}
			stages := ""
			if c.ours {
				stages = filepath.Join(dir, "stages")
			}
			in := newBatch(t, stages, 3*time.Second)
			var said strings.Builder
			done, faults, err := in.measureAll(t.Context(), &terminal{out: &said, err: &said}, photos, 2)
			if err != nil || len(done) != len(photos) {
				t.Fatalf("%v, %d of %d photos done\n%s", err, len(done), len(photos), said.String())
			}
			for i, p := range done {
				if want := []string{"no_card", "unreadable", "no_card", "no_card"}[i]; p.Refusal == nil || p.Refusal.Reason != want {
					t.Errorf("%s: %+v, want %s", p.File, p.Refusal, want)
				}
			}
			if b := done[1].Refusal; !strings.Contains(b.Detail, c.detail) || b.Advice == "" || strings.Contains(b.Detail, "goroutine") {
				t.Errorf("b.jpg: %+v, want %q", b, c.detail)
			}
			if got := len(faults) == 1 && strings.HasPrefix(faults[0], "b.jpg: internal fault: "); got != c.ours || len(faults) > 1 {
				t.Errorf("faults %q, want one of b.jpg: %v", faults, c.ours)
			}
			d := document(in.schedule, done, nil)
			if err := in.write(d, outputsIn(t.TempDir())); err != nil {
				t.Error(err)
			}
			want := exitLook
			if c.ours {
				want = exitFailed
			}
			if code, err := status(d, faults, nil); code != want || exitStatus(err) != want {
				t.Errorf("status %d, error %v, want %d", code, err, want)
			}
			if c.width == 336 {
				trace, err := os.ReadFile(filepath.Join(stages, "b.jpg/fault.txt"))
				if err != nil || !strings.Contains(string(trace), "index out of range") {
					t.Errorf("the trace beside the stages: %v\n%.200s", err, trace)
				}
			}
		})
	}
}

// Workers that something kills at random cost nothing: their photos are
// measured again, and what is written is what an undisturbed run writes.
func TestWorkersKilledAtRandom(t *testing.T) {
	var photos []photoFile
	dir := t.TempDir()
	for i := range 24 {
		path := filepath.Join(dir, fmt.Sprintf("p%02d.jpg", i))
		writeFile(t, path, cardless(t, slow, 500+i))
		photos = append(photos, photoFile{path: path, name: filepath.Base(path)})
	}
	measure := func(in *inspector) string {
		var said strings.Builder
		done, faults, err := in.measureAll(t.Context(), &terminal{out: &said, err: &said}, photos, 2)
		if err != nil || len(done) != len(photos) || len(faults) > 0 {
			t.Fatalf("%v, %d of %d photos done, faults %q\n%s", err, len(done), len(photos), faults, said.String())
		}
		return encoded(t, inspection.New(inspection.Tool{}, inspection.Schedule{}, "", done))
	}
	want := measure(newBatch(t, "", time.Minute))

	in := newBatch(t, "", time.Minute)
	stop, killed := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for {
			select {
			case <-stop:
				killed <- n
				return
			case <-time.After(300 * time.Millisecond):
			}
			if pids := childrenOf(os.Getpid()); len(pids) > 0 {
				if syscall.Kill(pids[n%len(pids)], syscall.SIGKILL) == nil {
					n++
				}
			}
		}
	}()
	got := measure(in)
	close(stop)
	n := <-killed
	t.Logf("%d workers killed while %d photos were measured", n, len(photos))
	if n == 0 {
		t.Error("no worker was killed: the batch was over too soon")
	}
	// A photo whose two workers were both killed is refused as unreadable.
	if twice := strings.Count(got, `"reason": "unreadable"`); twice > n/2 {
		t.Errorf("%d photos lost two workers, of %d that were killed", twice, n)
	} else if twice == 0 && got != want {
		t.Errorf("killed workers:\n%s\nundisturbed:\n%s", got, want)
	}
}

// childrenOf lists the processes that one has started, the main thread's and others'.
func childrenOf(pid int) (out []int) {
	lists, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	for _, path := range lists {
		data, _ := os.ReadFile(path)
		for _, word := range strings.Fields(string(data)) {
			var child int
			if _, err := fmt.Sscan(word, &child); err == nil {
				out = append(out, child)
			}
		}
	}
	return out
}
