package vision

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"coursegauge/vision/card"
	"coursegauge/vision/length"
	"coursegauge/vision/photo"
)

// shelfPhotos are the photos that come with the tool, with what is known of
// their shingles: the schedule that lies beside each.
var shelfPhotos = []struct {
	folder  string
	product Product
}{
	{"laminated-metric", Product{Family: Laminated, Width: 39.3701 * length.Inch, Height: 13.2677 * length.Inch, Exposure: 5.6299 * length.Inch,
		Ply: .1024 * length.Inch, BandLow: 5.9055 * length.Inch, BandHigh: 7.0079 * length.Inch, HeadDiameter: .375 * length.Inch, Stagger: Stagger{Observed: true}}},
	{"threetab-inch", Product{Family: ThreeTab, Width: 36 * length.Inch, Height: 12 * length.Inch, Exposure: 5 * length.Inch,
		Ply: .0984 * length.Inch, BandLow: 5.3543 * length.Inch, BandHigh: 6.1417 * length.Inch, HeadDiameter: .375 * length.Inch, Stagger: Stagger{Observed: true}}},
}

// BenchmarkInspect takes 12 MP photos from bytes to lengths, one at a time on
// one thread of OpenCV, as a batch does. It reports milliseconds a photo for
// each stage, and the whole, decoding included, as a multiple of what OpenCV's
// bare decoding of the same bytes takes in the same run, which says more than
// milliseconds of an unknown computer.
func BenchmarkInspect(b *testing.B) {
	card.Threads(1)
	for _, s := range shelfPhotos {
		files, err := filepath.Glob(filepath.Join("..", "testdata", "photos", s.folder, "*.jpg"))
		if err != nil {
			b.Fatal(err)
		}
		b.Run(s.folder, func(b *testing.B) {
			if len(files) == 0 {
				b.Skip("no photos in testdata/photos/" + s.folder)
			}
			spent := map[string]float64{}
			photos := 0
			for b.Loop() {
				for _, f := range files {
					if timeStages(b, f, s.product, spent) {
						photos++
					}
				}
			}
			if photos == 0 {
				b.Fatal("every photo was refused")
			}
			whole, bare := 0.0, spent[bareDecode]
			delete(spent, bareDecode)
			for name, ms := range spent {
				b.ReportMetric(ms/float64(photos), "ms-"+name)
				whole += ms
			}
			b.ReportMetric(bare/float64(photos), "ms-opencv-decode")
			b.ReportMetric(whole/bare, "x-opencv-decode")
			b.ReportMetric(whole/float64(photos), "ms/photo")
			b.ReportMetric(0, "ns/op") // an operation is several photos
		})
	}
}

const bareDecode = "OpenCV's decoding, orientation ignored"

// timeStages adds the milliseconds that each stage took for one photo; a photo
// that is refused goes through few of them, so it adds nothing.
func timeStages(b *testing.B, file string, product Product, spent map[string]float64) bool {
	bytes, err := os.ReadFile(file)
	if err != nil {
		b.Fatal(err)
	}
	start := time.Now()
	p, err := photo.Decode(bytes, photo.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	decode := float64(time.Since(start).Microseconds()) / 1000
	r, err := Inspect(context.Background(), p, Options{Product: product})
	if err != nil {
		b.Fatal(err)
	}
	if r.Refusal != nil {
		return false
	}
	start = time.Now()
	bare, err := gocv.IMDecode(bytes, gocv.IMReadColor|gocv.IMReadIgnoreOrientation)
	if err != nil {
		b.Fatal(err)
	}
	spent[bareDecode] += float64(time.Since(start).Microseconds()) / 1000
	_ = bare.Close()
	spent["decode"] += decode
	for _, s := range r.Stages {
		spent[s.Name] += s.Milliseconds
	}
	return true
}
