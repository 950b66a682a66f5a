package course

import (
	"crypto/sha256"
	"fmt"
	"os"
	"strings"
	"testing"
)

// The network in the program must be the one that vision/head/train/README.md describes,
// and small enough to travel with the source.
func TestWeightsAreThoseDescribed(t *testing.T) {
	readme, err := os.ReadFile("../head/train/README.md")
	if err != nil {
		t.Fatal(err)
	}
	line := fmt.Sprintf("%x  course.onnx", sha256.Sum256(weights))
	if !strings.Contains(string(readme), line) {
		t.Errorf("vision/head/train/README.md does not name the course.onnx that is built in: update its hash, and its figures, to\n%s", line)
	}
	if len(weights) >= 2_000_000 {
		t.Errorf("course.onnx has %d bytes; less than 2 MB are allowed", len(weights))
	}
}
