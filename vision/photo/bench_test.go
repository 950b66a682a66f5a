package photo

import (
	"bytes"
	"math/rand/v2"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"github.com/disintegration/imaging"
	"gocv.io/x/gocv"
)

// phonePhoto is a 12.2 MP JPEG stored on its side (orientation 6): a published
// photo enlarged, with grain so that it compresses as a photo does. It is made
// once for all benchmarks.
func phonePhoto(b *testing.B) []byte {
	b.Helper()
	if phonePhotoBytes == nil {
		phonePhotoBytes = makePhonePhoto(b)
	}
	return phonePhotoBytes
}

var phonePhotoBytes []byte

func makePhonePhoto(b *testing.B) []byte {
	b.Helper()
	small, err := imaging.Decode(bytes.NewReader(readFile(b, orientationDir, "Landscape_1.jpg")))
	if err != nil {
		b.Fatal(err)
	}
	large := imaging.Resize(small, 4032, 3024, imaging.CatmullRom)
	grain := rand.New(rand.NewPCG(1, 2))
	for i := 0; i < len(large.Pix); i += 4 {
		n := grain.IntN(13) - 6
		for c := range 3 {
			large.Pix[i+c] = uint8(min(255, max(0, int(large.Pix[i+c])+n)))
		}
	}
	return insert(jpegOf(b, large), app1(camera([]field{shortField(0x0112, 6)}, nil, nil)))
}

func decodePicture(b *testing.B, photo []byte) {
	b.Helper()
	p, err := Decode(photo, Options{})
	if err != nil {
		b.Fatal(err)
	}
	if p.Width() != 3024 {
		b.Fatalf("width %d, want 3024", p.Width())
	}
	_ = p.Close()
}

// BenchmarkDecode is what the package does: walk, facts, pixels, rotation, hash.
func BenchmarkDecode(b *testing.B) {
	photo := phonePhoto(b)
	for b.Loop() {
		decodePicture(b, photo)
	}
}

// BenchmarkDecodeOpenCV leaves the rotation to OpenCV; no walk, no hash.
func BenchmarkDecodeOpenCV(b *testing.B) {
	photo := phonePhoto(b)
	for b.Loop() {
		m, err := gocv.IMDecode(photo, gocv.IMReadColor)
		if err != nil || m.Cols() != 3024 {
			b.Fatal(err, m.Cols())
		}
		_ = m.Close()
	}
}

// BenchmarkDecodeImaging gives an upright picture in Go's memory, still to be
// copied into a Mat.
func BenchmarkDecodeImaging(b *testing.B) {
	photo := phonePhoto(b)
	for b.Loop() {
		m, err := imaging.Decode(bytes.NewReader(photo), imaging.AutoOrientation(true))
		if err != nil || m.Bounds().Dx() != 3024 {
			b.Fatal(err)
		}
	}
}

// BenchmarkDecodeImagingToMat is the whole of the other way.
func BenchmarkDecodeImagingToMat(b *testing.B) {
	photo := phonePhoto(b)
	for b.Loop() {
		img, err := imaging.Decode(bytes.NewReader(photo), imaging.AutoOrientation(true))
		if err != nil {
			b.Fatal(err)
		}
		m, err := gocv.ImageToMatRGB(img)
		if err != nil {
			b.Fatal(err)
		}
		_ = m.Close()
	}
}

// BenchmarkDecodeWalk is the share of the checks before the pixels.
func BenchmarkDecodeWalk(b *testing.B) {
	photo := phonePhoto(b)
	for b.Loop() {
		h, err := ReadHeader(photo)
		if err != nil {
			b.Fatal(err)
		}
		if err := soundJPEG(photo, h); err != nil {
			b.Fatal(err)
		}
		if ReadFacts(photo).Orientation != 6 {
			b.Fatal("orientation lost")
		}
	}
}

// BenchmarkDecodeUpright is the rotation with one copy of the picture.
func BenchmarkDecodeUpright(b *testing.B) {
	stored := gocv.NewMatWithSize(3024, 4032, gocv.MatTypeCV8UC3)
	defer stored.Close()
	for b.Loop() {
		m, err := upright(stored.Clone(), 6)
		if err != nil {
			b.Fatal(err)
		}
		_ = m.Close()
	}
}

// BenchmarkDecodeKinds is one upright picture of 12.2 MP in each format, and,
// to compare with, OpenCV alone on the JPEG with its orientation ignored.
func BenchmarkDecodeKinds(b *testing.B) {
	m, err := gocv.IMDecode(phonePhoto(b), gocv.IMReadColor|gocv.IMReadIgnoreOrientation)
	if err != nil {
		b.Fatal(err)
	}
	defer m.Close()
	kinds := []sampleFile{
		{"jpeg", encoded(b, ".jpg", m, gocv.IMWriteJpegQuality, 90)},
		{"progressive jpeg", encoded(b, ".jpg", m, gocv.IMWriteJpegQuality, 90, gocv.IMWriteJpegProgressive, 1)},
		{"png", encoded(b, ".png", m, gocv.IMWritePngCompression, 1)},
		{"webp", encoded(b, ".webp", m, gocv.IMWriteWebpQuality, 90)},
		{"tiff", encoded(b, ".tiff", m, 259, 1)},
		{"tiff, LZW", encoded(b, ".tiff", m)},
	}
	b.Run("OpenCV alone", func(b *testing.B) {
		timeCPU(b, func() {
			m, err := gocv.IMDecode(kinds[0].b, gocv.IMReadColor|gocv.IMReadIgnoreOrientation)
			if err != nil {
				b.Fatal(err)
			}
			_ = m.Close()
		})
	})
	if _, err := exec.LookPath("heif-enc"); err == nil {
		tiles, columns := tilesOf(b, m, 512)
		kinds = append(kinds, sampleFile{"heic", heicOf(encodeHEVC(b, kinds[0].b).item())},
			sampleFile{"heic of tiles", heicOf(gridOf(tiles, columns, m.Cols(), m.Rows())...)},
			sampleFile{"heic of tiles, turned", heicOf(gridOf(tiles, columns, m.Cols(), m.Rows(), irot(3))...)})
	}
	for _, k := range kinds {
		b.Run(k.name, func(b *testing.B) {
			timeCPU(b, func() {
				p, err := Decode(k.b, Options{})
				if err != nil {
					b.Fatal(err)
				}
				_ = p.Close()
			})
		})
	}
}

// timeCPU also tells the processor time of all threads, which other work on the
// machine stretches less than the time on the clock.
func timeCPU(b *testing.B, work func()) {
	from := cpuTime(b)
	for b.Loop() {
		work()
	}
	b.ReportMetric(float64((cpuTime(b)-from).Milliseconds())/float64(b.N), "cpu-ms/op")
}

func cpuTime(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
