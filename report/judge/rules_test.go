package judge_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/judge"
	"coursegauge/vision"
	"coursegauge/vision/length"
)

var update = flag.Bool("update", false, "renew the golden files")

// TestSight: what the picture does not show is not judged, and what it shows is.
func TestSight(t *testing.T) {
	full := layout{width: 36, heads: quarter, height: 5.7}
	for _, c := range []struct {
		name   string
		change func(l *layout)
		rule   string
		head   int
		want   judge.Result // "" when the rule does not concern the head
	}{
		{"inner head", func(l *layout) {}, "end", 1, ""},
		{"inner head too near", func(l *layout) { l.heads = []float64{0.4, 0.6, 12, 35} }, "end", 1, judge.Suspect},
		{"inner head, right, too near", func(l *layout) { l.heads = []float64{1, 12, 35.4, 35.6} }, "end", 2, judge.Suspect},
		{"left-most head", func(l *layout) {}, "gap", 4, ""},
		{"right-most head", func(l *layout) {}, "end", 3, judge.Clear},
		{"end at the rake", func(l *layout) { l.left = vision.EndRake }, "end", 0, judge.Clear},
		{"end cut", func(l *layout) { l.left = vision.EndCut }, "end", 0, judge.Clear},
		{"end out of the picture", func(l *layout) { l.left = vision.EndFrame }, "end", 0, judge.NotJudged},
		{"the other end stays", func(l *layout) { l.left = vision.EndFrame }, "end", 3, judge.Clear},
		{"end hidden", func(l *layout) { l.right = vision.EndHidden }, "end", 3, judge.NotJudged},
		{"too far", func(l *layout) { l.heads = []float64{5, 12, 24, 35} }, "end", 0, judge.Suspect},
		{"too far, but covered", func(l *layout) { l.heads, l.covered = []float64{5, 12, 24, 35}, true }, "end", 0, judge.NotJudged},
		{"too near, though covered", func(l *layout) { l.heads, l.covered = []float64{0.3, 12, 24, 35}, true }, "end", 0, judge.Suspect},
		{"right distance, though covered", func(l *layout) { l.covered = true }, "end", 0, judge.Clear},
		{"lone head, right end a little too far", func(l *layout) { l.heads, l.width = []float64{1}, 3 }, "end", 0, judge.Suspect},
		{"lone head, none near the right end", func(l *layout) { l.heads = []float64{1} }, "end", 0, judge.Clear},
		{"none near the right end", func(l *layout) { l.heads = []float64{1} }, "end", -1, judge.Suspect},
		{"outermost head missing", func(l *layout) { l.heads = quarter[1:] }, "end", 0, judge.NotJudged},
		{"outermost head missing, of the piece", func(l *layout) { l.heads = quarter[1:] }, "end", -1, judge.Suspect},
		{"outermost head missing, end unseen", func(l *layout) { l.heads, l.left = quarter[1:], vision.EndFrame }, "end", -1, ""},
		{"outermost head missing, or covered", func(l *layout) { l.heads, l.covered = quarter[1:], true }, "end", -1, ""},
		{"outermost head there", func(l *layout) {}, "end", -1, ""},
		{"lone head, right end unseen", func(l *layout) { l.heads, l.right = []float64{1}, vision.EndFrame }, "end", 0, judge.Clear},
		{"count, covered", func(l *layout) { l.heads, l.covered = quarter[:3], true }, "count", -1, judge.NotJudged},
		{"count, out of the picture", func(l *layout) { l.heads, l.right = quarter[:3], vision.EndFrame }, "count", -1, judge.NotJudged},
		{"count, 1 % narrower is full", func(l *layout) { l.heads, l.width = []float64{1, 12, 34.7}, 35.7 }, "count", -1, judge.Suspect},
		{"count under 12 in", func(l *layout) { l.heads, l.width = []float64{1}, 8 }, "count", -1, judge.Suspect},
		{"count, width on the short limit", func(l *layout) { l.heads, l.width, l.u = []float64{1, 22}, 23.9, 0.1 }, "count", -1, judge.Suspect},
		{"gap, covered", func(l *layout) { l.heads, l.covered = []float64{1, 24, 35}, true }, "gap", 1, judge.NotJudged},
		{"gap, width unknown", func(l *layout) { l.right = vision.EndFrame }, "gap", 1, judge.NotJudged},
		{"gap, between short and full", func(l *layout) { l.width, l.heads = 30, []float64{1, 14, 29} }, "gap", 1, judge.NotJudged},
		{"narrow, out of the picture", func(l *layout) { l.right = vision.EndFrame }, "narrow", -1, judge.NotJudged},
		{"narrow, wide enough", func(l *layout) {}, "narrow", -1, judge.Clear},
		{"no lower joint", func(l *layout) {}, "lower_joint", 0, judge.NotJudged},
		{"lower joint, over the top edge", func(l *layout) { l.lower, l.height = []float64{12}, 7.3 }, "lower_joint", 1, judge.Clear},
		{"lower joint, near the top edge", func(l *layout) { l.lower, l.height, l.u = []float64{12}, 7.03, 0.06 }, "lower_joint", 1, judge.Unresolved},
		{"lower joint, another may be out of sight", func(l *layout) { l.lower = []float64{0.5} }, "lower_joint", 3, judge.NotJudged},
		{"lower joint, the roof ends before another", func(l *layout) { l.lower, l.right = []float64{0.2}, vision.EndRake }, "lower_joint", 3, judge.Clear},
		{"offset, another may be out of sight", func(l *layout) { l.right, l.lower = vision.EndFrame, []float64{33} }, "offset", -1, judge.NotJudged},
		{"offset at the frame, too near", func(l *layout) { l.right, l.lower = vision.EndFrame, []float64{2} }, "offset", -1, judge.Suspect},
		{"no next joint", func(l *layout) {}, "next_joint", 0, judge.NotJudged},
		{"drive unclear", func(l *layout) { l.drive = []vision.DriveClass{vision.Unclear} }, "drive", 0, judge.NotJudged},
		{"drive underdriven", func(l *layout) { l.drive = []vision.DriveClass{vision.Underdriven} }, "drive", 0, judge.Suspect},
		{"drive flush", func(l *layout) {}, "drive", 0, judge.Clear},
		{"head large enough", func(l *layout) {}, "head_size", 0, judge.Clear},
		{"not exposed", func(l *layout) {}, "exposed", 0, judge.Clear},
		{"above the edge, doubtful", func(l *layout) { l.height, l.u = 0.05, 0.05 }, "exposed", 0, judge.Unresolved},
	} {
		l := full
		c.change(&l)
		got, ok := find(judge.Judge(read(t, plain), l.result()), c.rule, c.head)
		if ok != (c.want != "") || got.Result != c.want {
			t.Errorf("%s: %s is %q (p %.3f: %s), want %q", c.name, c.rule, got.Result, got.P, got.Text(), c.want)
		}
	}
}

