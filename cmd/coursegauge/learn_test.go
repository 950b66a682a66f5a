package main

import (
	"bytes"
	bytesOf "encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/calibrate/board"
	"coursegauge/calibrate/lens"
	"coursegauge/vision/plane"

	"gocv.io/x/gocv"
)

// A made phone: 1600 x 1200 px, focal length 1180 px, no distortion.
const (
	madeWide, madeHigh = 1600, 1200
	madeF              = 1180.0
)

// photographed is the printed card seen from a pose as a JPEG with the EXIF of
// an example phone.
func photographed(t *testing.T, page gocv.Mat, tiltX, tiltY, roll, x, y, z float64) []byte {
	t.Helper()
	turn, tilt := plane.Rodrigues(plane.Vec{0, 0, roll}), plane.Rodrigues(plane.Vec{tiltX, tiltY, 0})
	R := turn.Then(&tilt)
	const mm = 25.4 / board.DPI // a page pixel
	ox, oy := board.Letter.W/2, board.Letter.H/2
	cols := [3]plane.Vec{R.Mul(plane.Vec{mm, 0, 0}), R.Mul(plane.Vec{0, mm, 0}), R.Mul(plane.Vec{-ox, -oy, 0})}
	cols[2] = plane.Vec{cols[2][0] + x, cols[2][1] + y, cols[2][2] + z}
	H := gocv.NewMatWithSize(3, 3, gocv.MatTypeCV64F)
	defer H.Close()
	for j, c := range cols {
		H.SetDoubleAt(0, j, madeF*c[0]+(madeWide-1)/2.*c[2])
		H.SetDoubleAt(1, j, madeF*c[1]+(madeHigh-1)/2.*c[2])
		H.SetDoubleAt(2, j, c[2])
	}
	pic := gocv.NewMat()
	defer pic.Close()
	if err := gocv.WarpPerspectiveWithParams(page, &pic, H, image.Pt(madeWide, madeHigh), gocv.InterpolationLinear, gocv.BorderConstant, color.RGBA{110, 110, 110, 0}); err != nil {
		t.Fatal(err)
	}
	b, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, pic, []int{gocv.IMWriteJpegQuality, 95})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	return withEXIF(bytes.Clone(b.GetBytes()), "Example Phone 4", 4.2, int(math.Round(madeF/madeWide*36)))
}

// withEXIF puts model and focal lengths into a JPEG (CIPA DC-008, little endian).
func withEXIF(jpeg []byte, model string, mm float64, mm35 int) []byte {
	le := bytesOf.LittleEndian
	entry := func(b []byte, tag, kind uint16, count, value uint32) []byte {
		return le.AppendUint32(le.AppendUint32(le.AppendUint16(le.AppendUint16(b, tag), kind), count), value)
	}
	const exifIFD = 8 + 2 + 2*12 + 4
	data := uint32(exifIFD + 2 + 2*12 + 4)
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = le.AppendUint16(b, 2)
	b = entry(b, 0x0110, 2, uint32(len(model)+1), data+8)
	b = entry(b, 0x8769, 4, 1, exifIFD)
	b = le.AppendUint32(b, 0)
	b = le.AppendUint16(b, 2)
	b = entry(b, 0x920A, 5, 1, data)
	b = entry(b, 0xA405, 3, 1, uint32(mm35))
	b = le.AppendUint32(b, 0)
	b = le.AppendUint32(le.AppendUint32(b, uint32(mm*1000)), 1000)
	b = append(append(b, model...), 0)
	body := append([]byte("Exif\x00\x00"), b...)
	app1 := append([]byte{0xFF, 0xE1, byte((len(body) + 2) >> 8), byte(len(body) + 2)}, body...)
	return append(append(append([]byte(nil), jpeg[:2]...), app1...), jpeg[2:]...)
}

// TestCameraLearn: photos of the drawn card by a made phone give its lens; a
// photo without the card is left out with the reason; the profile is named by
// device, lens and size and found by --camera auto.
func TestCameraLearn(t *testing.T) {
	dir := t.TempDir()
	var b bytes.Buffer
	if err := board.WritePNG(&b, board.Options{Number: 9, Paper: board.Letter, Lang: board.English}, board.CardPage); err != nil {
		t.Fatal(err)
	}
	sharp, err := gocv.IMDecode(b.Bytes(), gocv.IMReadColor)
	if err != nil {
		t.Fatal(err)
	}
	defer sharp.Close()
	page := gocv.NewMat()
	defer page.Close()
	if err := gocv.GaussianBlur(sharp, &page, image.Point{}, 3, 3, gocv.BorderReplicate); err != nil { // a lens does not alias
		t.Fatal(err)
	}
	for i := range 12 {
		a := float64(i) * math.Pi / 6
		s, c := math.Sincos(a)
		x, y := 170*c, 110*s
		if i%3 == 0 {
			x, y = 60*c, 40*s
		}
		pic := photographed(t, page, .55*s, -.5*c, float64(i%4)*math.Pi/2, x, y, 420+20*float64(i%4))
		writeFile(t, filepath.Join(dir, "views", fmt.Sprintf("v%02d.jpg", i)), pic)
	}
	writeFile(t, filepath.Join(dir, "views", "bare.jpg"), withEXIF(cardless(t, 400, 300), "Example Phone 4", 4.2, 27))
	r := runIn(t, dir, "camera", "learn", "views", "--out", "profiles/", "--json")
	if r.status != exitDone && r.status != exitLook {
		r.said(t, exitDone)
	}
	var got learnedJSON
	if err := json.Unmarshal([]byte(r.out), &got); err != nil {
		t.Fatalf("%v\n%s%s", err, r.out, r.err)
	}
	p := got.Learned
	fu, cu, _, _, _, _ := p.U()
	if math.Abs(p.F/madeF-1) > max(.003, 3*fu) || math.Hypot(p.Cx-(madeWide-1)/2., p.Cy-(madeHigh-1)/2.) > max(2, 4*cu) || p.RMS > .2 {
		t.Errorf("focal length %.2f px (made with %.0f), principal point %.1f, %.1f, RMS %.3f", p.F, madeF, p.Cx, p.Cy, p.RMS)
	}
	if len(got.Used) != 12 || !strings.Contains(got.Dropped["bare.jpg"], "no card") {
		t.Errorf("%d used, dropped %v", len(got.Used), got.Dropped)
	}
	if name := filepath.Base(got.Profile); name != "example-phone-4_4.20mm_1600x1200"+lens.Ext {
		t.Errorf("profile %s", name)
	}
	if svg, err := os.ReadFile(filepath.Join(dir, got.Coverage)); err != nil || !bytes.HasPrefix(svg, []byte("<svg")) {
		t.Errorf("coverage: %v", err)
	}
	said := runIn(t, dir, "camera", "learn", "views/v0[0-4].jpg", "views/bare.jpg", "--out", "p.camera.json")
	if said.status != exitLook || !strings.Contains(said.err, "warning: only 5 views") {
		t.Errorf("exit status %d, no warning about few views:\n%s", said.status, said.err)
	}
	for _, w := range []string{"5 views used, 1 not", "not used bare.jpg: no card", "focal length", "profile: p.camera.json", "coverage: p.svg"} {
		if !strings.Contains(said.out, w) {
			t.Errorf("never said %q:\n%s", w, said.out)
		}
	}
	few := runIn(t, dir, "camera", "learn", "views/v00.jpg", "views/v01.jpg", "views/bare.jpg", "--out", "few.json")
	few.said(t, exitUsage, "2 usable views of the card", "bare.jpg")
}
