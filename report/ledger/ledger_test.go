package ledger

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
	"coursegauge/report/review"
)

var update = flag.Bool("update", false, "make the ledger of the first schema anew")

// invented makes an inspection of so many photos by one crew with four heads
// each; seed makes it differ from others.
func invented(seed, photos int, crew string) Entry {
	d := inspection.Document{Format: inspection.Format, Made: "2026-05-20T08:00:00Z", Schedule: inspection.Schedule{File: "s.yaml", SHA256: "5c", Title: "Shed"}}
	for i := range photos {
		p := inspection.Photo{
			File: fmt.Sprintf("p%d.jpg", i), SHA256: fmt.Sprintf("%032x%032x", seed, i), Crew: crew, Status: inspection.Measured,
			Taken: fmt.Sprintf("2026-05-%02dT10:00:00-07:00", 1+(seed+i)%28), Scale: 2,
			Course: &inspection.Course{
				Pieces:      []inspection.Piece{{ID: 0, Width: &inspection.Length{MM: 1000, U: 1}, LeftPx: inspection.XY{0, 0}, RightPx: inspection.XY{2000, 0}}},
				LowerJoints: []inspection.LowerJoint{{Px: inspection.XY{600, 0}}},
			},
			Findings: []inspection.Finding{{Rule: "count", Piece: new(int), Result: "clear"}},
		}
		for n := range 4 {
			x := []float64{30, 340, 660, 970}[n]
			band := []float64{150, 178}
			h := inspection.Fastener{
				ID: n, Px: inspection.XY{2 * x, -300}, RadiusPx: 10, Piece: new(int), Verdict: "clear", Drive: inspection.Drive{Class: "flush"},
				AboveButt: &inspection.Length{MM: 160 + float64((seed+i+n)%9), U: .3}, LeftEnd: &inspection.Length{MM: x, U: .5}, RightEnd: &inspection.Length{MM: 1000 - x, U: .5},
				LowerJoint: &inspection.Length{MM: max(x-300, 300-x), U: .6},
				Rules:      []inspection.Rule{{Rule: "height", Result: "clear", Compared: inspection.Compared{LowMM: &band[0], HighMM: &band[1]}}, {Rule: "drive", Result: "clear"}},
			}
			if (seed+i+n)%7 == 0 {
				h.Verdict, h.Rules[0].Result = "suspect", "suspect"
			}
			p.Heads = append(p.Heads, h)
		}
		d.Photos = append(d.Photos, p)
	}
	return Entry{Document: d, Folder: fmt.Sprintf("/reports/%d", seed)}
}

func decided(e Entry, photo, head int, what string) Entry {
	p := e.Document.Photos[photo]
	d := review.Decision{Format: review.Format, ID: review.NewID(), Photo: p.SHA256, File: p.File, Target: review.HeadTarget(head), What: what, Who: "x", When: "2026-05-21T08:00:00Z"}
	if what == review.Missed {
		d.Target = review.PlaceTarget(inspection.XY{5, 6})
	}
	var all []review.Decision
	for _, standing := range e.Answers {
		all = append(all, standing...)
	}
	e.Answers = review.Fold(append(all, d))
	return e
}