func TestExposed(t *testing.T) {
	photo := layout{width: 36, heads: quarter, height: 5.7}.result()
	low := length.New(-1*length.Inch, 1)
	photo.Fasteners = append(photo.Fasteners,
		vision.Fastener{ID: 9, Piece: -1, Exposed: true, AboveButt: &low},
		vision.Fastener{ID: 10, Piece: -1, Exposed: true},
		vision.Fastener{ID: 11, Piece: 1, Exposed: true, Along: photo.Fasteners[1].Along})
	judged := judge.Judge(read(t, plain), photo)
	for _, i := range []int{4, 5, 6} {
		f, _ := find(judged, "exposed", i)
		if judged.Heads[i].Verdict != judge.Suspect || f.Result != judge.Suspect {
			t.Errorf("head %d: %s, %+v", i, judged.Heads[i].Verdict, f)
		}
		for _, rule := range []string{"height", "end", "lower_joint", "next_joint", "gap"} {
			if f, ok := find(judged, rule, i); ok {
				t.Errorf("head %d below the butt has %s: %s", i, rule, f.Text())
			}
		}
	}
	if f, _ := find(judged, "count", -1); !strings.HasPrefix(f.Text(), "4 of 4") {
		t.Errorf("exposed heads count for the piece: %s", f.Text())
	}
}

