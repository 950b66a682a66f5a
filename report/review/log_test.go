package review

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// decided is a valid decision about head n of an invented photo.
func decided(n int, what string, seen ...string) Decision {
	return Decision{
		Format: Format, ID: NewID(), Photo: strings.Repeat("ab", 32), File: "a.jpg", Target: HeadTarget(n),
		What: what, Who: "first reader", When: "2026-05-04T17:30:00.5+02:00", Tool: "test", Seen: seen,
	}
}

func opened(t *testing.T, dir string) *Log {
	t.Helper()
	l, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func all(t *testing.T, l *Log) []Decision {
	t.Helper()
	ds, err := l.All()
	if err != nil {
		t.Fatal(err)
	}
	return ds
}

func mustAppend(t *testing.T, l *Log, ds ...Decision) {
	t.Helper()
	if err := l.Append(ds...); err != nil {
		t.Fatal(err)
	}
}

func TestLogKeeps(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	if ds := all(t, l); len(ds) != 0 {
		t.Errorf("%d decisions in an empty folder", len(ds))
	}
	if _, err := os.Stat(filepath.Join(dir, FileName)); err == nil {
		t.Error("a file was made before there was a decision")
	}
	first, second := decided(1, Wrong), decided(2, Sound)
	second.Note = "bent, \"but\" <b>sound</b>\nsecond line \u202e"
	mustAppend(t, l, first, second)
	mustAppend(t, l, first) // asked again
	for _, from := range []*Log{l, opened(t, dir)} {
		ds := all(t, from)
		if len(ds) != 2 || ds[0].ID != first.ID || ds[1].Note != second.Note {
			t.Fatalf("kept %+v", ds)
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil || bytes.Count(data, []byte("\n")) != 2 {
		t.Errorf("%v, %d lines, want 2:\n%s", err, bytes.Count(data, []byte("\n")), data)
	}
	if err := l.Append(decided(3, "perhaps")); err == nil || len(all(t, l)) != 2 {
		t.Errorf("an answer that is none was taken: %v", err)
	}
}

// Wherever a crash cuts the file, each whole line is kept, the rest is put
// aside and told, and the log goes on.
func TestLogCutAnywhere(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	mustAppend(t, l, decided(1, Wrong), decided(2, Sound))
	whole, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	first := bytes.IndexByte(whole, '\n') + 1
	for cut := 0; cut <= len(whole); cut++ {
		if d := cut % first; d > 2 && d < first-2 && d%17 != 0 { // in the middle of a line one place is like another
			continue
		}
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, FileName), whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(dir)
		if err != nil {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		want := 0
		if cut >= first {
			want++
		}
		if cut == len(whole) {
			want++
		}
		kept := want * first // both lines are equally long
		if ds := all(t, l); len(ds) != want {
			t.Errorf("cut at %d: %d decisions, want %d", cut, len(ds), want)
		}
		torn, _ := filepath.Glob(filepath.Join(dir, FileName+".torn-*"))
		if len(torn) != min(1, cut-kept) || len(l.Said()) != len(torn) {
			t.Fatalf("cut at %d: aside %q, said %q", cut, torn, l.Said())
		}
		if len(torn) == 1 {
			if aside, _ := os.ReadFile(torn[0]); !bytes.Equal(aside, whole[kept:cut]) {
				t.Errorf("cut at %d: %q is kept aside", cut, aside)
			}
		}
		mustAppend(t, l, decided(3, Unsure))
		l.Close()
		if ds := all(t, opened(t, dir)); len(ds) != want+1 {
			t.Errorf("cut at %d: %d decisions after one more", cut, len(ds))
		}
	}
	if first*2 != len(whole) {
		t.Fatal("the two lines are not equally long; the test counts on it")
	}
}

// A line that cannot be read stays where it is and is told by its number.
func TestLogBadLine(t *testing.T) {
	dir := t.TempDir()
	a, b := decided(1, Wrong), decided(2, Sound)
	la, _ := a.line()
	lb, _ := b.line()
	text := string(la) + "{\"format\":\"other\"}\n\n" + string(lb)
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	l := opened(t, dir)
	if ds := all(t, l); len(ds) != 2 {
		t.Errorf("%d decisions", len(ds))
	}
	if s := l.Said(); len(s) != 1 || !strings.HasPrefix(s[0], FileName+":2: ") {
		t.Errorf("said %q", s)
	}
	if now, _ := os.ReadFile(filepath.Join(dir, FileName)); string(now) != text {
		t.Error("the file was changed")
	}
}

// A disk that is full, or that says too late that it failed, leaves the file as
// it was and an error; afterwards the same decision goes in.
func TestLogDiskFails(t *testing.T) {
	full := func(f *os.File, b []byte) (int, error) {
		n, _ := f.Write(b[:len(b)/2])
		return n, syscall.ENOSPC
	}
	for name, breakIt := range map[string]func(*Log){
		"full":     func(l *Log) { l.write = full },
		"no flush": func(l *Log) { l.sync = func(*os.File) error { return syscall.EIO } },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			l, d := opened(t, dir), decided(2, Sound)
			mustAppend(t, l, decided(1, Wrong))
			before, _ := os.ReadFile(filepath.Join(dir, FileName))
			write, sync := l.write, l.sync
			breakIt(l)
			if err := l.Append(d); !errors.Is(err, syscall.ENOSPC) && !errors.Is(err, syscall.EIO) {
				t.Fatalf("got %v", err)
			}
			if now, _ := os.ReadFile(filepath.Join(dir, FileName)); !bytes.Equal(now, before) || len(all(t, l)) != 1 {
				t.Errorf("something of it stayed:\n%s", now)
			}
			l.write, l.sync = write, sync
			mustAppend(t, l, d)
			if ds := all(t, opened(t, dir)); len(ds) != 2 || len(l.Said()) > 0 {
				t.Errorf("%d decisions afterwards, said %q", len(ds), l.Said())
			}
		})
	}
}

// The flush comes before Append returns.
func TestLogFlushes(t *testing.T) {
	l, flushed := opened(t, t.TempDir()), 0
	l.sync = func(f *os.File) error { flushed++; return f.Sync() }
	mustAppend(t, l, decided(1, Wrong))
	if flushed != 1 {
		t.Errorf("%d flushes", flushed)
	}
}

// Several logs on one file: every line arrives, whole and once, and each log
// sees those of the others.
func TestLogSharedFile(t *testing.T) {
	dir := t.TempDir()
	const writers, each = 5, 20
	var group sync.WaitGroup
	for w := range writers {
		l := opened(t, dir)
		group.Go(func() {
			for i := range each {
				d := decided(w*each+i, Wrong)
				d.Note = strings.Repeat("long ", 500)
				if err := l.Append(d); err != nil {
					t.Error(err)
				}
			}
			if ds, err := l.All(); err != nil || len(ds) < each {
				t.Errorf("%d decisions, %v", len(ds), err)
			}
		})
	}
	group.Wait()
	l := opened(t, dir)
	heads := map[string]bool{}
	for _, d := range all(t, l) {
		heads[d.Target] = true
	}
	if len(heads) != writers*each || len(l.Said()) > 0 {
		t.Errorf("%d of %d, said %q", len(heads), writers*each, l.Said())
	}
}

func TestLogReplaced(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	mustAppend(t, l, decided(1, Wrong), decided(2, Wrong))
	other, _ := decided(7, Sound).line()
	if err := os.WriteFile(filepath.Join(dir, "new"), other, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(dir, "new"), filepath.Join(dir, FileName)); err != nil {
		t.Fatal(err)
	}
	if ds := all(t, l); len(ds) != 1 || ds[0].Target != "head/7" || len(l.Said()) != 1 {
		t.Errorf("%+v, said %q", ds, l.Said())
	}
}

func TestLogIsNoFile(t *testing.T) {
	dir := t.TempDir()
	if err := os.Symlink("/dev/full", filepath.Join(dir, FileName)); err != nil {
		t.Skip(err)
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "no regular file") {
		t.Errorf("got %v", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, d := range []Decision{decided(1, Wrong), decided(2, Undecided, NewID()), {}} {
		line, _ := d.line()
		f.Add(line)
	}
	f.Add([]byte(`{"format":"coursegauge-decision/1"}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		d, err := Parse(line)
		if err != nil {
			return
		}
		again, err := d.line()
		if err != nil || bytes.Count(again, []byte("\n")) != 1 {
			t.Fatalf("%v: %q is no line", err, again)
		}
		if back, err := Parse(again[:len(again)-1]); err != nil || fmt.Sprint(back) != fmt.Sprint(d) && d.Px == nil {
			t.Fatalf("%v: %+v came back as %+v", err, d, back)
		}
	})
}