func create(t *testing.T) *Ledger {
	t.Helper()
	l, err := Create(filepath.Join(t.TempDir(), "odd name %41?#.ledger"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func (l *Ledger) mustAdd(t *testing.T, e Entry) Outcome {
	t.Helper()
	out, err := l.Add(context.Background(), e)
	if err != nil {
		t.Fatal(err)
	}
	return out[0]
}

func (l *Ledger) mustOf(t *testing.T, crew string, s Span) Work {
	t.Helper()
	w, err := l.Of(context.Background(), crew, s)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// The same inspection twice changes nothing, not even a byte; a decision made
// since follows.
func TestAddTwice(t *testing.T) {
	l := create(t)
	e := invented(1, 3, "north")
	if out := l.mustAdd(t, e); out.Same || out.Renewed || out.Inspection.Heads != 12 {
		t.Fatalf("%+v", out)
	}
	before, err := os.ReadFile(l.path)
	if err != nil {
		t.Fatal(err)
	}
	again := e
	again.Document.Made = "2026-06-01T00:00:00Z" // inspected again, with the same outcome
	if out := l.mustAdd(t, again); !out.Same {
		t.Errorf("%+v", out)
	}
	if after, _ := os.ReadFile(l.path); !bytes.Equal(before, after) {
		t.Error("the file changed")
	}
	e = decided(decided(e, 0, 2, review.Wrong), 0, 0, review.Missed)
	if out := l.mustAdd(t, e); !out.Renewed || out.Inspection.Decided != 1 {
		t.Errorf("%+v", out)
	}
	w := l.mustOf(t, "north", Span{})
	if len(w.Photos) != 3 || w.Photos[0].Heads[2].Answer != review.Wrong || w.Photos[0].Missed != 1 {
		t.Errorf("%+v", w.Photos)
	}
}

// A photo counts once, in the inspection that was made last, and in the earlier
// one again when that is taken out.
func TestPhotoCountsOnce(t *testing.T) {
	l := create(t)
	first, grown := invented(1, 3, "north"), invented(1, 4, "north")
	grown.Document.Made = "2026-05-25T08:00:00Z"
	l.mustAdd(t, grown)
	if out := l.mustAdd(t, first); out.Again != 3 || out.Inspection.Counted != 0 { // the order of adding does not matter
		t.Errorf("%+v", out)
	}
	if w := l.mustOf(t, "north", Span{}); len(w.Photos) != 4 || len(w.Jobs) != 1 {
		t.Errorf("%d photos of %d jobs", len(w.Photos), len(w.Jobs))
	}
	all, err := l.List(context.Background())
	if err != nil || len(all) != 2 {
		t.Fatal(err, all)
	}
	if _, err := l.Remove(context.Background(), grown.Folder); err == nil || !strings.Contains(err.Error(), "is several") {
		t.Errorf("%v", err) // both lie in one folder
	}
	later := all[slices.IndexFunc(all, func(i Inspection) bool { return i.Photos == 4 })]
	if _, err := l.Remove(context.Background(), later.ID); err != nil {
		t.Fatal(err)
	}
	if w := l.mustOf(t, "north", Span{}); len(w.Photos) != 3 {
		t.Errorf("%d photos", len(w.Photos))
	}
	if _, err := l.Remove(context.Background(), later.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("%v", err)
	}
}

// A copy of a photo under another name counts once.
func TestCopies(t *testing.T) {
	l := create(t)
	e := invented(1, 2, "north")
	e.Document.Photos[1].SHA256 = e.Document.Photos[0].SHA256
	if out := l.mustAdd(t, e); out.Twice != 1 || out.Inspection.Photos != 1 {
		t.Errorf("%+v", out)
	}
}

// The work of one crew holds nothing of another, and keeps to its days.
func TestOf(t *testing.T) {
	l := create(t)
	l.mustAdd(t, invented(1, 10, "north"))
	l.mustAdd(t, invented(2, 10, "south"))
	w := l.mustOf(t, "north", Span{"2026-05-03", "2026-05-05"})
	if len(w.Photos) != 3 || len(w.Jobs) != 1 || w.Jobs[0].Product.BandLow != 150 {
		t.Fatalf("%d photos, jobs %+v", len(w.Photos), w.Jobs)
	}
	for _, p := range w.Photos {
		if p.SHA256[:32] != fmt.Sprintf("%032x", 1) || p.Day < "2026-05-03" || p.Day > "2026-05-05" || len(p.Heads) != 4 || len(p.Pieces) != 1 || len(p.Found) != 1 {
			t.Errorf("%+v", p)
		}
	}
	h := w.Photos[0].Heads
	for n, want := range []float64{270, -40, -360, -670} { // the joint at 300 mm, seen from the heads
		if h[n].LowerJoint == nil || h[n].LowerJoint.MM != want {
			t.Errorf("head %d: joint at %+v, want %v", n, h[n].LowerJoint, want)
		}
	}
	if h[0].Rules["height"] == "" || h[0].NextJoint != nil || *h[1].LeftEnd != (inspection.Length{MM: 340, U: .5}) {
		t.Errorf("%+v", h[0])
	}
	if w := l.mustOf(t, "nobody", Span{}); len(w.Photos) != 0 {
		t.Errorf("%+v", w)
	}
}

// A photo without a date has none in the ledger either: it is in the work as a
// whole, in no span of days, and counted where it is left out.
func TestUndated(t *testing.T) {
	l := create(t)
	e := invented(1, 10, "north")
	for i := range 3 {
		e.Document.Photos[i].Taken = ""
	}
	out := l.mustAdd(t, e)
	if out.Inspection.Undated != 3 || out.Inspection.First != "2026-05-05" || out.Inspection.Last != "2026-05-11" {
		t.Errorf("%+v", out.Inspection)
	}
	none := invented(2, 2, "south")
	none.Document.Photos[0].Taken, none.Document.Photos[1].Taken = "", ""
	if out := l.mustAdd(t, none); out.Inspection.Undated != 2 || out.Inspection.First != "" || out.Inspection.Last != "" {
		t.Errorf("%+v", out.Inspection)
	}
	for _, c := range []struct {
		span                   Span
		photos, dated, leftOut int
	}{
		{Span{}, 10, 7, 0}, {Span{"2026-05-01", "2026-05-31"}, 7, 7, 3}, {Span{From: "2026-05-06"}, 6, 6, 3},
		{Span{To: "2026-05-06"}, 2, 2, 3}, {Span{"2026-05-20", "2026-05-20"}, 0, 0, 3}, // the day of the inspection
	} {
		w := l.mustOf(t, "north", c.span)
		if len(w.Photos) != c.photos || len(w.Dated().Photos) != c.dated || w.LeftOut != c.leftOut {
			t.Errorf("%+v: %d photos, %d dated, %d left out", c.span, len(w.Photos), len(w.Dated().Photos), w.LeftOut)
		}
	}
	crews, err := l.Crews(context.Background())
	if err != nil || len(crews) != 2 || crews[0] != (Crew{"north", "2026-05-05", "2026-05-11", 10, 3}) || crews[1] != (Crew{"south", "", "", 2, 2}) {
		t.Errorf("%+v, %v", crews, err)
	}
}

// A ledger of the second schema dated such photos by the inspection; that is
// taken back.
func TestSecondSchemaLosesInventedDays(t *testing.T) {
	l := create(t)
	e := invented(1, 4, "north")
	e.Document.Photos[0].Taken = ""
	l.mustAdd(t, e)
	ctx := context.Background()
	if _, err := l.db.ExecContext(ctx, "UPDATE photo SET day = '2026-05-20' WHERE taken = ''; PRAGMA user_version = 2"); err != nil {
		t.Fatal(err)
	}
	if err := l.migrate(ctx); err != nil {
		t.Fatal(err)
	}
	if w := l.mustOf(t, "north", Span{}); len(w.Photos) != 4 || len(w.Dated().Photos) != 3 {
		t.Errorf("%d of %d photos have a day", len(w.Dated().Photos), len(w.Photos))
	}
}

// One line a fastener, each photo once, nothing that a spreadsheet would run.
func TestExport(t *testing.T) {
	l := create(t)
	e := invented(1, 3, "=1+1")
	e.Document.Photos[0].Device = "phone;=1\x1b[2J"
	e.Document.Made = "2026-05-21T08:00:00Z"
	l.mustAdd(t, decided(decided(e, 0, 1, review.Sound), 0, 0, review.Missed))
	l.mustAdd(t, invented(1, 2, "=1+1"))
	var b bytes.Buffer
	if err := l.Export(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(b.String(), "\ufeff"))).ReadAll()
	if err != nil || len(all) != 1+12+1 {
		t.Fatalf("%v, %d rows", err, len(all))
	}
	at := func(row int, name string) string { return all[row][slices.Index(all[0], name)] }
	if got, want := at(1, "device"), `phone;'=1\x1B[2J`; got != want {
		t.Errorf("device is %q, want %q", got, want)
	}
	if at(1, "crew") != "'=1+1" || at(2, "decision") != "sound" || at(13, "verdict") != "missed" || at(1, "left_end_in") != "1.181" || at(1, "left_end_u95_mm") != "0.98" {
		t.Errorf("%q\n%q\n%q", all[1], all[2], all[13])
	}
}

// Each wrong file is told in one line and left as it is.
func TestWrongFiles(t *testing.T) {
	good := create(t)
	for i := range 30 {
		good.mustAdd(t, invented(i, 8, "north"))
	}
	data, err := os.ReadFile(good.path)
	if err != nil {
		t.Fatal(err)
	}
	newer := slices.Clone(data)
	newer[63] = current + 1 // user_version, bytes 60 to 63 of the header (sqlite.org/fileformat.html, 1.3.14)
	other := slices.Clone(data)
	other[68]++ // application_id, bytes 68 to 71
	torn := slices.Clone(data)
	for i := 2 * 4096; i < 40*4096; i++ {
		torn[i] ^= 0x5a
	}
	for name, c := range map[string]struct {
		data []byte
		want error
	}{
		"text": {[]byte(strings.Repeat("no ledger\n", 900)), ErrForeign}, "empty": {nil, ErrForeign}, "newer": {newer, errNewer}, "other": {other, ErrForeign}, "torn": {torn, errDamaged},
		"cut": {data[:len(data)/2/4096*4096], errDamaged},
	} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, c.data, 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(path)
		if err == nil {
			_, err = l.Add(context.Background(), invented(99, 2, "south"))
			l.Close()
		}
		var of *Error
		if !errors.Is(err, c.want) || !errors.As(err, &of) || of.Hint() == "" || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
		if after, _ := os.ReadFile(path); !bytes.Equal(after, c.data) {
			t.Errorf("%s: the file changed", name)
		}
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none")); !errors.Is(err, ErrMissing) {
		t.Errorf("%v", err)
	}
	if _, err := Create(t.TempDir()); err == nil {
		t.Error("a folder is a ledger")
	}
	if _, err := Create(filepath.Join(t.TempDir(), "a", "b")); err == nil {
		t.Error("made in a folder that is not there")
	}
}

const firstSchema = "../../testdata/ledger/schema-1.ledger"

// A ledger of the first schema opens, and gives the same totals as it did.
func TestFirstSchema(t *testing.T) {
	if *update {
		writeFirstSchema(t)
	}
	data, err := os.ReadFile(firstSchema)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "old.ledger")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	l, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	all, err := l.List(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	// Totals as writeFirstSchema put them in: five inspections of four photos, two of which hold the same
	// photos; 10 and 10556 mm are the sums of the formulas in invented.
	photos, heads := 0, 0
	for _, i := range all {
		photos, heads = photos+i.Photos, heads+i.Heads
	}
	w := l.mustOf(t, "north", Span{})
	suspect, above := 0, 0.0
	for _, p := range w.Photos {
		for _, h := range p.Heads {
			above += h.AboveButt.MM
			if h.Verdict == "suspect" {
				suspect++
			}
		}
	}
	if len(all) != 5 || photos != 20 || heads != 80 || len(w.Photos) != 16 || suspect != 10 || above != 10556 {
		t.Errorf("%d inspections, %d photos, %d heads; %d photos count, %d suspect, heights add up to %v", len(all), photos, heads, len(w.Photos), suspect, above)
	}
	if p := w.Photos[0]; p.Day != "2026-05-02" {
		t.Errorf("day %q", p.Day)
	}
	if out := l.mustAdd(t, invented(9, 4, "north")); out.Inspection.Photos != 4 {
		t.Errorf("%+v", out)
	}
}

// writeFirstSchema makes the file as the first version did: with its schema and
// none of the later columns.
func writeFirstSchema(t *testing.T) {
	t.Helper()
	full := create(t)
	for i := range 4 {
		full.mustAdd(t, invented(i+1, 4, "north"))
	}
	again := invented(1, 4, "north")
	again.Document.Schedule.SHA256, again.Document.Made = "5d", "2026-05-25T08:00:00Z"
	full.mustAdd(t, again)
	os.Remove(firstSchema)
	step, err := schema.ReadFile("schema/001.sql")
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	for _, q := range []string{
		"ATTACH '" + firstSchema + "' AS old",
		strings.ReplaceAll(string(step), "CREATE TABLE ", "CREATE TABLE old."),
		"INSERT INTO old.inspection SELECT id, key, content, folder, made, tool, title, schedule FROM main.inspection",
		"INSERT INTO old.photo SELECT id, inspection, sha256, file, taken, device, crew, status, reason FROM main.photo",
		"INSERT INTO old.head SELECT * FROM main.head", "INSERT INTO old.piece SELECT * FROM main.piece",
		"INSERT INTO old.finding SELECT * FROM main.finding", "INSERT INTO old.missed SELECT * FROM main.missed",
		fmt.Sprintf("PRAGMA old.application_id = %d", applicationID), "PRAGMA old.user_version = 1", "DETACH old",
	} {
		if _, err := full.db.ExecContext(ctx, q); err != nil {
			t.Fatalf("%.60s: %v", q, err)
		}
	}
}

// TestMain is also the writer that the tests below start and kill.
func TestMain(m *testing.M) {
	if path := os.Getenv("LEDGER_WRITER"); path != "" {
		os.Exit(writeForever(path))
	}
	flag.Parse()
	os.Exit(m.Run())
}

// writeForever adds inspections until it is killed, or until it has added 25,
// and prints the number of each after it is in.
func writeForever(path string) int {
	l, err := Create(path)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	from := 0
	fmt.Sscan(os.Getenv("LEDGER_FROM"), &from)
	for i := from; i < from+25; i++ {
		if _, err := l.Add(context.Background(), invented(i, 6, "north")); err != nil {
			fmt.Println(err)
			return 1
		}
		fmt.Println(i)
	}
	return 0
}

func writerOf(path string, from int) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "LEDGER_WRITER="+path, fmt.Sprintf("LEDGER_FROM=%d", from))
	return c
}

