package trial_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coursegauge/calibrate/trial"
	"coursegauge/vision/length"
)

// scene makes photos whose lengths err with a bias, a part that the heads of a
// photo share and a part of their own, all told truly in U, and rows taped to
// 1/16 in of the truth.
type scene struct {
	photos, heads     int
	bias, shared, own float64 // mm
}

func (s scene) draw(r *rand.Rand) (photos []trial.Photo, rows []trial.Row) {
	u := math.Hypot(s.shared, s.own)
	for i := range s.photos {
		p := trial.Photo{File: fmt.Sprintf("p%02d.jpg", i), Device: "example phone", Card: 3}
		common := s.shared * r.NormFloat64()
		for k := range s.heads {
			truth := 150 + 20*r.Float64()
			x := float64(100 * (k + 1))
			m := length.New(length.MM(truth+s.bias+common+s.own*r.NormFloat64()), length.MM(u))
			h := trial.Head{ID: k + 1, X: x, Y: 5, Radius: 9, Lengths: map[trial.Kind]length.Measured{trial.AboveButt: m}}
			p.Heads = append(p.Heads, h)
			rows = append(rows, trial.Row{No: len(rows) + 1, Photo: p.File, X: x, Y: 5, Typed: map[trial.Kind]string{trial.AboveButt: length.Sixteenths(length.MM(truth))}})
		}
		photos = append(photos, p)
	}
	return photos, rows
}

func judged(t *testing.T, s scene, seed uint64) trial.Comparison {
	t.Helper()
	photos, rows := s.draw(rand.New(rand.NewPCG(seed, 1)))
	j, err := trial.Judge(photos, rows, nil, trial.Tape{})
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Comparisons) != 1 || len(j.Comparisons[0].Pairs) != s.photos*s.heads {
		t.Fatalf("%+v", j)
	}
	return j.Comparisons[0]
}

// TestJudgeRecovers wants back what the scene was drawn with. A tape read to
// 1/16 in adds 25.4/16/sqrt(12) = 0.458 mm.
func TestJudgeRecovers(t *testing.T) {
	c := judged(t, scene{100, 10, .5, 0, .6}, 3)
	wantNear(t, "bias", c.Bias, .5, .08) // 0.755 / sqrt(1000) = 0.024
	wantNear(t, "standard deviation", c.SD, math.Hypot(.6, .458), .05)
	wantNear(t, "without the tape's", c.Own, .6, .05)
	// A bias of 0.5 mm that U does not know takes some off the 95 %.
	if share := float64(c.Within) / 1000; share < .85 || share > .95 {
		t.Errorf("%.3f within the stated U95", share)
	}
	if c := judged(t, scene{100, 10, 0, .4, .4}, 4); float64(c.Within)/1000 < .93 || float64(c.Within)/1000 > .97 {
		t.Errorf("%d of 1000 within a U95 that is true", c.Within)
	} else if c.Effective > 400 { // r = .16 / (.32 + .21), so 1000 / (1 + 9 r) = 269
		t.Errorf("1000 differences with a shared part count as %.0f", c.Effective)
	}
}

func TestTrust(t *testing.T) {
	for _, c := range []struct {
		name string
		s    scene
		want trial.Trust
		why  string
	}{
		{"good", scene{8, 6, 0, .1, .3}, trial.Trusted, "19 of 20 lie within"},
		{"bad", scene{8, 6, 0, .5, 2}, trial.NotTrusted, "19 of 20 lie within"},
		{"good, but for a bias", scene{8, 6, 2.5, .1, .3}, trial.NotTrusted, "19 of 20 lie within"},
		{"on the edge", scene{4, 3, 0, .1, .75}, trial.NotShown, "known to ±"},
		{"few heads", scene{3, 2, 0, .1, .3}, trial.NotShown, "6 heads are taped, 10 are needed"},
		{"few photos", scene{2, 10, 0, .1, .3}, trial.NotShown, "from 2 photos, 3 are needed"},
		{"one head", scene{1, 1, 0, .1, .3}, trial.NotShown, "at least two"},
	} {
		got := judged(t, c.s, 7)
		if got.Trust != c.want || !strings.Contains(got.Why, c.why) {
			t.Errorf("%s: %s, %s; want %s, %s", c.name, got.Trust, got.Why, c.want, c.why)
		}
	}
}

