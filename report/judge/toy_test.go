package judge_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	// What the rule is to be seen in: a change to one of these runs the test again.
	_ "coursegauge/report/ledger"
	_ "coursegauge/report/mend"
	_ "coursegauge/report/record"
	_ "coursegauge/report/sheet"
)

// TestToyRule adds a rule in the three places where one is added: a file of its
// own, the schedule, and the texts. Everything else is built as it is, and the
// rule is in the JSON, the CSV, the report, the list, the sheets and the record.
func TestToyRule(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the report with a further rule")
	}
	dir, replace := t.TempDir(), map[string]string{}
	at := func(path string) string {
		p, err := filepath.Abs(path)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	text := func(path string) string {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	insert := func(path, after, what string) {
		old := text(path)
		if strings.Count(old, after) != 1 {
			t.Fatalf("%s holds %q %d times", path, after, strings.Count(old, after))
		}
		patched := filepath.Join(dir, filepath.Base(path))
		if err := os.WriteFile(patched, []byte(strings.Replace(old, after, after+what, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		replace[at(path)] = patched
	}
	replace[at("toy.go")] = at("testdata/toy/rule.go")
	insert("../schedule/fields.go", "var fields = []field{\n", text("testdata/toy/field.txt"))
	insert("../schedule/schedule.go", "type Schedule struct {\n", "\tToy struct{ Reach length.MM }\n")
	insert("texts.go", "var texts = []Texts{\n", text("testdata/toy/texts.txt"))
	replace[at("toy_seen_test.go")] = at("testdata/toy/seen_test.go")

	overlay, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(file, overlay, 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "test", "-overlay", file, "-run", "^(TestToyIsSeen|TestRegistryIsComplete)$", "-count=1", "-v", ".").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: TestToyIsSeen") {
		t.Errorf("%v\n%s", err, out)
	}
}
