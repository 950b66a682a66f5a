package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"html"
	"net/url"
	"path/filepath"
	"regexp"
	"sync"
	"time"
)

var photosTag = regexp.MustCompile(`<meta name="photos" content="([^"]*)"`)

// photosOf is the folder that the photos' names count from: the one that was
// given, or the one that the report links to.
func photosOf(dir string, report []byte, given string) string {
	if given != "" {
		return given
	}
	tag := photosTag.FindSubmatch(report[:min(len(report), 8192)])
	if tag == nil {
		return dir
	}
	path, err := url.PathUnescape(html.UnescapeString(string(tag[1])))
	if err != nil || filepath.IsAbs(path) {
		return dir
	}
	return filepath.Join(dir, filepath.FromSlash(path))
}

// photo reads a full-size photo of the inspection. Whatever a report may claim,
// only bytes with the SHA-256 of a photo that was inspected come out.
func (r *reviewed) photo(sha string) (string, []byte, error) {
	for _, p := range r.document.Photos {
		if p.SHA256 != sha {
			continue
		}
		data, err := readFile(filepath.Join(r.photos, filepath.FromSlash(p.Path())))
		if err != nil {
			return "", nil, errors.New("the full-size photo is not where it was; give its folder with --photos")
		}
		sum := sha256.Sum256(data)
		if hex.EncodeToString(sum[:]) != sha {
			return "", nil, errors.New("the file with that name is not the photo that was inspected")
		}
		if bytes.HasPrefix(data, []byte("\x89PNG")) {
			return "photo.png", data, nil
		}
		return "photo.jpg", data, nil
	}
	return "", nil, fmt.Errorf("no photo %.12s", sha)
}

// follower rewrites a file some time after it was nudged, once however often
// that was, and at the end.
type follower struct {
	write func() error
	fail  func(error)
	wake  chan struct{}
	quit  chan struct{}
	done  sync.WaitGroup
}

// settle is how long a follower gathers nudges.
const settle = 300 * time.Millisecond

func newFollower(write func() error, fail func(error)) *follower {
	f := &follower{write: write, fail: fail, wake: make(chan struct{}, 1), quit: make(chan struct{})}
	f.nudge() // what was decided before this start, too
	f.done.Go(f.run)
	return f
}

func (f *follower) run() {
	for {
		select {
		case <-f.wake:
			f.follow()
		case <-f.quit:
			select {
			case <-f.wake:
				f.follow()
			default:
			}
			return
		}
		select {
		case <-time.After(settle):
		case <-f.quit:
		}
	}
}

func (f *follower) follow() {
	if err := f.write(); err != nil {
		f.fail(err)
	}
}

func (f *follower) nudge() {
	select {
	case f.wake <- struct{}{}:
	default: // it will write anyway
	}
}

// end writes what is still to be written.
func (f *follower) end() {
	close(f.quit)
	f.done.Wait()
}
