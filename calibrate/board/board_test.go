package board

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coursegauge/vision/card"

	"gocv.io/x/gocv"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"
)

// Closeness that a drawing must keep, mm.
const trueTo = .01

// gray decodes a PNG.
func gray(t *testing.T, png []byte) gocv.Mat {
	t.Helper()
	m, err := gocv.IMDecode(png, gocv.IMReadGrayScale)
	if err != nil || m.Empty() {
		t.Fatalf("no picture: %v", err)
	}
	t.Cleanup(func() { m.Close() })
	return m
}

// place is where inner corner id lies on the page, mm.
func place(p Paper, id int) (x, y float64) {
	b := card.Standard
	x, y = p.Origin()
	return x + float64(id%(b.Cols-1)+1)*b.SquareMM, y + float64(id/(b.Cols-1)+1)*b.SquareMM
}

// found reads the board back and holds each corner to where the geometry says.
func found(t *testing.T, m gocv.Mat, o Options, pixelsPerMM float64) {
	t.Helper()
	s, err := card.Find(m, card.Standard)
	if err != nil {
		t.Fatal(err)
	}
	if s.Number != o.Number || s.Markers != card.Standard.Markers() || len(s.Corners) != card.Standard.Corners() {
		t.Fatalf("card %d with %d markers and %d corners", s.Number, s.Markers, len(s.Corners))
	}
	at := map[int][2]float64{}
	for _, k := range s.Corners {
		at[k.ID] = [2]float64{k.X, k.Y}
	}
	trueToSize(t, at, o, pixelsPerMM)
}

// trueToSize holds corners (px) to the drawing. The page in pixels may be a part
// of one higher or wider than the paper, which shifts the board as a whole.
func trueToSize(t *testing.T, at map[int][2]float64, o Options, pixelsPerMM float64) {
	t.Helper()
	off := map[int][2]float64{}
	var mx, my float64
	for id, q := range at {
		x, y := place(o.Paper, id)
		d := [2]float64{(q[0]+.5)/pixelsPerMM - x, (q[1]+.5)/pixelsPerMM - y}
		off[id] = d
		mx, my = mx+d[0]/float64(len(at)), my+d[1]/float64(len(at))
	}
	if math.Hypot(mx, my) > 1/pixelsPerMM {
		t.Errorf("the board lies %.3f, %.3f mm off its place on the page", mx, my)
	}
	for id, d := range off {
		if e := math.Hypot(d[0]-mx, d[1]-my); e > trueTo {
			t.Errorf("corner %d is %.4f mm off", id, e)
		}
	}
}

func TestPNG(t *testing.T) {
	for _, o := range []Options{{0, Letter, English}, {13, A4, Spanish}, {card.Standard.MaxNumber, Letter, English}} {
		var b bytes.Buffer
		if err := WritePNG(&b, o, CardPage); err != nil {
			t.Fatal(err)
		}
		m := gray(t, b.Bytes())
		if w := int(math.Round(o.Paper.W / 25.4 * DPI)); m.Cols() < w-1 || m.Cols() > w+1 {
			t.Errorf("%d px wide, want %d", m.Cols(), w)
		}
		if !bytes.Contains(b.Bytes()[:60], []byte("pHYs\x00\x00\x2e\x23\x00\x00\x2e\x23\x01")) { // 11811 a metre
			t.Error("the file does not say how large it is")
		}
		found(t, m, o, DPI/25.4)
	}
}

// rasterised is a page of the PDF as poppler prints it.
func rasterised(t *testing.T, o Options, dpi int) gocv.Mat {
	t.Helper()
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("pdftoppm (poppler-utils) is not installed: the PDF is not read back")
	}
	var b bytes.Buffer
	if err := WritePDF(&b, o); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "card.pdf"), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	c := exec.Command("pdftoppm", "-r", strconv.Itoa(dpi), "-f", "1", "-l", "1", "-singlefile", "-gray", "-png", "card.pdf", "card")
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v\n%s", err, out)
	}
	png, err := os.ReadFile(filepath.Join(dir, "card.png"))
	if err != nil {
		t.Fatal(err)
	}
	return gray(t, png)
}

