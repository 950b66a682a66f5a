package photo

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// The mutants: files of every format that were damaged as cards and senders
// damage them, and as someone would who wants to. Each must be answered, with a
// picture of the size that its header tells or with an *Unreadable. Decoders
// are native code, so the pixels are tried in a process of their own.

const (
	mutantsEach = 60 // of each sample and each way, a few seconds in all; more through mutantsEnv
	mutantsEnv  = "COURSEGAUGE_MUTANTS"
	mutantsFrom = "COURSEGAUGE_MUTANTS_FROM" // set in the child process
	mutantLimit = 1 << 22                    // pixels: larger ones are refused before anything is decoded
)

// sampleFile is a sound file.
type sampleFile struct {
	name string
	b    []byte
}

// samples of every format, small, with what phones put beside the picture.
func samples(t testing.TB) []sampleFile {
	t.Helper()
	m := smooth(96, 64)
	defer m.Close()
	body := camera([]field{shortField(0x0112, 6), asciiField(0x0110, "Example Phone 1")}, []field{asciiField(0x9003, "2026:05:01 16:20:05")}, nil)[:2100]
	photo := encoded(t, ".jpg", m)
	webp := encoded(t, ".webp", m)
	files := []sampleFile{
		{"jpeg", insert(photo, app1(body))},
		{"progressive jpeg", encoded(t, ".jpg", m, 2, 1)},
		{"two jpegs", append(insert(photo, app1(body), segmentOf(0xE2, []byte("MPF\x00II*\x00"))), photo...)},
		{"png", pngWithEXIF(encoded(t, ".png", m), body)},
		{"webp", webp},
		{"lossless webp", encoded(t, ".webp", m, 64, 101)},
		{"tiff", tiffFile(le, m)},
		{"packed tiff", encoded(t, ".tiff", m, 259, 5)},
		{"deflated tiff", encoded(t, ".tiff", m, 259, 8)},
	}
	for c := range riffChunks(webp) {
		files = append(files, sampleFile{"webp with exif", riffOf(vp8x(8, 96, 64), riffChunk(c.kind, c.data), riffChunk(chunkWEXI, body))})
		break
	}
	if _, err := exec.LookPath("heif-enc"); err == nil {
		c := encodeHEVC(t, encoded(t, ".png", m))
		files = append(files, sampleFile{"heic", heicOf(c.item(irot(3), imir(1)), exifItem(body, 6))},
			sampleFile{"heic of tiles", heicOf(append(gridOf([]coded{c, c, c, c}, 2, 190, 120, irot(1)), exifItem(body, 0))...)})
	}
	return files
}

// ways to damage a file. other is a sound file of any format.
var ways = []struct {
	name   string
	damage func(r *rand.Rand, b, other []byte) []byte
}{
	{"bytes turned over", func(r *rand.Rand, b, _ []byte) []byte {
		for range 1 + r.IntN(4) {
			b[place(r, b)] = byte(r.Uint32())
		}
		return b
	}},
	{"cut", func(r *rand.Rand, b, _ []byte) []byte { return b[:place(r, b)] }},
	{"a part taken out", func(r *rand.Rand, b, _ []byte) []byte {
		from := place(r, b)
		return append(b[:from], b[min(len(b), from+1+r.IntN(64)):]...)
	}},
	{"a part of another file put in", func(r *rand.Rand, b, other []byte) []byte {
		at, from := place(r, b), place(r, other)
		return bytes.Join([][]byte{b[:at], other[from:min(len(other), from+1+r.IntN(512))], b[at:]}, nil)
	}},
	{"a part twice", func(r *rand.Rand, b, _ []byte) []byte {
		from := place(r, b)
		to := min(len(b), from+1+r.IntN(256))
		return bytes.Join([][]byte{b[:to], b[from:to], b[to:]}, nil)
	}},
	{"a number made extreme", func(r *rand.Rand, b, _ []byte) []byte {
		extremes := [][]byte{{0xFF, 0xFF, 0xFF, 0xFF}, {0x7F, 0xFF, 0xFF, 0xFF}, {0, 0, 0, 0}, {0, 0, 0, 1}, {0x80, 0, 0, 0}, {0xFF, 0xFF}, {0x40, 0}, {0, 0}}
		copy(b[place(r, b):], extremes[r.IntN(len(extremes))])
		return b
	}},
}

