package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/record/bag"
	"coursegauge/report/record/seal"
	"coursegauge/report/review"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

const testdata = "../../testdata"

// picture is a small JPEG of its own for each shade.
func picture(t testing.TB, shade uint8) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 48, 32))
	for i := range m.Pix {
		m.Pix[i] = shade + uint8(i%7)
	}
	m.Set(3, 3, color.White)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func mustWrite(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func mustRead(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// limits are those of the invented job: the band is 150 to 178 mm above the butt.
var limits = func() schedule.Schedule {
	const file = "photos/laminated-metric/schedule.yaml"
	data, err := os.ReadFile(filepath.Join(testdata, file))
	if err != nil {
		panic(err)
	}
	s, err := schedule.Read(file, data)
	if err != nil {
		panic(err)
	}
	return s
}()

// head is an invented head, judged: in the band when it is to be clear, 12 mm above it
// when it is to be suspect.
func head(id int, verdict string) inspection.Fastener {
	height := map[string]length.MM{"clear": 160, "suspect": 190}[verdict]
	above, joint := length.New(height, 0.4), length.New(300, 1)
	r := &vision.Result{Course: &vision.Course{}, Fasteners: []vision.Fastener{{
		ID: id, Px: vision.Point{X: float64(5 + 10*id), Y: 12}, RadiusPx: 3, Score: 0.9, Piece: -1, AboveButt: &above, LowerJoint: &joint,
		Drive: vision.Drive{Class: vision.Flush, P: map[vision.DriveClass]float64{vision.Flush: 0.98, vision.Cocked: 0.02}},
	}}}
	return inspection.Build(inspection.Source{}, limits, r, judge.Judge(limits, r)).Heads[0]
}

// job is an invented job: three photos, one of them refused, two decisions.
func job(t testing.TB) Input {
	t.Helper()
	dir := t.TempDir()
	schedule := mustRead(t, filepath.Join(testdata, "photos/laminated-metric/schedule.yaml"))
	var photos []inspection.Photo
	for i, name := range []string{"north/IMG 1.jpg", "north/IMG 2.jpg", "Straße.jpg"} {
		data := picture(t, uint8(40*i+10))
		mustWrite(t, filepath.Join(dir, "photos", name), data)
		p := inspection.Photo{
			File: name, SHA256: hashOf(data), Taken: "2026-05-04T10:00:00-07:00", Device: "example phone 12", Crew: "first crew",
			Location: &inspection.Location{Lat: 40, Lon: -100}, Image: &inspection.Image{Width: 48, Height: 32, Orientation: 1}, Status: inspection.Measured,
			Heads: []inspection.Fastener{head(1, "suspect"), head(2, "clear")},
		}
		if i == 2 {
			p.Status, p.Heads, p.Refusal = inspection.Refused, nil, &inspection.Refusal{Reason: "no_card", Detail: "no card", Advice: "lay the card down"}
		}
		photos = append(photos, p)
	}
	// New puts them in order: Straße.jpg, which was refused, comes first
	d := inspection.New(inspection.Tool{Version: "test", OpenCV: "4.6.0", CardFormat: "1"}, inspection.Schedule{File: "barn.yaml", SHA256: hashOf(schedule), Title: "Barn, south slope"}, "2026-05-04T22:00:00Z", photos)
	return Input{
		Document: d, Inspection: encoded(t, d), Decisions: []review.Decision{decided(photos[1], 1, review.Wrong), decided(photos[2], 1, review.Sound)},
		Report: []byte("<!DOCTYPE html><title>a report</title>"), Photos: filepath.Join(dir, "photos"), Schedule: NamedFile{"barn.yaml", schedule},
		Version: "test", Made: time.Date(2026, 5, 5, 8, 0, 0, 0, time.UTC),
	}
}

func encoded(t testing.TB, d inspection.Document) []byte {
	t.Helper()
	var file bytes.Buffer
	if err := inspection.Encode(&file, d); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

func decided(p inspection.Photo, n int, what string) review.Decision {
	return review.Decision{
		Format: review.Format, ID: hashOf([]byte(p.File + what))[:32], Photo: p.SHA256, File: p.File, Target: review.HeadTarget(n),
		What: what, Who: "first reader", When: "2026-05-04T17:30:00-07:00", Tool: "test", Note: "looked at it",
	}
}

func mustMake(t testing.TB, in Input, target string) Made {
	t.Helper()
	m, err := Make(context.Background(), in, target)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// verdictOf checks a record; one that cannot even be opened is a problem too.
func verdictOf(t testing.TB, path string, o Options) Verdict {
	t.Helper()
	src, err := bag.Open(path)
	if err != nil {
		return Verdict{Problems: []bag.Problem{{Text: err.Error()}}}
	}
	defer src.Close()
	v, err := Verify(context.Background(), src, o)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func said(v Verdict) string {
	var b strings.Builder
	for _, p := range v.Problems {
		b.WriteString(p.String() + "\n")
	}
	return b.String()
}

// signer is a key without the work of a passphrase.
func signer(t testing.TB) *seal.Key {
	t.Helper()
	k, err := seal.Unprotected()
	if err != nil {
		t.Fatal(err)
	}
	return &k
}
