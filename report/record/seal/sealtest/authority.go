// Package sealtest is a time stamp authority for tests, made with openssl.
package sealtest

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Authority is a time stamp authority made with openssl, for tests.
type Authority struct {
	Dir     string // where root.pem and openssl's own files lie
	openssl string
}

// New makes an authority with a root of its own; it skips the test without openssl.
func New(t *testing.T) Authority {
	t.Helper()
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("no openssl here; apt-get install openssl")
	}
	a := Authority{t.TempDir(), openssl}
	write(t, filepath.Join(a.Dir, "tsa.cnf"), []byte(`
[req]
distinguished_name = dn
prompt = no
[dn]
CN = Example root
[root]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign
[stamps]
extendedKeyUsage = critical,timeStamping
keyUsage = critical,digitalSignature
[tsa]
default_tsa = tsa1
[tsa1]
serial = serial
signer_cert = tsa.pem
signer_key = tsa.key
certs = root.pem
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
crypto_device = builtin
`))
	write(t, filepath.Join(a.Dir, "serial"), []byte("01\n"))
	a.Run(t, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "root.key", "-out", "root.pem", "-days", "30", "-config", "tsa.cnf", "-extensions", "root")
	a.Run(t, "req", "-new", "-newkey", "rsa:2048", "-nodes", "-keyout", "tsa.key", "-out", "tsa.csr", "-subj", "/CN=Example time stamps", "-config", "tsa.cnf")
	a.Run(t, "x509", "-req", "-in", "tsa.csr", "-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial", "-out", "tsa.pem", "-days", "30", "-extfile", "tsa.cnf", "-extensions", "stamps")
	return a
}

// Run runs openssl in the authority's folder.
func (a Authority) Run(t *testing.T, args ...string) string {
	t.Helper()
	c := exec.Command(a.openssl, args...)
	c.Dir = a.Dir
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("openssl %s: %v\n%s", args, err, out)
	}
	return string(out)
}

// Root is the certificate to trust.
func (a Authority) Root(t *testing.T) []byte {
	t.Helper()
	pem, err := os.ReadFile(filepath.Join(a.Dir, "root.pem"))
	if err != nil {
		t.Fatal(err)
	}
	return pem
}

// Serve answers as an authority does, with openssl ts -reply.
func (a Authority) Serve(t *testing.T) string {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		question, err := io.ReadAll(r.Body)
		if err == nil && r.Header.Get("Content-Type") == "application/timestamp-query" {
			err = os.WriteFile(filepath.Join(a.Dir, "q.tsq"), question, 0o600)
		}
		c := exec.Command(a.openssl, "ts", "-reply", "-queryfile", "q.tsq", "-out", "r.tsr", "-config", "tsa.cnf")
		c.Dir = a.Dir
		out, errRun := c.CombinedOutput()
		reply, errRead := os.ReadFile(filepath.Join(a.Dir, "r.tsr"))
		if err != nil || errRun != nil || errRead != nil {
			http.Error(w, string(out), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/timestamp-reply")
		_, _ = w.Write(reply)
	}))
	t.Cleanup(s.Close)
	return s.URL
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}
