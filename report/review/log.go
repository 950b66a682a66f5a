package review

import (
	"bytes"
	"encoding/json"
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

const (
	maxSaid  = 20 // bad lines that are told one by one
	patience = 20 * time.Second
	maxLog   = 256 << 20 // bytes; some 500,000 decisions
	maxLine  = 1 << 20   // bytes; a decision whose every text is as long as may be, all of it escaped, has less
)

// Log is the file of decisions. It only grows. Any number of logs, in this
// process or in others, may be open on one file: each takes the file's lock to
// write, and reads what the others wrote first.
type Log struct {
	path string

	mu        sync.Mutex
	file      *os.File
	read      int64 // how much of the file is in decisions
	unended   bool  // what was read does not end in a newline: the next line needs one before it
	lines     int
	bad       int // lines that could not be read
	decisions []Decision
	ids       map[string]bool
	said      []string

	patience time.Duration // how long the file's lock is waited for

	// what a disk does; tests break it
	write func(*os.File, []byte) (int, error)
	sync  func(*os.File) error
}

// Open reads the log of a folder. A missing file is an empty log; it is made
// with the first decision.
func Open(dir string) (*Log, error) {
	l := &Log{
		path: filepath.Join(dir, FileName), ids: map[string]bool{}, patience: patience,
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
	if err := l.lock(); err != nil {
		return fmt.Errorf("%s cannot be locked: %w", l.path, err)
	}
	defer syscall.Flock(int(l.file.Fd()), syscall.LOCK_UN)
	if err := l.catchUp(); err != nil {
		return fmt.Errorf("%s cannot be read: %w", l.path, err)
	}
	return do()
}

// open opens the file, again if another one lies in its place.
func (l *Log) open() error {
	if l.file != nil {
		mine, err := l.file.Stat()
		there, errThere := os.Lstat(l.path)
		if err == nil && errThere == nil && os.SameFile(mine, there) && there.Size() >= l.read {
			return nil
		}
		l.file.Close()
		l.file, l.read, l.unended, l.lines, l.bad, l.decisions, l.ids = nil, 0, false, 0, 0, nil, map[string]bool{}
		l.said = append(l.said, FileName+" was replaced while it was open; it is read anew")
	}
	f, err := openRegular(l.path)
	if err != nil {
		return err
	}
	l.file = f
	return syncFolder(filepath.Dir(l.path)) // the name, too, must survive a pulled plug
}

// openRegular opens a regular file to read and to append, and makes it if
// there is none. Who passes on a folder could place a link under the name, and
// what is written would go into its target: links are not followed, and nothing
// else than a regular file is waited for.
func openRegular(path string) (*os.File, error) {
	if info, err := os.Lstat(path); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no regular file but %s", path, kind(info.Mode()))
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0o644)
	if err != nil {
		return nil, err
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, errors.Join(err, fmt.Errorf("%s is no regular file", path))
	}
	return f, nil
}

func kind(m os.FileMode) string {
	switch {
	case m&os.ModeSymlink != 0:
		return "a link; put the file itself in its place"
	case m.IsDir():
		return "a folder"
	}
	return "a device, a pipe or a socket"
}

// oneName refuses to change a file that has another name somewhere: what is
// added to a backup made of hard links would be added to what it backs up.
func (l *Log) oneName() error {
	info, err := l.file.Stat()
	if err != nil {
		return err
	}
	if s, ok := info.Sys().(*syscall.Stat_t); ok && s.Nlink > 1 {
		return fmt.Errorf("%s has %d names (hard links), and all of them would change; put a copy in its place", l.path, s.Nlink)
	}
	return nil
}

// catchUp reads the lines that are new. The lock is held, so nobody is in the
// middle of one. An end without a newline is what a crash left, or what another
// program saved without one.
func (l *Log) catchUp() error {
	info, err := l.file.Stat()
	if err != nil || info.Size() == l.read {
		return err
	}
	if info.Size() > maxLog {
		return fmt.Errorf("it has %d bytes; decisions have at most %d", info.Size(), int64(maxLog))
	}
	data, err := io.ReadAll(io.NewSectionReader(l.file, l.read, info.Size()-l.read))
	if err != nil {
		return err
	}
	end := bytes.LastIndexByte(data, '\n') + 1
	for line := range bytes.Lines(data[:end]) {
		if l.unended { // the rest of a line that was told of
			l.unended = false
			continue
		}
		l.take(line)
	}
	l.read += int64(end)
	tail := data[end:]
	switch {
	case len(tail) == 0:
	case l.torn(tail):
		return l.setAside(tail)
	case !l.unended:
		l.take(tail)
		fallthrough
	default:
		l.unended = true
		l.read += int64(len(tail))
	}
	return nil
}

// lead is how every line of ours begins.
const lead = `{"format":"` + Format + `",`

// torn tells whether an end without a newline is the beginning of a line that a
// crash kept from being written whole. Whatever else it is, it is somebody's.
func (l *Log) torn(tail []byte) bool {
	if len(tail) > maxLine || l.unended {
		return false
	}
	if len(tail) < len(lead) {
		// So little is ours only if it follows what is.
		return len(l.decisions) > 0 && bytes.HasPrefix([]byte(lead), tail)
	}
	var v any
	return bytes.HasPrefix(tail, []byte(lead)) && errors.Is(json.NewDecoder(bytes.NewReader(tail)).Decode(&v), io.ErrUnexpectedEOF)
}

// take keeps one line; one that cannot be read stays in the file and is told.
func (l *Log) take(line []byte) {
	l.lines++
	line = trimmed(line)
	if len(line) == 0 {
		return
	}
	d, err := Parse(line)
	if err != nil {
		if l.bad++; l.bad <= maxSaid {
			l.said = append(l.said, fmt.Sprintf("%s:%d: left out: %v", FileName, l.lines, err))
		} else if l.bad == maxSaid+1 {
			l.said = append(l.said, fmt.Sprintf("%s: further lines are left out", FileName))
		}
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
	if err := l.oneName(); err != nil {
		return err
	}
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
	if err := l.oneName(); err != nil {
		return err
	}
	if l.unended {
		all = append([]byte{'\n'}, all...)
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
	l.unended = false
	l.lines += len(fresh)
	for _, d := range fresh {
		l.ids[d.ID] = true
		l.decisions = append(l.decisions, d)
	}
	return nil
}

// lock takes the file's lock. Whoever may read the file can hold it for ever, so
// it is not waited for longer than honest writers need, many times over.
func (l *Log) lock() error {
	const pause = 10 * time.Millisecond
	for waited := time.Duration(0); ; waited += pause {
		switch err := syscall.Flock(int(l.file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); {
		case err == syscall.EINTR:
		case err != syscall.EWOULDBLOCK:
			return err
		case waited >= l.patience:
			return errors.New("another program holds its lock")
		}
		time.Sleep(pause)
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