// place prefers the front, where headers lie.
func place(r *rand.Rand, b []byte) int {
	if len(b) > 1024 && r.IntN(3) > 0 {
		return r.IntN(1024)
	}
	return r.IntN(len(b))
}

// mutant is one damaged file, the same for the same number.
func mutant(files []sampleFile, n int) (name string, b []byte) {
	r := rand.New(rand.NewPCG(7, uint64(n)))
	file, way := files[n%len(files)], ways[n/len(files)%len(ways)]
	return fmt.Sprintf("%d: %s, %s", n, file.name, way.name), way.damage(r, bytes.Clone(file.b), files[r.IntN(len(files))].b)
}

func mutants(t testing.TB, files []sampleFile) int {
	each := mutantsEach
	if v := os.Getenv(mutantsEnv); v != "" {
		var err error
		if each, err = strconv.Atoi(v); err != nil {
			t.Fatal(err)
		}
	}
	return each * len(files) * len(ways)
}

// What Go reads of a mutant ends and holds, whatever was damaged.
func TestMutantsHeaders(t *testing.T) {
	files := samples(t)
	for n := range mutants(t, files) {
		name, b := mutant(files, n)
		checkFacts(t, ReadFacts(b))
		h, err := ReadHeader(b)
		var u *Unreadable
		switch {
		case err != nil && (!errors.As(err, &u) || strings.ContainsAny(err.Error(), "\n\r")):
			t.Errorf("%s: %v is not a one-line Unreadable", name, err)
		case err == nil && (h.Width < 1 || h.Height < 1):
			t.Errorf("%s: %+v", name, h)
		}
	}
}

// decodeMutants is the child: it says which mutant it is at, then the answer.
func decodeMutants(t *testing.T, from int) {
	files := samples(t)
	for n := from; n < mutants(t, files); n++ {
		name, b := mutant(files, n)
		fmt.Printf("mutant %s\n", name)
		p, err := Decode(b, Options{MaxPixels: mutantLimit})
		var u *Unreadable
		switch {
		case err == nil:
			if want := p.Header.Width * p.Header.Height; p.Width()*p.Height() != want || want > mutantLimit {
				t.Errorf("%s: %d x %d pixels of %+v", name, p.Width(), p.Height(), p.Header)
			}
			_ = p.Close()
			fmt.Println("answer: a picture")
		case errors.As(err, &u):
			fmt.Println("answer: refused")
		default:
			t.Errorf("%s: %v is no Unreadable", name, err)
		}
	}
}

// Every mutant is answered. A decoder that dies of one is counted, and the rest
// go on in a new process, as in a batch; the count must be none.
func TestMutantsPixels(t *testing.T) {
	if v := os.Getenv(mutantsFrom); v != "" {
		from, err := strconv.Atoi(v)
		if err != nil {
			t.Fatal(err)
		}
		decodeMutants(t, from)
		return
	}
	all := mutants(t, samples(t))
	answered, pictures := 0, 0
	for from := 0; from < all; {
		child := exec.Command(os.Args[0], "-test.run=^TestMutantsPixels$", "-test.v")
		child.Env = append(os.Environ(), mutantsFrom+"="+strconv.Itoa(from))
		var said, complaints bytes.Buffer
		child.Stdout, child.Stderr = &said, &complaints
		err := child.Run()
		begun, answers := strings.Count(said.String(), "mutant "), strings.Count(said.String(), "answer: ")
		answered, pictures = answered+answers, pictures+strings.Count(said.String(), "answer: a picture")
		if err == nil && begun == answers && begun > 0 {
			break
		}
		t.Errorf("after %d mutants: %v\n%s\n%s", from+begun, err, tail(said.String(), 600), tail(complaints.String(), 1500))
		if begun == answers || begun == 0 {
			break // the tests' own words: no mutant to step over
		}
		from += begun
	}
	t.Logf("%d mutants: %d answered, %d of them with a picture", all, answered, pictures)
	if answered != all {
		t.Errorf("%d of %d mutants were answered", answered, all)
	}
}

func tail(s string, n int) string { return s[max(0, len(s)-n):] }
