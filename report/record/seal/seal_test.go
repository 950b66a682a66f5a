package seal

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coursegauge/report/record/seal/sealtest"
)

func mustKey(t testing.TB) Key {
	t.Helper()
	k, err := Unprotected()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// Every bit of a signature file counts, the unprotected comment's too.
func TestEveryBitOfASignatureCounts(t *testing.T) {
	k, message := mustKey(t), []byte("0123  data/photo.jpg\n")
	good := k.Sign(message, "made on\na day")
	comment, err := CheckSignature(message, good, k.Public())
	if err != nil || comment != "made on a day" {
		t.Fatalf("%q, %v", comment, err)
	}
	for i := range good {
		for bit := range 8 {
			bad := bytes.Clone(good)
			bad[i] ^= 1 << bit
			if _, err := CheckSignature(message, bad, k.Public()); err == nil {
				t.Errorf("byte %d, bit %d of the signature: not found", i, bit)
			}
		}
	}
	for i := range message {
		bad := bytes.Clone(message)
		bad[i] ^= 1
		if _, err := CheckSignature(bad, good, k.Public()); err == nil {
			t.Errorf("byte %d of the message: not found", i)
		}
	}
	if _, err := CheckSignature(message, good, mustKey(t).Public()); err == nil || !strings.Contains(err.Error(), "was made with the key "+k.Public().ID()) {
		t.Errorf("another key: %v", err)
	}
}

// tool gives the path of a program, or skips: .ci/setup tests installs it.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("no %s here; apt-get install %s", name, name)
	}
	return path
}

func mustRun(t *testing.T, dir, stdin, program string, args ...string) string {
	t.Helper()
	c := exec.Command(program, args...)
	c.Dir, c.Stdin = dir, strings.NewReader(stdin)
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// Debian's minisign checks our signatures and refuses changed ones; a key of
// ours, passphrase and all, signs there, and one of its own here.
func TestMinisignAgrees(t *testing.T) {
	minisign := tool(t, "minisign")
	dir := t.TempDir()
	secret, public, id, err := NewKey("correct horse")
	if err != nil {
		t.Fatal(err)
	}
	k, err := OpenKey(secret, "correct horse")
	if err != nil || k.Public().ID() != id {
		t.Fatalf("key %s, want %s: %v", k.Public().ID(), id, err)
	}
	message := []byte("what is signed\n")
	at := func(name string) string { return filepath.Join(dir, name) }
	write(t, at("m"), message)
	write(t, at("key"), secret)
	write(t, at("key.pub"), public)
	write(t, at("m.minisig"), k.Sign(message, "a comment"))
	if out := mustRun(t, dir, "", minisign, "-V", "-p", "key.pub", "-m", "m"); !strings.Contains(out, "Trusted comment: a comment") {
		t.Errorf("minisign -V: %s", out)
	}
	mustRun(t, dir, "", minisign, "-V", "-P", k.Public().String(), "-m", "m")
	write(t, at("m"), []byte("what is Signed\n"))
	if out, err := exec.Command(minisign, "-V", "-p", at("key.pub"), "-m", at("m")).CombinedOutput(); err == nil {
		t.Errorf("minisign took a changed file: %s", out)
	}
	mustRun(t, dir, "correct horse\n", minisign, "-S", "-s", "key", "-m", "m", "-x", "theirs", "-c", untrusted)
	theirs, err := os.ReadFile(at("theirs"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := CheckSignature([]byte("what is Signed\n"), theirs, k.Public()); err != nil {
		t.Errorf("a signature that minisign made with our key: %v", err)
	}
}

func TestShortPassphrase(t *testing.T) {
	if _, _, _, err := NewKey("seven77"); err == nil || !strings.Contains(err.Error(), "at least 8") {
		t.Errorf("%v", err)
	}
}

// An authority's reply is checked here without a network and by openssl alike;
// what was changed, made by others or leads elsewhere is refused.
func TestStampAgainstOpenSSL(t *testing.T) {
	a := sealtest.New(t)
	message := []byte("a tag manifest\n")
	before := time.Now().Add(-2 * time.Second)
	reply, err := AskStamp(context.Background(), a.Serve(t), message)
	if err != nil {
		t.Fatal(err)
	}
	roots, err := Roots(a.Root(t))
	if err != nil {
		t.Fatal(err)
	}
	s, err := CheckStamp(message, reply, roots)
	if err != nil || !s.Trusted || s.Authority != "CN=Example time stamps" || s.Time.Before(before) || s.Time.After(time.Now().Add(time.Second)) {
		t.Errorf("%+v, %v", s, err)
	}
	write(t, filepath.Join(a.Dir, "m"), message)
	write(t, filepath.Join(a.Dir, "m.tsr"), reply)
	if out := a.Run(t, "ts", "-verify", "-in", "m.tsr", "-data", "m", "-CAfile", "root.pem"); !strings.Contains(out, "Verification: OK") {
		t.Errorf("openssl ts -verify: %s", out)
	}
	if _, err := CheckStamp([]byte("another\n"), reply, roots); err == nil || !strings.Contains(err.Error(), "something else") {
		t.Errorf("another message: %v", err)
	}
	others, _ := Roots(sealtest.New(t).Root(t))
	if s, err := CheckStamp(message, reply, others); err == nil || s.Trusted {
		t.Errorf("another root: %+v, %v", s, err)
	}
	missed := 0
	for i := range reply {
		bad := bytes.Clone(reply)
		bad[i] ^= 1 << (i % 8)
		if _, err := CheckStamp(message, bad, roots); err == nil {
			missed++
		}
	}
	// what a stamp does not protect itself is protected by the signature beside it
	t.Logf("%d of %d changed bytes leave the stamp sound by itself", missed, len(reply))
	if missed > len(reply)/50 {
		t.Errorf("%d of %d changed bytes were not found", missed, len(reply))
	}
}

func TestAskStampRefusesOtherAnswers(t *testing.T) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/garbage" {
			w.Header().Set("Content-Type", "application/timestamp-reply")
		}
		_, _ = w.Write([]byte("<html>hello</html>"))
	}))
	defer s.Close()
	for _, address := range []string{s.URL, s.URL + "/garbage", "ftp://example.org", "example.org", ""} {
		if _, err := AskStamp(context.Background(), address, []byte("m")); err == nil {
			t.Errorf("%q gave a stamp", address)
		}
	}
}

