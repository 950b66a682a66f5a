package schedule_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"coursegauge/report/schedule"
)

// TestSchemaAgrees drives the same files through the JSON Schema and Read.
func TestSchemaAgrees(t *testing.T) {
	schema := compile(t)
	good := []string{file(t, "full.yaml"), file(t, "least.yaml")}
	for _, c := range []struct{ old, new string }{
		{"39-3/8 in", "39 3/8 in"}, {"39-3/8 in", "39.375in"}, {"39-3/8 in", `'39.375"'`}, {"39-3/8 in", "1000 mm"}, {"39-3/8 in", "100 cm"},
		{"39-3/8 in", "3.3 ft"}, {"3/8 in\nends", ".375 in\nends"}, {"Lot 7, north slope", "7"}, {"observed", "unknown"}, {"observed", "5-5/8 in"},
		{"family: laminated", "family: three-tab"}, {"suspect: 0.5", "suspect: 1"}, {"clear: 0.05", "clear: 0"},
	} {
		text := strings.Replace(file(t, "full.yaml"), c.old, c.new, 1)
		if text == file(t, "full.yaml") {
			t.Fatalf("%q is not in full.yaml", c.old)
		}
		good = append(good, text)
	}
	for _, text := range good {
		if _, err := schedule.Read("s", []byte(text)); err != nil {
			t.Errorf("Read refuses: %v", err)
		}
		if err := schema.Validate(decode(t, text)); err != nil {
			t.Errorf("schema refuses: %v\n%s", err, text)
		}
	}
	for _, c := range faults {
		if !c.schemaToo {
			continue
		}
		if err := schema.Validate(decode(t, strings.Replace(file(t, "full.yaml"), c.old, c.new, 1))); err == nil {
			t.Errorf("schema takes %s: %q", c.name, c.new)
		}
	}
}

// TestSchemaDefaults: the defaults written in the schema are those of Read.
func TestSchemaDefaults(t *testing.T) {
	var doc struct {
		Properties map[string]struct {
			Properties map[string]struct{ Default any }
		}
	}
	if err := json.Unmarshal(schedule.Schema, &doc); err != nil {
		t.Fatal(err)
	}
	least := file(t, "least.yaml")
	bare, err := schedule.Read("s", []byte(least))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for section, p := range doc.Properties {
		for key, q := range p.Properties {
			path := section + "." + key
			if (q.Default != nil) != bare.IsDefault(path) {
				t.Errorf("%s: default %v in the schema, default in Read: %v", path, q.Default, bare.IsDefault(path))
			}
			if q.Default == nil {
				continue
			}
			n++
			var tree map[string]map[string]any
			if err := yaml.Unmarshal([]byte(least), &tree); err != nil {
				t.Fatal(err)
			}
			if tree[section] == nil {
				tree[section] = map[string]any{}
			}
			tree[section][key] = q.Default
			if f, ok := q.Default.(float64); ok && f == math.Trunc(f) {
				tree[section][key] = int(f) // a count, not a probability
			}
			text, err := yaml.Marshal(tree)
			if err != nil {
				t.Fatal(err)
			}
			written, err := schedule.Read("s", text)
			if err != nil {
				t.Fatal(err)
			}
			if written.IsDefault(path) {
				t.Errorf("%s is written, yet marked as a default", path)
			}
			if written.Product() != bare.Product() || written.Ends != bare.Ends || written.Joints != bare.Joints || written.Cut != bare.Cut || written.Decision != bare.Decision || written.Fasteners != bare.Fasteners {
				t.Errorf("%s: the schema's default %v is not that of Read", path, q.Default)
			}
		}
	}
	if n != len(bare.Defaults) {
		t.Errorf("%d defaults in the schema, %d in Read", n, len(bare.Defaults))
	}
}

func compile(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schedule.Schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("schedule.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schedule.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// decode is the file as a JSON value.
func decode(t *testing.T, text string) any {
	t.Helper()
	var tree any
	if err := yaml.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(tree)
	if err != nil {
		// JSON has no NaN: such a value is refused before any schema sees it.
		return json.RawMessage(nil)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return v
}
