package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

const clusters = testdata + "/clusters"

// jobSchema is the published form of a Kubernetes Job; no field but those that
// it names is allowed, as with the server's strict validation.
func jobSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testdata, "reference/kubernetes/job-batch-v1.openapi.json"))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range doc.(map[string]any)["components"].(map[string]any)["schemas"].(map[string]any) {
		if s := s.(map[string]any); s["properties"] != nil {
			s["additionalProperties"] = false
		}
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("kubernetes.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("kubernetes.json#/components/schemas/io.k8s.api.batch.v1.Job")
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func TestKubernetesManifest(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(clusters, "kubernetes-job.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	schema := jobSchema(t)
	check := func(text []byte) error {
		data, err := yaml.YAMLToJSON(text)
		if err != nil {
			t.Fatal(err)
		}
		job, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return schema.Validate(job)
	}
	if err := check(text); err != nil {
		t.Error(err)
	}
	for _, wrong := range [][2]string{ // the schema can fail
		{"completions: 8", "completion: 8"}, {"completions: 8", "completions: eight"}, {"mountPath:", "path:"}, {"values: [2]", "values: 2"},
	} {
		if check(bytes.Replace(text, []byte(wrong[0]), []byte(wrong[1]), 1)) == nil {
			t.Errorf("%q instead of %q is valid", wrong[1], wrong[0])
		}
	}
	var job struct {
		Spec struct {
			Completions int
			Template    struct {
				Spec struct {
					Containers []struct {
						Args []string
						Env  []struct{ Name, Value string }
					}
				}
			}
		}
	}
	if err := yaml.Unmarshal(text, &job); err != nil {
		t.Fatal(err)
	}
	if args := job.Spec.Template.Spec.Containers[0].Args[0]; !strings.Contains(args, fmt.Sprintf("--shard env/%d ", job.Spec.Completions)) {
		t.Errorf("%d completions, and the command is %q", job.Spec.Completions, args)
	}

	// The container's own command, each index in turn, on this machine.
	dir := folderOfPhotos(t, 5)
	var parts []string
	for i := range job.Spec.Completions {
		here := strings.NewReplacer("/photos", dir+"/photos", "/results", dir+"/results")
		args := here.Replace(job.Spec.Template.Spec.Containers[0].Args[0])
		c := exec.Command("/bin/sh", "-c", args)
		c.Env = append(os.Environ(), "PATH="+filepath.Dir(binary)+":"+os.Getenv("PATH"), fmt.Sprintf("JOB_COMPLETION_INDEX=%d", i))
		for _, v := range job.Spec.Template.Spec.Containers[0].Env {
			c.Env = append(c.Env, v.Name+"="+here.Replace(v.Value))
		}
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("index %d: %v\n%s", i, err, out)
		}
		parts = append(parts, fmt.Sprintf("results/part-%d", i))
	}
	runIn(t, dir, append(append([]string{"merge"}, parts...), "--out", "results/whole")...).said(t, exitLook, "8 parts merged: 5 photos")
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "results/settings"))
	sameAsWhole(t, dir, "results/whole", "results/cache")
}

// folderOfPhotos is a folder with so many photos and their schedule.
func folderOfPhotos(t *testing.T, n int) string {
	t.Helper()
	dir := t.TempDir()
	for i := range n {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/p%d.jpg", i)), cardless(t, 400+16*i, 300))
	}
	writeFile(t, filepath.Join(dir, "photos/schedule.yaml"), []byte(goodSchedule))
	return dir
}

// sameAsWhole fails unless the merged documents are, byte for byte, those of a
// single run over the photos: only when they were made may differ. Times of
// stages come from the results that both share.
func sameAsWhole(t *testing.T, dir, merged, cache string) {
	t.Helper()
	runIn(t, dir, "inspect", "photos", "--schedule", "photos/schedule.yaml", "--out", "single", "--cache", cache).said(t, exitLook)
	for _, name := range []string{"inspection.json", "fasteners.csv"} {
		bytesOf := func(folder string) string {
			data, err := os.ReadFile(filepath.Join(dir, folder, name))
			if err != nil {
				t.Fatal(err)
			}
			if name != "inspection.json" {
				return string(data)
			}
			var d struct{ Made string }
			if err := json.Unmarshal(data, &d); err != nil {
				t.Fatal(err)
			}
			return strings.Replace(string(data), `"made": "`+d.Made+`"`, `"made": ""`, 1)
		}
		if got, want := bytesOf(merged), bytesOf("single"); got != want {
			t.Errorf("%s of the merged parts:\n%s\nof the single run:\n%s", name, got, want)
		}
	}
}

// The recipe for GNU parallel as it stands, for real.
func TestParallelRecipe(t *testing.T) {
	tool, err := exec.LookPath("parallel")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("parallel is missing; .ci/setup tests installs it")
		}
		t.Skip("no GNU parallel here: the recipe is not run (apt-get install parallel)")
	}
	if out, _ := exec.Command(tool, "--version").Output(); !bytes.Contains(out, []byte("GNU parallel")) {
		t.Skipf("%s is another program of that name", tool)
	}
	dir := folderOfPhotos(t, 5)
	recipe, err := filepath.Abs(filepath.Join(clusters, "parallel.sh"))
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command("/bin/sh", recipe, "photos", "photos/schedule.yaml", "out", "3")
	c.Dir = dir
	c.Env = append(os.Environ(), "PATH="+filepath.Dir(binary)+":"+os.Getenv("PATH"), "PARALLEL_HOME="+dir, "XDG_CACHE_HOME="+dir)
	out, err := c.CombinedOutput()
	if c.ProcessState == nil || c.ProcessState.ExitCode() != exitLook { // of merge: photos were refused
		t.Fatalf("%v\n%s", err, out)
	}
	if !strings.Contains(string(out), "3 parts merged: 5 photos") {
		t.Errorf("it said\n%s", out)
	}
	sameAsWhole(t, dir, "out/whole", filepath.Join(dir, "coursegauge"))
}

// What the README shows of the recipes is what the files say.
func TestReadmeShowsTheRecipes(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"parallel.sh", "slurm-array.sh", "kubernetes-job.yaml"} {
		text, err := os.ReadFile(filepath.Join(clusters, name))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(readme, text) {
			t.Errorf("cmd/coursegauge/README.md does not show testdata/clusters/%s as it is", name)
		}
	}
}
