package trial_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"coursegauge/calibrate/trial"
	"coursegauge/vision/length"
)

// photosWith are n photos with heads whose height rises from head to head.
func photosWith(n, heads int) (out []trial.Photo) {
	for i := range n {
		p := trial.Photo{File: fmt.Sprintf("p%02d.jpg", i), Device: "example phone", Card: 3}
		for k := range heads {
			h := trial.Head{
				ID: k + 1, X: float64(100 * (k + 1)), Y: float64(50 * i), Radius: 9, Piece: 1, Side: trial.Left,
				Lengths: map[trial.Kind]length.Measured{
					trial.AboveButt: length.New(length.MM(150+float64(k)+float64(i)/100), .4),
					trial.End:       length.New(length.MM(25+60*float64(k%5)), .7),
				},
			}
			h.Ends = map[trial.Side]length.Measured{trial.Left: h.Lengths[trial.End]}
			p.Heads = append(p.Heads, h)
		}
		out = append(out, p)
	}
	return out
}

func TestChooseSpreads(t *testing.T) {
	photos := photosWith(6, 20)
	rows := trial.Choose(photos, nil, 24, 1)
	if len(rows) != 24 {
		t.Fatalf("%d rows, want 24", len(rows))
	}
	perPhoto := map[string]int{}
	perFifth := map[int]int{} // of the 20 heights
	for i, r := range rows {
		if r.No != i+1 {
			t.Errorf("row %d has number %d", i, r.No)
		}
		perPhoto[r.Photo]++
		perFifth[(r.Head-1)/4]++
	}
	for _, p := range photos {
		if n := perPhoto[p.File]; n < 3 || n > 5 {
			t.Errorf("%s gives %d of 24 heads, 4 are even", p.File, n)
		}
	}
	for f := range 5 {
		if n := perFifth[f]; n < 4 || n > 6 {
			t.Errorf("fifth %d of the heights gives %d of 24 heads, 4.8 are even", f, n)
		}
	}
	if !reflect.DeepEqual(rows, trial.Choose(photos, nil, 24, 1)) {
		t.Error("the same seed draws other heads")
	}
	if reflect.DeepEqual(rows, trial.Choose(photos, nil, 24, 2)) {
		t.Error("another seed draws the same heads")
	}
	if all := trial.Choose(photos, nil, 500, 1); len(all) != 120 {
		t.Errorf("%d rows when more are asked for than there are, want 120", len(all))
	}
	if none := trial.Choose(nil, nil, 24, 1); len(none) != 0 {
		t.Errorf("%d rows without photos", len(none))
	}
}

// What a person typed stays, whatever is asked for next.
func TestChooseKeeps(t *testing.T) {
	photos := photosWith(3, 20)
	rows := trial.Choose(photos, nil, 12, 1)
	rows[2].Typed[trial.AboveButt] = "6 in"
	rows[5].Note = "under a leaf"
	rows[7].Name = "A"
	rows[9].Typed[trial.End] = "no head"
	typed := []trial.Row{rows[2], rows[5], rows[7], rows[9]}
	for _, n := range []int{1, 4, 12, 30} {
		again := trial.Choose(photos, rows, n, 99)
		if len(again) != max(n, 4) {
			t.Errorf("%d rows, want %d", len(again), max(n, 4))
		}
		for _, r := range typed {
			if !slices.ContainsFunc(again, func(a trial.Row) bool { return reflect.DeepEqual(a, r) }) {
				t.Errorf("row %d of %d was lost or changed", r.No, n)
			}
		}
		places, numbers := map[string]bool{}, map[int]bool{}
		for _, r := range again {
			places[fmt.Sprint(r.Photo, r.X, r.Y)] = true
			numbers[r.No] = true
		}
		if len(places) != len(again) || len(numbers) != len(again) {
			t.Errorf("%d rows for %d heads with %d numbers", len(again), len(places), len(numbers))
		}
	}
}

func TestSheetRoundTrip(t *testing.T) {
	rows := trial.Choose(photosWith(2, 5), nil, 10, 1)
	rows[0].Typed = map[trial.Kind]string{trial.AboveButt: `5-3/16"`, trial.End: "-", trial.LowerJoint: "no head"}
	rows[1].Name, rows[1].Note = "=A1", "two, \"quoted\"\nlines"
	rows[2].Photo, rows[3].Photo, rows[4].Note = "'=1;@a.jpg", "'a'.jpg", "x;=HYPERLINK(1)\t=2"
	var b bytes.Buffer
	if err := trial.EncodeSheet(&b, rows); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(b.String(), "\ufeffno,photo,head,") || !strings.Contains(b.String(), ",\"'=A1\",") || !strings.Contains(b.String(), "\"x;'=HYPERLINK(1)\t'=2\"") {
		t.Errorf("written:\n%s", b.String())
	}
	again, err := trial.DecodeSheet("tape.csv", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		if again[i].Photo != rows[i].Photo || again[i].Note != rows[i].Note || again[i].Name != rows[i].Name {
			t.Errorf("row %d came back as %+v, was %+v", i, again[i], rows[i])
		}
	}
	var second bytes.Buffer
	if err := trial.EncodeSheet(&second, again); err != nil {
		t.Fatal(err)
	}
	if second.String() != b.String() {
		t.Errorf("read and written again:\n%s\nfirst:\n%s", second.String(), b.String())
	}
	if trial.Touched(again) != 3 {
		t.Errorf("%d rows touched, want 3", trial.Touched(again))
	}
}