// The figures of a trial by hand: heads, entries and limits chosen so that each
// answer is plain.
func byHand() (photos []trial.Photo, rows []trial.Row) {
	head := func(id int, x float64, above, end length.MM, a trial.Answer) trial.Head {
		return trial.Head{
			ID: id, X: x, Y: 5, Radius: 9, Side: trial.Left,
			Lengths: map[trial.Kind]length.Measured{trial.AboveButt: length.New(above, .4), trial.End: length.New(end, .5)},
			Ends:    map[trial.Side]length.Measured{trial.Left: length.New(end, .5), trial.Right: length.New(1000-end, .5)},
			Answers: map[trial.Kind]trial.Answer{trial.AboveButt: a},
		}
	}
	photos = []trial.Photo{{File: "a.jpg", Device: "example phone", Card: 3, Heads: []trial.Head{
		head(1, 100, 160, 30, trial.Clear), head(2, 200, 190, 30, trial.Suspect), head(3, 300, 160, 30, trial.Suspect),
		head(4, 400, 178, 30, trial.Clear), head(5, 500, 178, 30, trial.Unresolved), head(6, 600, 160, 30, trial.Clear),
	}}}
	for i, typed := range []string{"160 mm", "190 mm", "160 mm", "178 mm", "190 mm", "no head"} {
		rows = append(rows, trial.Row{No: i + 1, Photo: "a.jpg", X: float64(100*(i+1)) + 4, Y: 2, Side: trial.Left, Typed: map[trial.Kind]string{trial.AboveButt: typed}})
	}
	rows = append(rows, trial.Row{No: 7, Photo: "a.jpg", X: 900, Y: 2, Typed: map[trial.Kind]string{trial.AboveButt: "160 mm"}})
	return photos, rows
}

func TestVerdicts(t *testing.T) {
	photos, rows := byHand()
	// Limits as of a band from 5.9 to 7.0 in; 178 mm lies within half a
	// millimetre of its upper border, so that a tape read to 1 mm cannot tell.
	limits := trial.Limits{trial.AboveButt: {Min: 149.86, Max: 177.8}}
	j, err := trial.Judge(photos, rows, limits, trial.Tape{})
	if err != nil {
		t.Fatal(err)
	}
	c := j.Comparisons[0]
	if c.Judged != 3 || c.Confirmed != 2 || c.TapeOpen != 1 || c.Unresolved != 1 {
		t.Errorf("%d of %d confirmed, %d on the limit, %d unresolved; want 2 of 3, 1, 1", c.Confirmed, c.Judged, c.TapeOpen, c.Unresolved)
	}
	if len(j.NoHead) != 1 || j.NoHead[0].No != 6 || len(j.Lost) != 1 || j.Lost[0].No != 7 {
		t.Errorf("no head %+v, lost %+v", j.NoHead, j.Lost)
	}
	for _, words := range []string{"phone (example phone)", "card 3", "height above the butt is not yet shown"} {
		if !strings.Contains(j.Sentence(), words) {
			t.Errorf("%q lacks %q", j.Sentence(), words)
		}
	}
}

// A person may tape to the other end and say so in the sheet.
func TestOtherSide(t *testing.T) {
	photos, rows := byHand()
	rows = rows[:2]
	rows[0].Typed, rows[0].Side = map[trial.Kind]string{trial.End: "970 mm"}, trial.Right
	rows[1].Typed = map[trial.Kind]string{trial.End: "31 mm"}
	j, err := trial.Judge(photos, rows, nil, trial.Tape{})
	if err != nil {
		t.Fatal(err)
	}
	if c := j.Comparisons[0]; c.Kind != trial.End || c.Pairs[0].Off() != 0 || c.Pairs[1].Off() != -1 {
		t.Errorf("%+v", c.Pairs)
	}
}

