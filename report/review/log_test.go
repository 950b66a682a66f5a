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
// aside and told, and the log goes on. What has lost nothing but its newline is
// whole; too little to be known as ours stays in the file.
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
		want := (cut + 1) / first // both lines are equally long
		kept := min(want*first, cut)
		if ds := all(t, l); len(ds) != want {
			t.Errorf("cut at %d: %d decisions, want %d", cut, len(ds), want)
		}
		torn, _ := filepath.Glob(filepath.Join(dir, FileName+".torn-*"))
		stays := cut > 0 && cut < len(lead)
		if stays {
			kept = cut
		}
		if len(torn) != min(1, cut-kept) || len(l.Said()) != min(1, cut-want*first+1) && (cut+1)%first != 0 && cut%first != 0 {
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

// A file full of other things is told of in a few lines.
func TestLogOfOtherThings(t *testing.T) {
	dir := t.TempDir()
	whole, _ := decided(1, Wrong).line()
	text := strings.Repeat("no decision\n", maxSaid+30) + string(whole)
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	l := opened(t, dir)
	if s := l.Said(); len(s) != maxSaid+1 || !strings.Contains(s[maxSaid-1], ":20: left out") || !strings.Contains(s[maxSaid], "further lines") || len(all(t, l)) != 1 {
		t.Errorf("%d lines said, the last %q", len(s), s[len(s)-1])
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

// What ends without a newline is cut only if it is the beginning of a line of
// ours; all else stays byte for byte, and the next decision begins a line.
func TestLogEndsWithoutNewline(t *testing.T) {
	d := decided(1, Wrong)
	whole, _ := d.line()
	line := string(whole[:len(whole)-1])
	last := decided(2, Sound)
	added, _ := last.line()
	for _, c := range []struct {
		name, before, after string
		decisions, said     int
		torn                bool
	}{
		{"nothing", "", "", 0, 0, false},
		{"a whole line", line, line + "\n", 1, 0, false},
		{"a torn line", line[:100], "", 0, 1, true},
		{"a torn line after another", line + "\n" + line[:100], line + "\n", 1, 1, true},
		{"a line torn at once", line + "\n{", line + "\n", 1, 1, true},
		{"a brace and nothing of ours", "{", "{\n", 0, 1, false},
		{"somebody's text", "dear diary", "dear diary\n", 0, 1, false},
		{"text after decisions", line + "\nto do", line + "\nto do\n", 1, 1, false},
		{"text behind a decision", line + "}", line + "}\n", 0, 1, false},
		{"another format", `{"format":"list/1","a":`, `{"format":"list/1","a":` + "\n", 0, 1, false},
		{"our lead, then no JSON", lead + "\x01", lead + "\x01\n", 0, 1, false},
		{"our lead, longer than any line", lead + `"note":"` + strings.Repeat("x", maxLine), lead + `"note":"` + strings.Repeat("x", maxLine) + "\n", 0, 1, false},
		{"zeros of a lost block", line + "\n\x00\x00", line + "\n\x00\x00\n", 1, 1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, FileName)
			if err := os.WriteFile(path, []byte(c.before), 0o644); err != nil {
				t.Fatal(err)
			}
			l := opened(t, dir)
			if ds := all(t, l); len(ds) != c.decisions || len(l.Said()) != c.said {
				t.Errorf("%d decisions, want %d; said %q", len(ds), c.decisions, l.Said())
			}
			torn, _ := filepath.Glob(path + ".torn-*")
			if (len(torn) == 1) != c.torn {
				t.Errorf("aside: %q", torn)
			}
			if now, _ := os.ReadFile(path); !c.torn && string(now) != c.before {
				t.Errorf("reading changed the file: %.80q", now)
			}
			mustAppend(t, l, last)
			if now, _ := os.ReadFile(path); string(now) != c.after+string(added) {
				t.Errorf("after one more: %.300q", now)
			}
			for _, from := range []*Log{l, opened(t, dir)} {
				if ds := all(t, from); len(ds) != c.decisions+1 || ds[len(ds)-1].ID != last.ID {
					t.Errorf("%d decisions after one more, want %d", len(ds), c.decisions+1)
				}
			}
		})
	}
}

// A log that has read an end without a newline reads on when another one
// begins the next line, and takes the rest of that line for none of its own.
func TestLogReadsOnBehindAnEnd(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	if err := os.WriteFile(path, []byte("somebody's text"), 0o644); err != nil {
		t.Fatal(err)
	}
	l, other := opened(t, dir), opened(t, dir)
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for range 2 { // still no newline
		if _, err := f.WriteString(" goes on"); err != nil {
			t.Fatal(err)
		}
		if ds := all(t, l); len(ds) != 0 || len(l.Said()) != 1 {
			t.Errorf("%d decisions, said %q", len(ds), l.Said())
		}
	}
	mustAppend(t, other, decided(1, Wrong))
	bad, _ := decided(2, Wrong).line()
	if _, err := f.Write(append([]byte("no decision\n"), bad...)); err != nil {
		t.Fatal(err)
	}
	if ds := all(t, l); len(ds) != 2 || len(l.Said()) != 2 || !strings.HasPrefix(l.Said()[1], FileName+":3: ") {
		t.Errorf("%d decisions, said %q", len(ds), l.Said())
	}
}

// A byte order mark, as some editors write it, belongs to no decision; files
// put one behind the other have one in the middle.
func TestLogByteOrderMark(t *testing.T) {
	dir := t.TempDir()
	a, _ := decided(1, Wrong).line()
	b, _ := decided(2, Sound).line()
	marked := "\ufeff" + string(a) + "\ufeff" + string(b)
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(marked), 0o644); err != nil {
		t.Fatal(err)
	}
	l := opened(t, dir)
	if ds := all(t, l); len(ds) != 2 || len(l.Said()) > 0 {
		t.Errorf("%d decisions, said %q", len(ds), l.Said())
	}
	if ds, err := ReadAll("x.jsonl", []byte(marked)); err != nil || len(ds) != 2 {
		t.Errorf("merged: %d decisions, %v", len(ds), err)
	}
}

