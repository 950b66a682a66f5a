package main

import (
	"bytes"
	big "encoding/binary"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// mutant changes a photo in one way that cards, cables and ill will do.
type mutant struct {
	name string
	of   func(r *rand.Rand, photo, other []byte) []byte
}

var mutants = []mutant{
	{"bytes flipped", func(r *rand.Rand, photo, _ []byte) []byte {
		for range 1 + r.IntN(20) {
			photo[r.IntN(len(photo))] ^= byte(1 << r.IntN(8))
		}
		return photo
	}},
	{"header bytes random", func(r *rand.Rand, photo, _ []byte) []byte {
		for range 1 + r.IntN(6) {
			photo[r.IntN(min(len(photo), 700))] = byte(r.IntN(256))
		}
		return photo
	}},
	{"cut short", func(r *rand.Rand, photo, _ []byte) []byte { return photo[:r.IntN(len(photo))] }},
	{"a hole", func(r *rand.Rand, photo, _ []byte) []byte {
		at := r.IntN(len(photo))
		return slices.Delete(photo, at, min(len(photo), at+1+r.IntN(4096)))
	}},
	{"spliced", func(r *rand.Rand, photo, other []byte) []byte {
		return append(photo[:r.IntN(len(photo))], other[r.IntN(len(other)):]...)
	}},
	{"a segment twice", func(r *rand.Rand, photo, _ []byte) []byte {
		at, n := 2+r.IntN(min(len(photo)-2, 600)), 2+r.IntN(300)
		return slices.Insert(photo, at, photo[at:min(len(photo), at+n)]...)
	}},
	{"another size", func(r *rand.Rand, photo, _ []byte) []byte { return resizedTo(photo, r.IntN(65536), r.IntN(65536)) }},
	{"a bomb", func(r *rand.Rand, photo, _ []byte) []byte { return resizedTo(photo, 65000, 65000) }},
	{"zeros", func(r *rand.Rand, photo, _ []byte) []byte {
		at := r.IntN(len(photo))
		clear(photo[at:min(len(photo), at+1+r.IntN(8192))])
		return photo
	}},
}

// resizedTo writes another size into the header of a JPEG (ITU-T T.81, B.2.2)
// or a PNG (its IHDR chunk, whose check sum is then wrong).
func resizedTo(photo []byte, w, h int) []byte {
	for _, frame := range [][]byte{{0xFF, 0xC0}, {0xFF, 0xC2}} {
		if at := bytes.Index(photo, frame); at >= 0 && at+9 < len(photo) {
			big.BigEndian.PutUint16(photo[at+5:], uint16(h))
			big.BigEndian.PutUint16(photo[at+7:], uint16(w))
			return photo
		}
	}
	if at := bytes.Index(photo, []byte("IHDR")); at >= 0 && at+12 < len(photo) {
		big.BigEndian.PutUint32(photo[at+4:], uint32(w))
		big.BigEndian.PutUint32(photo[at+8:], uint32(h))
	}
	return photo
}

// Whatever is done to photos, the batch ends, each has an answer, and none is a
// fault of ours. $MUTANTS is how many are tried.
func TestMutants(t *testing.T) {
	count := countFrom(t, "MUTANTS", 60)
	bases := [][]byte{cardless(t, 640, 480), pngOf(t, 320, 240)}
	for _, name := range []string{"photos/laminated-metric/roof-002.jpg", "reference/orientation/*.jpg", "reference/exif/*.jpg"} {
		paths, _ := filepath.Glob(filepath.Join(testdata, name))
		if len(paths) == 0 {
			t.Fatalf("no %s in testdata", name)
		}
		data, err := os.ReadFile(paths[0])
		if err != nil {
			t.Fatal(err)
		}
		bases = append(bases, data)
	}
	dir := t.TempDir()
	r := rand.New(rand.NewPCG(14, 2026))
	what := map[string]string{}
	for i := range count {
		m, base := mutants[i%len(mutants)], r.IntN(len(bases))
		data := m.of(r, slices.Clone(bases[base]), bases[r.IntN(len(bases))])
		name := fmt.Sprintf("m%04d%s", i, []string{".jpg", ".png"}[i%2])
		what[name] = m.name
		writeFile(t, filepath.Join(dir, "photos", name), data)
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	start := time.Now()
	ran := runIn(t, dir, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out", "--no-cache")
	ran.said(t, exitLook)
	d := inspectionIn(t, filepath.Join(dir, "out"))
	answers, crashed := map[string]int{}, 0
	for _, p := range d.Photos {
		if what[p.File] == "" {
			t.Errorf("%s was never given", p.File)
		}
		delete(what, p.File)
		for _, twin := range p.AlsoAs { // two mutants of the same bytes
			delete(what, twin)
		}
		if p.Refusal == nil {
			answers["measured"]++
			continue
		}
		answers[p.Refusal.Reason]++
		if strings.Contains(p.Refusal.Detail, "crashed") || strings.Contains(p.Refusal.Detail, "needs more than") || strings.Contains(p.Refusal.Detail, "took more than") {
			crashed++
		}
		if strings.Contains(p.Refusal.Detail, "internal fault") {
			t.Errorf("%s: %s", p.File, p.Refusal.Detail)
		}
	}
	if len(what) > 0 {
		t.Errorf("no answer for %v", what)
	}
	t.Logf("%d mutants in %.0f s: %v; %d took their worker along", count, time.Since(start).Seconds(), answers, crashed)
}

func pngOf(t *testing.T, width, height int) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, width, height))
	for i := range m.Pix {
		m.Pix[i] = uint8(i * i >> 4)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
