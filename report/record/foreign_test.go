package record

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"coursegauge/report/inspection"
)

// An inspection of somebody else can name any file. Only regular files that lie in the
// folder of the photos and have the hash of the inspection come into a record.
func TestNothingElseIsPacked(t *testing.T) {
	secret := []byte("a secret of the user\n")
	for _, c := range []struct {
		name   string
		file   string
		hash   string
		status string
		place  func(photos, secret string) error // what lies under the name
		words  string
	}{
		{"up and out, no hash", "../secret", "", inspection.Refused, nil, "leads out of the folder"},
		{"up and out, its hash", "../secret", hashOf(secret), inspection.Refused, nil, "leads out of the folder"},
		{"within, up and out", "north/../../secret", "", inspection.Refused, nil, "leads out of the folder"},
		{"absolute", "/etc/hostname", "", inspection.Refused, nil, "leads out of the folder"},
		{"measured, no hash", "a.jpg", "", inspection.Measured, nil, "named without a hash"},
		{"a hash that is none", "a.jpg", "0", inspection.Refused, nil, "named without a hash"},
		{"a link that leads out", "a.jpg", hashOf(secret), inspection.Refused, func(photos, secret string) error { return os.Symlink(secret, filepath.Join(photos, "a.jpg")) }, "cannot be read as a file of"},
		{"a folder that leads out", "out/secret", hashOf(secret), inspection.Refused, func(photos, secret string) error {
			return os.Symlink(filepath.Dir(secret), filepath.Join(photos, "out"))
		}, "cannot be read as a file of"},
		{"a pipe", "a.jpg", hashOf(secret), inspection.Refused, func(photos, _ string) error { return syscall.Mkfifo(filepath.Join(photos, "a.jpg"), 0o600) }, "is no regular file"},
		{"a folder", "a.jpg", hashOf(secret), inspection.Refused, func(photos, _ string) error { return os.Mkdir(filepath.Join(photos, "a.jpg"), 0o700) }, "is no regular file"},
	} {
		for _, noLocation := range []bool{false, true} {
			in := job(t)
			in.NoLocation = noLocation
			away := filepath.Join(filepath.Dir(in.Photos), "secret")
			mustWrite(t, away, secret)
			if c.place != nil {
				if err := c.place(in.Photos, away); err != nil {
					t.Fatal(err)
				}
			}
			p := inspection.Photo{File: c.file, SHA256: c.hash, Status: c.status}
			if c.status == inspection.Refused {
				p.Refusal = &inspection.Refusal{Reason: "unreadable", Detail: "no photo"}
			}
			in.Document.Photos = append(in.Document.Photos, p)
			var wrong WrongPhoto
			target := filepath.Join(t.TempDir(), "r")
			if _, err := Make(context.Background(), in, target); !errors.As(err, &wrong) || !strings.Contains(wrong.Why, c.words) {
				t.Errorf("%s: %v, want %q", c.name, err, c.words)
			}
			if left, _ := os.ReadDir(filepath.Dir(target)); len(left) > 0 {
				t.Errorf("%s: left over: %v", c.name, left)
			}
		}
	}
}

// A photo that inspect could not read has no hash. It is left out, the record says so,
// and the record is sound; the file under its name is in no part of it.
func TestUnreadPhotoIsLeftOut(t *testing.T) {
	in := job(t)
	mustWrite(t, filepath.Join(in.Photos, "broken.jpg"), []byte("a secret of the user"))
	in.Document = inspection.New(in.Document.Tool, in.Document.Schedule, in.Document.Made, append(in.Document.Photos, inspection.Photo{
		File: "broken.jpg", Status: inspection.Refused, Refusal: &inspection.Refusal{Reason: "unreadable", Detail: "no photo"},
	}))
	in.Inspection = encoded(t, in.Document)
	path := filepath.Join(t.TempDir(), "r")
	m := mustMake(t, in, path)
	if len(m.Contents.Photos) != 3 || len(m.Contents.LeftOut) != 1 || !strings.Contains(m.Contents.LeftOut[0], "1 photos that could not be read") {
		t.Errorf("%d photos, left out %q", len(m.Contents.Photos), m.Contents.LeftOut)
	}
	for _, f := range filesIn(t, path) {
		if strings.Contains(string(mustRead(t, f)), "a secret") {
			t.Errorf("%s holds it", f)
		}
	}
	v := verdictOf(t, path, Options{})
	if len(v.Problems) > 0 || !slices.Contains(v.Unchecked, "1 photo that inspect could not read and that is not in the record") {
		t.Errorf("%q\n%s", v.Unchecked, said(v))
	}
}

// A schedule that is not the one of the document is not packed.
func TestScheduleIsHeldToItsHash(t *testing.T) {
	in := job(t)
	in.Schedule.Data = []byte("a secret of the user")
	if _, err := Make(context.Background(), in, filepath.Join(t.TempDir(), "r")); err == nil || !strings.Contains(err.Error(), "not the one that was judged by") {
		t.Errorf("%v", err)
	}
}

func TestReadLimited(t *testing.T) {
	for text, ok := range map[string]bool{"": true, "abcd": true, "abcde": false} {
		if data, err := readLimited(strings.NewReader(text), 4); (err == nil) != ok || ok && string(data) != text {
			t.Errorf("%q: %q, %v", text, data, err)
		}
	}
}