// Nothing but a regular file is opened, least of all what a link leads to.
func TestLogFollowsNoLink(t *testing.T) {
	for _, c := range []struct {
		name, says string
		place      func(path, target string) error
	}{
		{"link", "a link", func(path, target string) error { return os.Symlink(target, path) }},
		{"link to nothing", "a link", func(path, target string) error { return os.Symlink(target+".new", path) }},
		{"link to a device", "a link", func(path, _ string) error { return os.Symlink("/dev/full", path) }},
		{"pipe", "a pipe", func(path, _ string) error { return syscall.Mkfifo(path, 0o644) }},
		{"folder", "a folder", func(path, _ string) error { return os.Mkdir(path, 0o755) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, elsewhere := t.TempDir(), t.TempDir()
			target := filepath.Join(elsewhere, "target")
			const text = "a line\nan end without a newline"
			if err := os.WriteFile(target, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := c.place(filepath.Join(dir, FileName), target); err != nil {
				t.Skip(err)
			}
			l, err := Open(dir)
			if err == nil {
				err = l.Append(decided(1, Wrong))
				l.Close()
			}
			if err == nil || !strings.Contains(err.Error(), "no regular file") || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v", err)
			}
			if now, _ := os.ReadFile(target); string(now) != text {
				t.Errorf("the target is now %q", now)
			}
			if _, err := os.Stat(target + ".new"); err == nil {
				t.Error("a file was made where the link leads")
			}
		})
	}
}