func TestJudgeRefuses(t *testing.T) {
	photos, rows := byHand()
	blank := []trial.Row{{No: 1, Photo: "a.jpg", X: 100, Y: 5, Typed: map[trial.Kind]string{trial.End: "-"}}}
	other := append([]trial.Photo{}, photos...)
	other = append(other, trial.Photo{File: "b.jpg", Device: "other phone", Heads: photos[0].Heads})
	two := append([]trial.Row{{No: 8, Photo: "b.jpg", X: 100, Y: 5, Typed: map[trial.Kind]string{trial.AboveButt: "160 mm"}}}, rows...)
	for _, c := range []struct {
		photos []trial.Photo
		rows   []trial.Row
		want   string
	}{
		{photos, nil, "nothing is typed in the sheet yet"},
		{photos, blank, "nothing is typed in the sheet yet"},
		{nil, rows, "is this the sheet of these photos?"},
		{other, two, "2 phones (example phone; other phone)"},
	} {
		if _, err := trial.Judge(c.photos, c.rows, nil, trial.Tape{}); !errors.Is(err, trial.ErrSheet) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// course is one open course as it lies: pieces with heads, in mm. Frames show
// a stretch of it, with errors of their own.
type course struct {
	widths []float64
	heads  [][2]float64 // x along from the first joint, y above the butt
}

func drawCourse(r *rand.Rand) course {
	c := course{widths: []float64{1000, 1000, 1000, 1000}}
	for k := range c.widths {
		for _, x := range []float64{25, 340, 660, 975} {
			c.heads = append(c.heads, [2]float64{1000*float64(k) + x + 12*r.NormFloat64(), 163 + 6*r.NormFloat64()})
		}
	}
	return c
}

// photo shows the pieces from first to last whole, and half a piece beside
// them where there is one.
func (c course) photo(r *rand.Rand, name string, first, last int, sigma float64) trial.Photo {
	p := trial.Photo{File: name, Device: "example phone", Card: 3}
	err := func() float64 { return sigma * r.NormFloat64() }
	id := 0
	for k := max(first-1, 0); k <= min(last+1, len(c.widths)-1); k++ {
		id++
		q := trial.Piece{ID: id}
		if k >= first && k <= last {
			w := length.MM(c.widths[k] + err()/3)
			q.Width = &w
		}
		p.Pieces = append(p.Pieces, q)
		for _, h := range c.heads {
			x := h[0] - 1000*float64(k)
			if x < 0 || x > 1000 || k < first && x < 500 || k > last && x > 500 {
				continue
			}
			l, e := length.New(length.MM(x+err()), .5), length.New(length.MM(1000-x+err()), .5)
			head := trial.Head{ID: len(p.Heads) + 1, X: 10 * h[0], Y: h[1], Radius: 9, Piece: id, Ends: map[trial.Side]length.Measured{}, Lengths: map[trial.Kind]length.Measured{
				trial.AboveButt: length.New(length.MM(h[1]+err()), .5)}}
			if k >= first {
				head.Ends[trial.Left] = l
				head.Side, head.Lengths[trial.End] = trial.Left, l
			}
			if k <= last {
				head.Ends[trial.Right] = e
				if head.Side == "" || e.Value() < l.Value() {
					head.Side, head.Lengths[trial.End] = trial.Right, e
				}
			}
			p.Heads = append(p.Heads, head)
		}
	}
	return p
}

// TestRepeatByPlace lays photos of stretches of one course over each other and
// wants the spread that they were drawn with.
func TestRepeatByPlace(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	c := drawCourse(r)
	photos := []trial.Photo{
		c.photo(r, "n/a.jpg", 0, 2, .5), c.photo(r, "n/b.jpg", 0, 2, .5), c.photo(r, "n/c.jpg", 1, 2, .5), c.photo(r, "n/d.jpg", 0, 1, .5), c.photo(r, "n/e.jpg", 1, 1, .5),
		drawCourse(r).photo(r, "s/a.jpg", 0, 1, .5),
	}
	got := trial.RepeatByPlace(photos)
	if len(got.Studies) != 2 || got.By != "" {
		t.Fatalf("%+v", got)
	}
	for _, s := range got.Studies {
		if s.Trials < 2 || s.Parts < 6 {
			t.Errorf("%s: %d heads in %d photos", s.Kind, s.Parts, s.Trials)
		}
		if s.RepeatabilityCI.Low > .5 || s.RepeatabilityCI.High < .5 {
			t.Errorf("%s: repeatability %.3f in %.3f to %.3f, drawn with 0.5", s.Kind, s.Repeatability, s.RepeatabilityCI.Low, s.RepeatabilityCI.High)
		}
	}
	if len(got.Notes) != 1 || !strings.Contains(got.Notes[0], "s/a.jpg is the only") {
		t.Errorf("notes %q", got.Notes)
	}
}

// TestRepeatBetweenPhones: two phones, of which one reads 1 mm more.
func TestRepeatBetweenPhones(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	c := drawCourse(r)
	var photos []trial.Photo
	for i := range 6 {
		p := c.photo(r, fmt.Sprintf("p%d.jpg", i), 0, 2, .3)
		if i%2 == 1 {
			p.Device = "other phone"
			for k := range p.Heads {
				l := p.Heads[k].Lengths
				l[trial.AboveButt] = l[trial.AboveButt].Plus(1)
			}
		}
		photos = append(photos, p)
	}
	got := trial.RepeatByPlace(photos)
	if got.By != "phones" || len(got.Studies) == 0 {
		t.Fatalf("%+v", got)
	}
	g := got.Studies[0]
	if g.Kind != trial.AboveButt || g.Operators != 2 || g.Trials != 3 {
		t.Errorf("%+v", g)
	}
	wantNear(t, "repeatability", g.Repeatability, .3, .06)
	wantNear(t, "reproducibility", g.Reproducibility, 1/math.Sqrt2, .15) // two values 1 mm apart
}

// Photos of different courses must not be laid over each other, nor those of a
// course whose heads repeat from piece to piece.
func TestRepeatRefuses(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	a, b := drawCourse(r).photo(r, "a.jpg", 0, 2, .5), drawCourse(r).photo(r, "b.jpg", 0, 2, .5)
	even := course{widths: []float64{1000, 1000, 1000, 1000}}
	for k := range 4 {
		for _, x := range []float64{25, 340, 660, 975} {
			even.heads = append(even.heads, [2]float64{1000*float64(k) + x, 163})
		}
	}
	for name, photos := range map[string][]trial.Photo{
		"different courses": {a, b},
		"an even course":    {even.photo(r, "a.jpg", 0, 2, .5), even.photo(r, "b.jpg", 1, 2, .5)},
		"nothing known":     {{File: "a.jpg"}, {File: "b.jpg"}},
	} {
		got := trial.RepeatByPlace(photos)
		if len(got.Studies) != 0 || !strings.Contains(strings.Join(got.Notes, "; "), "type names in the sheet instead") {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

func TestRepeatByName(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	c := drawCourse(r)
	photos := []trial.Photo{c.photo(r, "a.jpg", 0, 1, .5), c.photo(r, "b.jpg", 0, 1, .5)}
	var rows []trial.Row
	for i := range 6 {
		for _, p := range photos {
			h := p.Heads[i]
			rows = append(rows, trial.Row{No: len(rows) + 1, Photo: p.File, X: h.X, Y: h.Y, Side: h.Side, Name: fmt.Sprint("head ", i)})
		}
	}
	got := trial.RepeatByName(photos, rows)
	if len(got.Studies) != 2 || got.Studies[0].Parts != 6 || got.Studies[0].Trials != 2 {
		t.Fatalf("%+v", got)
	}
	if none := trial.RepeatByName(photos, nil); len(none.Studies) != 0 {
		t.Errorf("%+v", none)
	}
}

// The pages are whole, hold no script and nothing from elsewhere, and the plot
// is told in words.
func TestPages(t *testing.T) {
	photos, rows := scene{4, 5, .3, .2, .5}.draw(rand.New(rand.NewPCG(19, 20)))
	j, err := trial.Judge(photos, rows, nil, trial.Tape{})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(21, 22))
	c := drawCourse(r)
	repeats := trial.RepeatByPlace([]trial.Photo{c.photo(r, "a.jpg", 0, 2, .5), c.photo(r, "b.jpg", 0, 2, .5)})
	const evil = "p00\u202e\u200b.jpg"
	for i := range rows {
		if rows[i].Photo == "p00.jpg" {
			rows[i].Photo, rows[i].Note = evil, evil
		}
	}
	look := trial.Look{Made: "made for a test", Cautions: []string{"mind the <edge>"}}
	var page, sheet bytes.Buffer
	if err := trial.WriteJudgementPage(&page, &j, &repeats, look); err != nil {
		t.Fatal(err)
	}
	if err := trial.WriteSheetPage(&sheet, rows, []trial.Picture{{File: evil, Width: 4000, Height: 3000, Src: `src="data:image/jpeg;base64,"`}}, look); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"judgement": page.String(), "sheet": sheet.String()} {
		for d := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(text, "<!DOCTYPE html>\n"))); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Errorf("%s: not well formed: %v", name, err)
				break
			}
		}
		for _, bad := range []string{"\u202e", "\u200b", "<script", "http:", "https:", "ZgotmplZ", "NaN", "Inf", "%!"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s holds %q", name, bad)
			}
		}
	}
	for _, words := range []string{`role="img"`, "<desc", "20 pairs, each as photo less tape", j.Sentence(), "two photos of one head differ by less than", "mind the &lt;edge&gt;"} {
		if !strings.Contains(page.String(), words) {
			t.Errorf("the judgement lacks %q", words)
		}
	}
	if !strings.Contains(sheet.String(), `p00\u202E\u200B.jpg`) {
		t.Error("the sheet does not name its photo")
	}
	if strings.Contains(sheet.String(), "p01.jpg") || strings.Count(sheet.String(), "<circle") != 10 {
		t.Errorf("the sheet shows other heads than those of its photo")
	}
}
