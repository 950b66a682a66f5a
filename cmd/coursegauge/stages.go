package main

import (
	"fmt"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strings"

	"gocv.io/x/gocv"
)

// stageFolder keeps what the stages of one photo looked like, numbered in the
// order they came: DIR/roof-001.jpg/03-edges.jpg. A nil folder keeps nothing.
type stageFolder struct {
	dir   string
	count int
	err   error // the first picture that could not be written
}

// newStageFolder gives the folder of one photo below root, empty of pictures
// of an earlier run; nil when root is "".
func newStageFolder(root string, p photoFile) (*stageFolder, error) {
	if root == "" {
		return nil, nil
	}
	dir := filepath.Join(root, filepath.FromSlash(path.Clean("/"+p.name)))
	old, _ := filepath.Glob(filepath.Join(escapePattern(dir), "[0-9][0-9]-*.jpg"))
	for _, f := range old {
		if err := os.Remove(f); err != nil {
			return nil, failure{fmt.Sprintf("--stages: cannot replace %s: %v", f, cause(err)), ""}
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, failure{fmt.Sprintf("--stages: cannot make the folder %s: %v", dir, cause(err)), ""}
	}
	return &stageFolder{dir: dir}, nil
}

// hook is what vision calls after each stage; nil keeps nothing.
func (s *stageFolder) hook() func(name string, picture gocv.Mat) {
	if s == nil {
		return nil
	}
	return s.keep
}

func (s *stageFolder) keep(name string, picture gocv.Mat) {
	if s.err != nil || picture.Empty() {
		return
	}
	s.count++
	file := filepath.Join(s.dir, fmt.Sprintf("%02d-%s.jpg", s.count, fileWord(name)))
	jpeg, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, picture, []int{gocv.IMWriteJpegQuality, 90})
	if err != nil {
		s.err = failure{fmt.Sprintf("--stages: cannot encode %s: %v", file, err), ""}
		return
	}
	defer jpeg.Close()
	s.err = writeWhole(file, jpeg.GetBytes())
}

// fault keeps the trace of an internal fault for whoever looks into it.
func (s *stageFolder) fault(what any, trace []byte) {
	if s != nil {
		s.err = writeWhole(filepath.Join(s.dir, "fault.txt"), fmt.Appendf(nil, "%v\n\n%s", what, trace))
	}
}

func (s *stageFolder) failed() error {
	if s == nil {
		return nil
	}
	return s.err
}

var notInAFileWord = regexp.MustCompile(`[^a-z0-9]+`)

func fileWord(s string) string {
	return strings.Trim(notInAFileWord.ReplaceAllString(strings.ToLower(s), "-"), "-")
}

// escapePattern makes filepath.Glob take a path by its letters.
func escapePattern(s string) string {
	return regexp.MustCompile(`[*?\[\\]`).ReplaceAllString(s, `\$0`)
}