// TestOffsetOfPhoto: without heads beside a joint the offset of the photo counts.
func TestOffsetOfPhoto(t *testing.T) {
	photo := layout{width: 36, height: 5.7, lower: []float64{6}}.result()
	if f, _ := find(judge.Judge(read(t, plain), photo), "offset", -1); f.Result != judge.NotJudged {
		t.Errorf("nothing measured: %+v", f)
	}
	d := length.New(-3*length.Inch, 1)
	photo.Course.Offset = &d
	f, _ := find(judge.Judge(read(t, plain), photo), "offset", -1)
	if f.Result != judge.Suspect || !strings.Contains(f.Text(), "1.00 in too near") {
		t.Errorf("offset of -3 in: %+v", f)
	}
}

func TestNothingToJudge(t *testing.T) {
	s := read(t, plain)
	for name, r := range map[string]*vision.Result{
		"none": nil, "refused": {Refusal: &vision.Refusal{Reason: vision.Blurred}}, "empty": {}, "no heads": {Course: &vision.Course{}},
	} {
		if p := judge.Judge(s, r); len(p.Heads)+len(p.Pieces) != 0 {
			t.Errorf("%s: %+v", name, p)
		}
	}
	// A head of which nothing is known is neither suspect nor clear.
	bare := &vision.Result{Course: &vision.Course{}, Fasteners: []vision.Fastener{{Piece: -1}}}
	if v := judge.Judge(s, bare).Heads[0].Verdict; v != judge.Unresolved {
		t.Errorf("bare head: %s", v)
	}
}

// TestTexts holds the sentences that people read; -update renews them.
func TestTexts(t *testing.T) {
	var b strings.Builder
	say := func(title, text string, l layout) {
		b.WriteString("# " + title + "\n")
		p := judge.Judge(read(t, text), l.result())
		for i, h := range p.Heads {
			for _, f := range h.Findings {
				b.WriteString(strings.Join([]string{"head", string(rune('1' + i)), f.Rule, string(f.Result), f.Text()}, " | ") + "\n")
			}
		}
		for _, f := range p.Pieces {
			b.WriteString(strings.Join([]string{"piece", f.Rule, string(f.Result), f.Text()}, " | ") + "\n")
		}
	}
	high := strings.Replace(plain, "low: 5.35 in, high: 6.15 in", "low: 5.9 in, high: 6.9 in", 1)
	say("high, near an end, near joints", high, layout{width: 36, u: 0.02, height: 7.21, heads: []float64{0.4, 8, 30, 34.51}, lower: []float64{9}, next: []float64{31.98},
		drive: []vision.DriveClass{vision.Overdriven, vision.Underdriven, vision.Cocked, vision.Unclear}})
	say("low, too few, a wide gap", high, layout{width: 20, u: 0.02, height: 4.5, heads: []float64{3, 19}})
	say("as it should be", high, layout{width: 36, u: 0.02, height: 6.4, heads: quarter, lower: []float64{6}, next: []float64{30}})
	say("narrow piece out of the picture", high, layout{width: 5, u: 0.02, height: 5.89, heads: []float64{1, 4}})
	for line := range strings.Lines(b.String()) {
		if strings.ContainsAny(line, "<>&") || strings.Contains(line, "%!") || strings.Contains(line, "  ") {
			t.Errorf("not plain: %s", line)
		}
		if strings.Contains(line, "| suspect |") && !strings.Contains(line, "the product's instructions decide") {
			t.Errorf("does not defer to the product: %s", line)
		}
	}
	path := filepath.Join("testdata", "texts.golden")
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("texts differ from %s; -update renews it:\n%s", path, b.String())
	}
}
