package seal

import (
	"bytes"
	"context"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coursegauge/report/record/seal/sealtest"
)

// A public key is the same after it was written and read, as a file or as one line.
func TestPublicKeyAsText(t *testing.T) {
	k, other := mustKey(t).Public(), mustKey(t).Public()
	for _, text := range [][]byte{k.File(), []byte(k.String()), []byte(k.String() + "\n")} {
		if got, err := ParsePublic(text); err != nil || !got.Equal(k) || got.Equal(other) || got.ID() != k.ID() {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	if want := "untrusted comment: minisign public key " + k.ID() + "\n" + k.String() + "\n"; string(k.File()) != want {
		t.Errorf("%q, want %q", k.File(), want)
	}
	for _, bad := range []string{"", "no key", k.String()[1:], strings.Repeat("x", 4097)} {
		if _, err := ParsePublic([]byte(bad)); err == nil {
			t.Errorf("%.20q was taken for a key", bad)
		}
	}
	if _, err := OpenKey(k.File(), "correct horse"); err == nil || IsSecret(k.File()) {
		t.Errorf("a public key was taken for a secret one: %v", err)
	}
}

// A passphrase of one word needs 14 characters, any needs 6 different ones.
func TestWeakLimits(t *testing.T) {
	for passphrase, weak := range map[string]bool{
		"xkvqjwzmpltrfh": false, "xkvqjwzmpltrf": true, "xkvqjw zmpltr": false,
		"passxkvqjwzmpl": false, "pass xkvqjwzm": true,
		"abcxyz abcxyz xyz": false, "abxyz abxyz abxyz": false, "abxy abxy abxy abxy": true,
	} {
		if why := Weak(passphrase); (why != "") != weak {
			t.Errorf("%q: %q", passphrase, why)
		}
	}
}

func TestCheckURL(t *testing.T) {
	for address, ok := range map[string]bool{
		"http://example.org/tsa": true, "https://example.org": true, "ftp://example.org": false, "file:///etc/passwd": false, "http://": false, "example.org": false, "http://%zz": false,
	} {
		if err := CheckURL(address); (err == nil) != ok {
			t.Errorf("%s: %v", address, err)
		}
	}
}

// What an authority answers must be a time stamp by its status, its kind and its length.
func TestAnswersOfAuthorities(t *testing.T) {
	for _, c := range []struct {
		name, kind string
		status, n  int
		words      string
	}{
		{"an error", "application/timestamp-reply", 500, 9, "instead of a time stamp"},
		{"another kind", "text/html", 200, 9, "instead of a time stamp"},
		{"as long as may be", "application/timestamp-reply", 200, 1 << 20, "is no sound time stamp"},
		{"longer", "application/timestamp-reply; charset=binary", 200, 1<<20 + 1, "longer than any time stamp"},
	} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", c.kind)
			w.WriteHeader(c.status)
			_, _ = w.Write(bytes.Repeat([]byte{'x'}, c.n))
		}))
		if _, err := AskStamp(context.Background(), s.URL, []byte("m")); err == nil || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: %v, want %q", c.name, err, c.words)
		}
		s.Close()
	}
	for n, words := range map[int]string{1 << 20: "is no sound time stamp", 1<<20 + 1: "too long"} {
		if _, err := CheckStamp([]byte("m"), make([]byte, n), nil); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("a stamp of %d bytes: %v, want %q", n, err, words)
		}
	}
}

// An authority may name its certificate by SHA-1 (RFC 3161) instead of SHA-256
// (RFC 5816); a reply without the number of the question is to another one.
func TestRepliesOfAuthorities(t *testing.T) {
	a := sealtest.New(t)
	config := filepath.Join(a.Dir, "tsa.cnf")
	data, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	write(t, config, bytes.Replace(data, []byte("ess_cert_id_alg = sha256"), []byte("ess_cert_id_alg = sha1"), 1))
	message := []byte("0123  data/photo.jpg\n")
	roots, err := Roots(a.Root(t))
	if err != nil {
		t.Fatal(err)
	}
	reply, err := AskStamp(context.Background(), a.Serve(t), message)
	if err != nil {
		t.Fatal(err)
	}
	if s, err := CheckStamp(message, reply, roots); err != nil || !s.Trusted {
		t.Errorf("%+v, %v", s, err)
	}
	write(t, filepath.Join(a.Dir, "m"), message)
	a.Run(t, "ts", "-query", "-data", "m", "-sha256", "-cert", "-no_nonce", "-out", "bare.tsq")
	a.Run(t, "ts", "-reply", "-queryfile", "bare.tsq", "-out", "bare.tsr", "-config", "tsa.cnf")
	bare, err := os.ReadFile(filepath.Join(a.Dir, "bare.tsr"))
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/timestamp-reply")
		_, _ = w.Write(bare)
	}))
	defer s.Close()
	if _, err := AskStamp(context.Background(), s.URL, message); err == nil || !strings.Contains(err.Error(), "to another question") {
		t.Errorf("a reply without a number: %v", err)
	}
	pem := a.Root(t)
	for n, ok := range map[int]bool{1 << 20: true, 1<<20 + 1: false} {
		if _, err := Roots(append(bytes.Clone(pem), bytes.Repeat([]byte{'\n'}, n-len(pem))...)); (err == nil) != ok {
			t.Errorf("a file of %d bytes: %v", n, err)
		}
	}
}

// The certificate of an authority has one use, time stamps, and binds itself to it
// (RFC 3161, 2.3).
func TestForStamps(t *testing.T) {
	use := pkix.Extension{Id: asn1.ObjectIdentifier{2, 5, 29, 37}, Critical: true}
	loose, other := use, use
	loose.Critical, other.Id = false, asn1.ObjectIdentifier{2, 5, 29, 15}
	for name, c := range map[string]struct {
		uses    []x509.ExtKeyUsage
		unknown []asn1.ObjectIdentifier
		binds   []pkix.Extension
		ok      bool
	}{
		"as it is to be":  {[]x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}, nil, []pkix.Extension{other, use}, true},
		"no use":          {nil, nil, []pkix.Extension{use}, false},
		"another use":     {[]x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, nil, []pkix.Extension{use}, false},
		"two uses":        {[]x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping, x509.ExtKeyUsageServerAuth}, nil, []pkix.Extension{use}, false},
		"one not known":   {[]x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}, []asn1.ObjectIdentifier{{1, 2, 3}}, []pkix.Extension{use}, false},
		"not bound":       {[]x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}, nil, []pkix.Extension{loose}, false},
		"bound elsewhere": {[]x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}, nil, []pkix.Extension{loose, other}, false},
	} {
		if err := forStamps(&x509.Certificate{ExtKeyUsage: c.uses, UnknownExtKeyUsage: c.unknown, Extensions: c.binds}); (err == nil) != c.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}