// Spreadsheets save with other separators and decimal commas, move columns and
// leave empty lines; people write inch marks without quoting them.
func TestSheetAsSaved(t *testing.T) {
	for name, text := range map[string]string{
		"commas":     "no,photo,head,above_butt,end,side,lower_joint,name,note,x_px,y_px\r\n4,a.jpg,7,6-3/16 in,25 mm,left,,,,10.5,20\r\n\r\n,,,,,,,,,,\r\n",
		"semicolons": "no;photo;head;above_butt;end;side;lower_joint;name;note;x_px;y_px\n4;a.jpg;7;6-3/16 in;25 mm;Left;;;;10,5;20,0\n",
		"tabs":       "No\tPhoto\tabove_butt\tend\tside\tlower_joint\tx_px\ty_px\tmine\n4\ta.jpg\t6-3/16\"\t25 mm\tleft\t\t10.5\t20\thello\n",
	} {
		rows, err := trial.DecodeSheet("tape.csv", []byte(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(rows) != 1 || rows[0].No != 4 || rows[0].X != 10.5 || rows[0].Side != trial.Left || rows[0].Typed[trial.End] != "25 mm" {
			t.Errorf("%s: %+v", name, rows)
		}
	}
}

func TestSheetRefuses(t *testing.T) {
	const head = "no,photo,head,above_butt,end,side,lower_joint,name,note,x_px,y_px\n"
	for _, c := range []struct{ text, want string }{
		{"", "no header line"},
		{"a,b\n", "column no is missing; keep the header line"},
		{head + "1,a.jpg,1,10,,left,,,,1,1\n", `tape.csv:2: no 1, above_butt: length "10": no unit; write in`},
		{head + "1,a.jpg,1,,-5 in,left,,,,1,1\n", "no 1, end: length \"-5 in\": a length has no sign"},
		{head + "1,a.jpg,1,,,left,,,,1,1\n1,a.jpg,2,,,left,,,,9,9\n", "tape.csv:3: no 1 stands twice, first in line 2"},
		{head + "x,a.jpg,1,,,left,,,,1,1\n", `no "x"`},
		{head + "1,,1,,,left,,,,1,1\n", "photo is empty"},
		{head + "1,a.jpg,1,,,up,,,,1,1\n", `side "up": left or right`},
		{head + "1,a.jpg,1,,,left,,,,,1\n", "x_px \"\" is no place"},
		{head + "1,a.jpg,1,,,left,,,,NaN,1\n", "is no place"},
	} {
		_, err := trial.DecodeSheet("tape.csv", []byte(c.text))
		if !errors.Is(err, trial.ErrSheet) || !strings.Contains(fmt.Sprint(err), c.want) || strings.Contains(fmt.Sprint(err), "\n") {
			t.Errorf("%q: %v, want one line with %q", c.text, err, c.want)
		}
	}
}

func FuzzDecodeSheet(f *testing.F) {
	f.Add([]byte("no,photo,head,above_butt,end,side,lower_joint,name,note,x_px,y_px\n1,a.jpg,1,6-3/16 in,25 mm,left,-,A,b,1,2\n"))
	f.Add([]byte("no;photo;above_butt;end;side;lower_joint;x_px;y_px\n1;a;1 in;;;no head;1,5;2\n"))
	f.Add([]byte("\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, err := trial.DecodeSheet("f", data)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") || !errors.Is(err, trial.ErrSheet) {
				t.Errorf("%q", err)
			}
			return
		}
		var b bytes.Buffer
		if err := trial.EncodeSheet(&b, rows); err != nil {
			t.Fatal(err)
		}
		again, err := trial.DecodeSheet("f", b.Bytes())
		if err != nil || len(again) != len(rows) || trial.Touched(again) != trial.Touched(rows) {
			t.Errorf("what was read cannot be written and read again: %v\n%q", err, b.String())
		}
	})
}

// TestTapeShows: the graduation is what the finest entry needs, and never
// coarser than 1/16 in or 1 mm.
func TestTapeShows(t *testing.T) {
	for _, c := range []struct {
		typed string
		want  length.MM
		words string
	}{
		{"6 in", 25.4 / 16, "1/16 in"}, {"6-1/2 in", 25.4 / 16, "1/16 in"}, {"6-3/32 in", 25.4 / 32, "1/32 in"}, {"6.19 in", .254, "0.01 in"},
		{"157 mm", 1, "1 mm"}, {"157.5 mm", .1, "0.1 mm"}, {"15.7 cm", 1, "1 mm"}, {"16 cm", 1, "1 mm"}, {`6-3/16"`, 25.4 / 16, "1/16 in"},
	} {
		photos := photosWith(1, 2)
		rows := trial.Choose(photos, nil, 2, 1)
		for i := range rows {
			rows[i].Typed[trial.AboveButt] = c.typed
		}
		j, err := trial.Judge(photos, rows, nil, trial.Tape{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(float64(j.Tape.Graduation-c.want)) > 1e-9 || j.Tape.String() != c.words {
			t.Errorf("%q: %v mm, %s; want %v, %s", c.typed, j.Tape.Graduation, j.Tape, c.want, c.words)
		}
	}
}
