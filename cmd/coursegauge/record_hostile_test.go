package main

import (
	"bytes"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"coursegauge/report/inspection"
)

// A report folder of somebody else cannot bring files of the user into a record: by
// the name of a photo, by links in the places of the report, of the inspection and of
// the list of crews, or by pipes, which must not block.
func TestRecordOfAForeignFolder(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	secret := filepath.Join(dir, "secret")
	writeFile(t, secret, []byte("a secret of the user\n"))
	refused := func(file string) inspection.Photo {
		return inspection.Photo{File: file, Status: inspection.Refused, Refusal: &inspection.Refusal{Reason: "unreadable", Detail: "noise", Advice: "none"}}
	}
	for _, c := range []struct {
		name   string
		change func(report string, d *inspection.Document) error
		status int
		words  string
	}{
		{"up and out", func(_ string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused("../../secret"))
			return nil
		}, exitFailed, "leads out of the folder of the photos"},
		{"absolute", func(_ string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused(secret))
			return nil
		}, exitFailed, "leads out of the folder of the photos"},
		{"no hash", func(report string, d *inspection.Document) error {
			d.Photos = append(d.Photos, refused("secret.jpg"))
			return os.Symlink(secret, filepath.Join(report, "secret.jpg"))
		}, exitDone, "1 photos that could not be read"},
		{"its hash", func(report string, d *inspection.Document) error {
			p := refused("secret.jpg")
			p.SHA256 = hashOf(mustRead(t, secret))
			d.Photos = append(d.Photos, p)
			return os.Symlink(secret, filepath.Join(report, "secret.jpg"))
		}, exitFailed, "cannot be read as a file of"},
		{"report", func(report string, _ *inspection.Document) error {
			return os.Symlink(secret, filepath.Join(report, "report.html"))
		}, exitFailed, "cannot read"},
		{"report, a pipe", func(report string, _ *inspection.Document) error {
			return syscall.Mkfifo(filepath.Join(report, "report.html"), 0o600)
		}, exitFailed, "no regular file"},
		{"crews", func(report string, _ *inspection.Document) error {
			return os.Symlink(secret, filepath.Join(report, "crews.yaml"))
		}, exitDone, "crews.yaml is no regular file and is not taken into the record"},
		{"crews, a copy that is no list", func(report string, _ *inspection.Document) error {
			return os.WriteFile(filepath.Join(report, "crews.yaml"), []byte("a secret of the user\n"), 0o600)
		}, exitUsage, "crews.yaml"},
	} {
		report, schedule := manyPhotos(t, 1, 64)
		if err := os.Rename(schedule, filepath.Join(report, "schedule.yaml")); err != nil {
			t.Fatal(err)
		}
		d, err := inspection.ReadFile(filepath.Join(report, "inspection.json"))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.change(report, &d); err != nil {
			t.Fatal(err)
		}
		if err := inspection.WriteFile(filepath.Join(report, "inspection.json"), inspection.New(d.Tool, d.Schedule, d.Made, d.Photos)); err != nil {
			t.Fatal(err)
		}
		out := filepath.Join(t.TempDir(), "r")
		runIn(t, dir, "record", "make", report, "--out", out).said(t, c.status, c.words)
		err = filepath.WalkDir(filepath.Dir(out), func(path string, e os.DirEntry, err error) error {
			if err == nil && e.Type().IsRegular() && bytes.Contains(mustRead(t, path), []byte("a secret of the user")) {
				t.Errorf("%s: %s holds the secret", c.name, path)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