func FuzzSignature(f *testing.F) {
	k := mustKey(f)
	f.Add(k.Sign([]byte("m"), "c"))
	f.Add([]byte("untrusted comment: x\nAAAA\ntrusted comment: y\nBBBB"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if comment, err := CheckSignature([]byte("another"), data, k.Public()); err == nil {
			t.Errorf("a signature out of nothing: %q", comment)
		}
		_, _ = ParsePublic(data)
		_, _ = OpenKey(data[:min(len(data), 20)], "x")
	})
}

func FuzzStamp(f *testing.F) {
	f.Add([]byte{0x30, 0x03, 0x02, 0x01, 0x00})
	f.Fuzz(func(t *testing.T, data []byte) {
		if s, err := CheckStamp([]byte("m"), data, nil); err == nil && s.Time.IsZero() {
			t.Error("a stamp without a time")
		}
	})
}

// An authority, or whoever stands between, that sends an old reply about the same message
// again is found by the number of the question.
func TestReplyToAnotherQuestion(t *testing.T) {
	a := sealtest.New(t)
	message := []byte("0123  data/photo.jpg\n")
	old, err := AskStamp(context.Background(), a.Serve(t), message)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := CheckStamp(message, old, nil); err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/timestamp-reply")
		_, _ = w.Write(old)
	}))
	defer s.Close()
	if _, err := AskStamp(context.Background(), s.URL, message); err == nil || !strings.Contains(err.Error(), "to another question") {
		t.Errorf("%v", err)
	}
}

func TestWeak(t *testing.T) {
	for _, c := range []struct {
		passphrase string
		weak       bool
	}{
		{"correct horse battery", false}, {"nails in rows by four", false}, {"Tr7#kq-9vLz2", false}, {"xkvqjwzmpltrfhb", false},
		{"12345678", true}, {"2026-05-04", true}, {"aaaaaaaaaaaaaaaa", true}, {"abababababababab", true}, {"password", true}, {"MyPassword9", true}, {"qwertzuiop", true}, {"roofnails", true}, {"", true},
	} {
		if why := Weak(c.passphrase); (why != "") != c.weak {
			t.Errorf("%q: %q", c.passphrase, why)
		}
	}
}