func TestPDF(t *testing.T) {
	for _, o := range []Options{{7, Letter, English}, {27, A4, Spanish}} {
		var b bytes.Buffer
		if err := WritePDF(&b, o); err != nil {
			t.Fatal(err)
		}
		box := regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`).FindAllSubmatch(b.Bytes(), -1)
		if len(box) == 0 {
			t.Fatal("no page size")
		}
		for _, m := range box {
			for i, want := range []float64{o.Paper.W, o.Paper.H} {
				if v, _ := strconv.ParseFloat(string(m[1+i]), 64); math.Abs(v/72*25.4-want) > trueTo {
					t.Errorf("page side %.3f mm, want %.3f", v/72*25.4, want)
				}
			}
		}
		if n := bytes.Count(b.Bytes(), []byte("/Type /Page\n")); n != 2 {
			t.Errorf("%d pages, want 2", n)
		}
		t.Run(fmt.Sprint(o.Number), func(t *testing.T) { found(t, rasterised(t, o, 600), o, 600/25.4) })
	}
}

// TestSVG reads the numbers of the drawing itself.
func TestSVG(t *testing.T) {
	o := Options{5, A4, English}
	var b bytes.Buffer
	if err := WriteSVG(&b, o, CardPage); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Width  string `xml:"width,attr"`
		Height string `xml:"height,attr"`
		G      struct {
			Paths []struct {
				D string `xml:"d,attr"`
			} `xml:"path"`
		} `xml:"g"`
	}
	if err := xml.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	points := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSuffix(s, "pt"), 64)
		if err != nil {
			t.Fatalf("size %q", s)
		}
		return v / 72 * 25.4
	}
	if w, h := points(doc.Width), points(doc.Height); math.Abs(w-o.Paper.W) > trueTo || math.Abs(h-o.Paper.H) > trueTo {
		t.Errorf("%.3f x %.3f mm", w, h)
	}
	longest := ""
	for _, p := range doc.G.Paths {
		if len(p.D) > len(longest) {
			longest = p.D
		}
	}
	lo, hi := [2]float64{1e9, 1e9}, [2]float64{-1e9, -1e9}
	for _, m := range regexp.MustCompile(`[ML](-?[0-9.]+),(-?[0-9.]+)`).FindAllStringSubmatch(longest, -1) {
		for i := range 2 {
			v, _ := strconv.ParseFloat(m[1+i], 64)
			lo[i], hi[i] = min(lo[i], v), max(hi[i], v)
		}
	}
	scale := 25.4 / 90 // the drawing's own unit, checked by the width below
	if m := regexp.MustCompile(`viewBox="0 0 ([0-9.]+)`).FindSubmatch(b.Bytes()); m != nil {
		v, _ := strconv.ParseFloat(string(m[1]), 64)
		scale = o.Paper.W / v
	}
	if w, h := (hi[0]-lo[0])*scale, (hi[1]-lo[1])*scale; math.Abs(w-254) > trueTo || math.Abs(h-177.8) > trueTo {
		t.Errorf("board of %.3f x %.3f mm, want 254.0 x 177.8", w, h)
	}
}

// TestThroughACamera photographs the rasterised PDF with a pinhole camera.
func TestThroughACamera(t *testing.T) {
	o := Options{19, Letter, English}
	page := rasterised(t, o, 300)
	soft := gocv.NewMat()
	defer soft.Close()
	if err := gocv.GaussianBlur(page, &soft, image.Point{}, 1.6, 1.6, gocv.BorderReplicate); err != nil { // a lens does not alias
		t.Fatal(err)
	}
	h := [9]float64{.31, -.08, 420, .05, .27, 260, 3e-5, -2.5e-5, 1} // page pixels to picture pixels
	H := gocv.NewMatWithSize(3, 3, gocv.MatTypeCV64F)
	defer H.Close()
	for i, v := range h {
		H.SetDoubleAt(i/3, i%3, v)
	}
	pic := gocv.NewMat()
	defer pic.Close()
	if err := gocv.WarpPerspectiveWithParams(soft, &pic, H, image.Pt(1600, 1200), gocv.InterpolationLinear, gocv.BorderConstant, color.RGBA{120, 120, 120, 0}); err != nil {
		t.Fatal(err)
	}
	s, err := card.Find(pic, card.Standard)
	if err != nil {
		t.Fatal(err)
	}
	if s.Number != o.Number || len(s.Corners) != card.Standard.Corners() {
		t.Fatalf("card %d with %d corners", s.Number, len(s.Corners))
	}
	for _, k := range s.Corners {
		x, y := place(o.Paper, k.ID)
		x, y = x/25.4*300-.5, y/25.4*300-.5
		w := h[6]*x + h[7]*y + h[8]
		u, v := (h[0]*x+h[1]*y+h[2])/w, (h[3]*x+h[4]*y+h[5])/w
		if d := math.Hypot(k.X-u, k.Y-v); d > .1 {
			t.Errorf("corner %d is %.3f px from where the geometry says", k.ID, d)
		}
	}
}

