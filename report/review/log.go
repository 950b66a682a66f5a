package review

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"
)

// FileName is the log's name in the folder of an inspection.
const FileName = "decisions.jsonl"

// Log is the file of decisions. It only grows. Any number of logs, in this
// process or in others, may be open on one file: each takes the file's lock to
// write, and reads what the others wrote first.
type Log struct {
	path string

	mu        sync.Mutex
	file      *os.File
	read      int64 // how much of the file is in decisions
	lines     int
	decisions []Decision
	ids       map[string]bool
	said      []string

	// what a disk does; tests break it
	write func(*os.File, []byte) (int, error)
	sync  func(*os.File) error
}

// Open reads the log of a folder. A missing file is an empty log; it is made
// with the first decision.
func Open(dir string) (*Log, error) {
	l := &Log{
		path: filepath.Join(dir, FileName), ids: map[string]bool{},
		write: (*os.File).Write, sync: (*os.File).Sync,
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, err := os.Lstat(l.path); errors.Is(err, os.ErrNotExist) {
		return l, nil
	}
	return l, l.locked(func() error { return nil })
}

// Close lets the file go; nothing waits to be written.
func (l *Log) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.file == nil {
		return nil
	}
	return l.file.Close()
}

// Append writes decisions and returns when they are on the disk. On an error
// the file is as it was before. Those whose id is there already are left out,
// so that whoever got no answer may ask again.
func (l *Log) Append(decisions ...Decision) error {
	for i, d := range decisions {
		if err := d.check(); err != nil {
			return fmt.Errorf("decision %d: %w", i+1, err)
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.locked(func() error { return l.add(decisions) })
}

// All is every decision in the file, others' too, in the order of the lines.
func (l *Log) All() ([]Decision, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.file == nil {
		if _, err := os.Lstat(l.path); errors.Is(err, os.ErrNotExist) {
			return nil, nil
		}
	}
	err := l.locked(func() error { return nil })
	return l.decisions[:len(l.decisions):len(l.decisions)], err
}

// Said is what was out of order in the file, one line each: a line that could
// not be read, a torn end that was kept aside.
func (l *Log) Said() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.said[:len(l.said):len(l.said)]
}

// locked holds the file's lock, reads what is new in it, and does the rest.
func (l *Log) locked(do func() error) error {
	if err := l.open(); err != nil {
		return err
	}
	if err := flock(l.file, syscall.LOCK_EX); err != nil {
		return fmt.Errorf("%s cannot be locked: %w", l.path, err)
	}
	defer flock(l.file, syscall.LOCK_UN)
	if err := l.catchUp(); err != nil {
		return fmt.Errorf("%s cannot be read: %w", l.path, err)
	}
	return do()
}

// open opens the file, again if another one lies in its place.
func (l *Log) open() error {
	if l.file != nil {
		mine, err := l.file.Stat()
		there, errThere := os.Stat(l.path)
		if err == nil && errThere == nil && os.SameFile(mine, there) && there.Size() >= l.read {
			return nil
		}
		l.file.Close()
		l.file, l.read, l.lines, l.decisions, l.ids = nil, 0, 0, nil, map[string]bool{}
		l.said = append(l.said, FileName+" was replaced while it was open; it is read anew")
	}
	f, err := os.OpenFile(l.path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		return errors.Join(err, fmt.Errorf("%s is no regular file", l.path))
	}
	l.file = f
	return syncFolder(filepath.Dir(l.path)) // the name, too, must survive a pulled plug
}

// catchUp reads the lines that are new. The lock is held, so nobody is in the
// middle of one: an end without a newline is what a crash left.
func (l *Log) catchUp() error {
	info, err := l.file.Stat()
	if err != nil || info.Size() == l.read {
		return err
	}
	data, err := io.ReadAll(io.NewSectionReader(l.file, l.read, info.Size()-l.read))
	if err != nil {
		return err
	}
	end := bytes.LastIndexByte(data, '\n') + 1
	for line := range bytes.Lines(data[:end]) {
		l.take(bytes.TrimRight(line, "\r\n"))
	}
	l.read += int64(end)
	if end < len(data) {
		return l.setAside(data[end:])
	}
	return nil
}

// take keeps one line; one that cannot be read stays in the file and is told.
func (l *Log) take(line []byte) {
	l.lines++
	if len(line) == 0 {
		return
	}
	d, err := Parse(line)
	if err != nil {
		l.said = append(l.said, fmt.Sprintf("%s:%d: left out: %v", FileName, l.lines, err))
		return
	}
	if !l.ids[d.ID] {
		l.ids[d.ID] = true
		l.decisions = append(l.decisions, d)
	}
}

// setAside moves a torn end into a file of its own before it is cut off. It
// was never told as saved: that follows the flush of the whole line.
func (l *Log) setAside(torn []byte) error {
	name := fmt.Sprintf("%s.torn-%s", l.path, time.Now().UTC().Format("20060102T150405.000000000"))
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(torn)
	if err = errors.Join(err, f.Sync(), f.Close(), syncFolder(filepath.Dir(name))); err != nil {
		return err
	}
	l.said = append(l.said, fmt.Sprintf("%s ended in the middle of a line, as after a crash; the %d bytes are kept in %s", FileName, len(torn), filepath.Base(name)))
	return l.file.Truncate(l.read)
}

// add writes what is new in one piece. The lock is held and all is read.
func (l *Log) add(decisions []Decision) error {
	var all []byte
	var fresh []Decision
	ids := map[string]bool{}
	for _, d := range decisions {
		if l.ids[d.ID] || ids[d.ID] {
			continue
		}
		line, err := d.line()
		if err != nil {
			return err
		}
		ids[d.ID] = true
		all, fresh = append(all, line...), append(fresh, d)
	}
	if len(all) == 0 {
		return nil
	}
	_, err := l.write(l.file, all)
	if err == nil {
		err = l.sync(l.file)
	}
	if err != nil {
		// Nothing of it may stay: the page says that it was not saved.
		return errors.Join(fmt.Errorf("%s cannot be written: %w", l.path, err), l.file.Truncate(l.read))
	}
	l.read += int64(len(all))
	l.lines += len(fresh)
	for _, d := range fresh {
		l.ids[d.ID] = true
		l.decisions = append(l.decisions, d)
	}
	return nil
}

func flock(f *os.File, how int) error {
	for {
		if err := syscall.Flock(int(f.Fd()), how); err != syscall.EINTR {
			return err
		}
	}
}

func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
