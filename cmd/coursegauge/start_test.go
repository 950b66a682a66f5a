package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// mostToStart is what a start may take. Processor time is held to it, which is
// the wall's where nothing else runs: tests run on machines that do much else.
const mostToStart = 100 * time.Millisecond

func TestStartIsQuick(t *testing.T) {
	dir := t.TempDir()
	for i := range 3 {
		writeFile(t, filepath.Join(dir, fmt.Sprintf("photos/p%d.jpg", i)), cardless(t, 640, 480))
	}
	writeFile(t, filepath.Join(dir, "lot.yaml"), []byte(goodSchedule))
	version, first := time.Hour, time.Hour
	for range 5 { // the best of some: caches of files are cold at first
		c := exec.Command(binary, "version")
		if err := c.Run(); err != nil {
			t.Fatal(err)
		}
		version = min(version, c.ProcessState.UserTime()+c.ProcessState.SystemTime())

		c = exec.Command(binary, "inspect", "photos", "--schedule", "lot.yaml", "--out", "out")
		c.Dir = dir
		stderr, err := c.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(stderr).ReadString('\n')
		took := usedBy(t, c.Process.Pid)
		_ = c.Process.Kill()
		_ = c.Wait()
		if err != nil || !strings.HasPrefix(line, "3 photos, ") {
			t.Fatalf("the first line is %q (%v)", line, err)
		}
		first = min(first, took)
	}
	t.Logf("processor time: version %v, inspect up to its first line %v (in steps of 10 ms)", version, first)
	if version > mostToStart || first > mostToStart {
		t.Errorf("more than %v", mostToStart)
	}
	libraries, err := exec.Command("ldd", binary).Output()
	if err == nil && strings.Contains(string(libraries), "libgdal") {
		t.Error("GDAL is loaded with every start; cmd/coursegauge/codecs keeps it out")
	}
}

// usedBy is the processor time of a process so far (proc(5): fields 14 and 15
// of stat, hundredths of a second).
func usedBy(t *testing.T, pid int) time.Duration {
	t.Helper()
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(data), ") ")
	fields := strings.Fields(after)
	var user, system int
	if _, err := fmt.Sscan(fields[11]+" "+fields[12], &user, &system); err != nil {
		t.Fatal(err)
	}
	return time.Duration(user+system) * 10 * time.Millisecond
}