// A link that takes the file's place later is not followed either.
func TestLogIsReplacedByALink(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	mustAppend(t, l, decided(1, Wrong))
	path, moved := filepath.Join(dir, FileName), filepath.Join(t.TempDir(), "moved")
	if err := os.Rename(path, moved); err != nil {
		t.Fatal(err)
	}
	before, _ := os.ReadFile(moved)
	if err := os.Symlink(moved, path); err != nil {
		t.Skip(err)
	}
	if err := l.Append(decided(2, Wrong)); err == nil || !strings.Contains(err.Error(), "a link") {
		t.Errorf("got %v", err)
	}
	if now, _ := os.ReadFile(moved); !bytes.Equal(now, before) {
		t.Errorf("the target is now %q", now)
	}
}

// A file with a second name is read, and not changed under that name.
func TestLogHasAnotherName(t *testing.T) {
	line, _ := decided(1, Wrong).line()
	for name, text := range map[string]string{"whole": string(line), "torn": string(line) + string(line[:50])} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path, other := filepath.Join(dir, FileName), filepath.Join(dir, "backup")
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := os.Link(path, other); err != nil {
				t.Skip(err)
			}
			l, err := Open(dir)
			if err == nil {
				if ds := all(t, l); len(ds) != 1 {
					t.Errorf("%d decisions", len(ds))
				}
				err = l.Append(decided(2, Wrong))
				l.Close()
			}
			if err == nil || !strings.Contains(err.Error(), "2 names") {
				t.Errorf("got %v", err)
			}
			if now, _ := os.ReadFile(other); string(now) != text {
				t.Errorf("the other name holds %q", now)
			}
			if err := os.Remove(other); err != nil {
				t.Fatal(err)
			}
			mustAppend(t, opened(t, dir), decided(2, Wrong))
		})
	}
}

// Somebody who holds the lock and never lets it go stops nobody for ever.
func TestLogIsLocked(t *testing.T) {
	dir := t.TempDir()
	l := opened(t, dir)
	mustAppend(t, l, decided(1, Wrong))
	f, err := os.Open(filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		t.Fatal(err)
	}
	l.patience = 0
	if err := l.Append(decided(2, Wrong)); err == nil || !strings.Contains(err.Error(), "holds its lock") {
		t.Errorf("got %v", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_UN); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, decided(2, Wrong))
}

// A file that no decisions fill is not read into memory.
func TestLogIsTooLarge(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, maxLog+1); err != nil { // no block of it is on the disk
		t.Skip(err)
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "at most 268435456") {
		t.Errorf("got %v", err)
	}
}

// One decision that comes twice at once is one line, and a fault is told by its place.
func TestAppendIsHeldToIDs(t *testing.T) {
	dir := t.TempDir()
	l, d, bad := opened(t, dir), decided(1, Wrong), decided(2, "whatever")
	mustAppend(t, l, d, d)
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil || bytes.Count(data, []byte("\n")) != 1 || len(all(t, l)) != 1 {
		t.Errorf("%v, %d decisions in\n%s", err, len(all(t, l)), data)
	}
	if err := l.Append(decided(3, Wrong), bad); err == nil || !strings.HasPrefix(err.Error(), "decision 2: ") {
		t.Errorf("%v, want what is wrong with decision 2", err)
	}
	if got := all(t, l); len(got) != 1 {
		t.Errorf("%d decisions are there after an error, want 1", len(got))
	}
}

// The file that keeps a torn end is closed when it is told of.
func TestTornEndIsClosed(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	mustAppend(t, opened(t, dir), decided(1, Wrong))
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(data, data[:len(data)/2]...), 0o600); err != nil {
		t.Fatal(err)
	}
	opened(t, dir)
	torn, _ := filepath.Glob(path + ".torn-*")
	if len(torn) != 1 {
		t.Fatalf("%q keep the torn end", torn)
	}
	open, err := filepath.Glob("/proc/self/fd/*")
	if err != nil || len(open) == 0 {
		t.Skip("nothing tells here which files are open")
	}
	for _, fd := range open {
		if to, _ := os.Readlink(fd); to == torn[0] {
			t.Errorf("%s is still open", to)
		}
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