// Killed in the middle of the next one, the ledger holds every inspection that
// was told to be in, each whole, and goes on.
func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l")
	told := 0
	for round := range 8 {
		c := writerOf(path, 25*round)
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for range 1 + round%4 {
			if !lines.Scan() {
				t.Fatalf("round %d: the writer ended by itself: %v", round, lines.Err())
			}
			told++
		}
		// How far into the next one the kill falls differs from round to round.
		time.Sleep(time.Duration(round) * 700 * time.Microsecond)
		if err := c.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() {
			told++
		}
		c.Wait()
		l, err := Open(path)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if err := sound(context.Background(), l.db); err != nil {
			t.Errorf("round %d: %v", round, err)
		}
		all, err := l.List(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range all {
			if i.Photos != 6 || i.Heads != 24 {
				t.Errorf("round %d: half an inspection: %+v", round, i)
			}
		}
		if len(all) < told || len(all) > told+1 { // one may be in that nobody was told of
			t.Errorf("round %d: %d inspections, %d were told to be in", round, len(all), told)
		}
		told = len(all)
		l.Close()
	}
}

// Two processes that write at a time lose nothing.
func TestTwoWriters(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l")
	a, b := writerOf(path, 0), writerOf(path, 1000)
	for _, c := range []*exec.Cmd{a, b} {
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
	}
	if errA, errB := a.Wait(), b.Wait(); errA != nil || errB != nil {
		t.Fatalf("%v, %v", errA, errB)
	}
	l, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if all, err := l.List(context.Background()); err != nil || len(all) != 50 {
		t.Errorf("%d inspections, %v", len(all), err)
	}
}