// TestIndependentDetector has the board read by another build of OpenCV than
// the one that is linked here, through its own interpolation of corners.
func TestIndependentDetector(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import cv2; cv2.aruco.CharucoBoard_create").CombinedOutput(); err != nil {
		t.Skipf("python3-opencv with aruco is not installed: the board is not read by a detector other than ours (%v %s)", err, bytes.TrimSpace(out))
	}
	o := Options{11, A4, English}
	var b bytes.Buffer
	if err := WritePNG(&b, o, CardPage); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "card.png")
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(python, "testdata/read_board.py", file, strconv.Itoa(o.Number)).Output()
	if err != nil {
		t.Fatalf("read_board.py: %v", err)
	}
	var got struct {
		Markers []int
		Corners map[int][2]float64
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Markers) != 35 || got.Markers[0] != 35*o.Number || got.Markers[34] != 35*o.Number+34 || len(got.Corners) != 54 {
		t.Fatalf("markers %v and %d corners", got.Markers, len(got.Corners))
	}
	trueToSize(t, got.Corners, o, DPI/25.4)
}

func TestWords(t *testing.T) {
	for lang, w := range words {
		if len(w.numbers) != card.Standard.MaxNumber+1 {
			t.Errorf("%s: %d number words", lang, len(w.numbers))
		}
		all := append(append(append([]string{w.card, w.print, w.mount, w.bar, w.steps, w.caution, w.title, w.distance, w.square, w.place}, w.numbers...), w.howto...), w.cautions...)
		for _, s := range append(all, w.spoils[:]...) {
			if s == "" || strings.Contains(latin(s), "?") {
				t.Errorf("%s: %q cannot be printed", lang, s)
			}
		}
	}
}

func TestWrongOptions(t *testing.T) {
	for _, c := range []struct {
		o    Options
		page int
		says string
	}{
		{Options{28, Letter, English}, 1, "0 to 27"}, {Options{-1, A4, English}, 1, "0 to 27"},
		{Options{1, Paper{200, 100}, English}, 1, "Letter and A4"}, {Options{1, A4, "xx"}, 1, "en, es"}, {Options{1, A4, English}, 3, "1 and 2"},
	} {
		var b bytes.Buffer
		if err := WriteSVG(&b, c.o, c.page); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.o, err, c.says)
		}
	}
}

// TestRim holds the white rim to what the card needs.
func TestRim(t *testing.T) {
	for _, p := range []Paper{Letter, A4} {
		if x, y := p.Origin(); x < 12 || y < 12 {
			t.Errorf("rim of %.1f and %.1f mm; 12 are needed", x, y)
		}
	}
}

// unprinted is how near the edge many office printers print nothing, mm (common
// practice: 3 to 6 mm, no source).
const unprinted = 6.0

// No letter of either page lies where printers do not reach, on any paper and in
// any language.
func TestTextWithinReachOfPrinters(t *testing.T) {
	mm := func(v vg.Length) float64 { return v.Dots(72) / vg.Millimeter.Dots(72) }
	for _, paper := range []Paper{Letter, A4} {
		for _, lang := range Langs() {
			o := Options{17, paper, Lang(lang)}
			for page := CardPage; page <= HowToPage; page++ {
				c := new(recorder.Canvas)
				if err := o.sheet(c, func(s string) string { return s }).page(o, page); err != nil {
					t.Fatal(err)
				}
				texts := 0
				for _, a := range c.Actions {
					f, is := a.(*recorder.FillString)
					if !is {
						continue
					}
					texts++
					drawn := faces().Lookup(f.Font, f.Size)
					ext := drawn.Extents()
					x0, x1 := mm(f.Point.X), mm(f.Point.X+drawn.Width(f.String))
					y0, y1 := mm(f.Point.Y-ext.Descent), mm(f.Point.Y+ext.Ascent)
					if x0 < unprinted || x1 > paper.W-unprinted || y0 < unprinted || y1 > paper.H-unprinted {
						t.Errorf("%g x %g mm, %s, page %d: %.30q reaches %.1f to %.1f mm across and %.1f to %.1f mm up", paper.W, paper.H, lang, page, f.String, x0, x1, y0, y1)
					}
				}
				if texts < 5 {
					t.Errorf("page %d has %d texts", page, texts)
				}
			}
		}
	}
}

// One word for one thing: the Spanish card calls a course what the Spanish sheets
// and lists call it, and messaging apps are no couriers.
func TestSpanishTerms(t *testing.T) {
	w := words[Spanish]
	all := strings.Join(append(append([]string{w.steps, w.caution, w.title, w.place, w.above, w.below}, w.howto...), w.cautions...), " ")
	for _, word := range []string{"hilada", "mensajero"} {
		if strings.Contains(all, word) {
			t.Errorf("the Spanish card says %q", word)
		}
	}
	for _, word := range []string{"hilera", "mensajería"} {
		if !strings.Contains(all, word) {
			t.Errorf("the Spanish card never says %q", word)
		}
	}
}