// The queries of a sheet walk no table from end to end.
func TestQueryPlan(t *testing.T) {
	l := create(t)
	for _, q := range []string{photosOfCrew, headsOfCrew, piecesOfCrew, findingsOfCrew, jobsOfCrew} {
		r, err := l.db.QueryContext(context.Background(), "EXPLAIN QUERY PLAN "+q, "north", "2026-01-01", "2026-12-31")
		if err != nil {
			t.Fatal(err)
		}
		plan := ""
		for r.Next() {
			var id, parent, unused int
			var detail string
			if err := r.Scan(&id, &parent, &unused, &detail); err != nil {
				t.Fatal(err)
			}
			plan += detail + "\n"
		}
		r.Close()
		if !strings.Contains(plan, "INDEX photo_by_crew (crew=? AND day>? AND day<?)") || strings.Contains(plan, "SCAN") {
			t.Errorf("%.40s...\n%s", q, plan)
		}
		t.Logf("%s", plan)
	}
}

// 2,000 inspections with 240,000 fasteners of ten crews: the work of one crew
// in a year is read in well under the 2 s of a sheet.
func BenchmarkOf(b *testing.B) {
	l, err := Create(filepath.Join(b.TempDir(), "l"))
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	if err := fill(l, 2000, 30); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		w, err := l.Of(context.Background(), "crew 3", Span{"2026-01-01", "2026-12-31"})
		if err != nil || len(w.Photos) != 6000 {
			b.Fatal(err, len(w.Photos))
		}
	}
}

// fill adds inspections of ten crews in turn without waiting for the disk.
func fill(l *Ledger, inspections, photos int) error {
	if _, err := l.db.Exec("PRAGMA synchronous = OFF"); err != nil {
		return err
	}
	tx, err := l.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for i := range inspections {
		if err := l.put(context.Background(), tx, invented(i, photos, fmt.Sprintf("crew %d", i%10)), &Outcome{}); err != nil {
			return err
		}
	}
	return tx.Commit()
}
