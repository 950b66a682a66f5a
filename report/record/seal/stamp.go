package seal

import (
	"bytes"
	"context"
	"crypto"
	"crypto/rand"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/digitorus/pkcs7"
	"github.com/digitorus/timestamp"
)

const (
	maxReply  = 1 << 20
	replyTime = 30 * time.Second
)

// Stamp is what a time stamp says.
type Stamp struct {
	Time      time.Time `json:"time"`      // when the authority saw the message
	Authority string    `json:"authority"` // the subject of its certificate
	Trusted   bool      `json:"trusted"`   // the certificate leads to one of the roots that were given
}

// CheckURL says what is wrong with the address of an authority.
func CheckURL(address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return errors.New("an address that begins with http:// or https:// is needed")
	}
	return nil
}

// AskStamp sends the SHA-256 of a message, nothing else of it, to an authority
// and gives its reply (RFC 3161, 3.4), checked against the message and the question.
func AskStamp(ctx context.Context, address string, message []byte) ([]byte, error) {
	if err := CheckURL(address); err != nil {
		return nil, err
	}
	nonce, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 63))
	if err != nil {
		return nil, err
	}
	question, err := timestamp.CreateRequest(bytes.NewReader(message), &timestamp.RequestOptions{Hash: crypto.SHA256, Certificates: true, Nonce: nonce})
	if err != nil {
		return nil, err
	}
	reply, err := post(ctx, address, question)
	if err != nil {
		return nil, err
	}
	if _, err := CheckStamp(message, reply, nil); err != nil {
		return nil, fmt.Errorf("the reply %w", err)
	}
	if s, err := timestamp.ParseResponse(reply); err != nil || s.Nonce == nil || s.Nonce.Cmp(nonce) != 0 {
		return nil, errors.New("the reply is to another question")
	}
	return reply, nil
}

func post(ctx context.Context, address string, question []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, replyTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(question))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/timestamp-query")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	if kind, _, _ := strings.Cut(answer.Header.Get("Content-Type"), ";"); answer.StatusCode != http.StatusOK || kind != "application/timestamp-reply" {
		return nil, fmt.Errorf("the authority answered %.80s, \"%.80s\", instead of a time stamp", answer.Status, kind)
	}
	reply, err := io.ReadAll(io.LimitReader(answer.Body, maxReply+1))
	if err == nil && len(reply) > maxReply {
		err = errors.New("the reply is longer than any time stamp")
	}
	return reply, err
}

// CheckStamp holds a kept reply against the message: what it says was signed by
// the certificate in it, which is one for time stamps and, with roots (nil: not
// looked at), leads to one of them at the time of the stamp.
func CheckStamp(message, reply []byte, roots *x509.CertPool) (s Stamp, err error) {
	defer func() {
		if recover() != nil { // the parser meets bytes of anybody
			s, err = Stamp{}, errors.New("is no time stamp")
		}
	}()
	if len(reply) > maxReply {
		return Stamp{}, errors.New("is no time stamp: it is too long")
	}
	t, err := timestamp.ParseResponse(reply)
	if err != nil {
		return Stamp{}, fmt.Errorf("is no sound time stamp: %w", err)
	}
	if sum := sha256.Sum256(message); t.HashAlgorithm != crypto.SHA256 || !bytes.Equal(t.HashedMessage, sum[:]) {
		return Stamp{}, errors.New("is a time stamp of something else")
	}
	p, err := pkcs7.Parse(t.RawToken)
	if err != nil {
		return Stamp{}, fmt.Errorf("is no sound time stamp: %w", err)
	}
	signer := p.GetOnlySigner()
	if signer == nil {
		return Stamp{}, errors.New("does not hold the one certificate of the authority that signed it")
	}
	for _, err := range []error{p.Verify(), holdsStamp(t.RawToken, p.Signers[0].DigestAlgorithm), forStamps(signer), namedInside(p, signer), chained(p.Certificates, signer)} {
		if err != nil {
			return Stamp{}, fmt.Errorf("is no sound time stamp: %w", err)
		}
	}
	s = Stamp{Time: t.Time.UTC(), Authority: signer.Subject.String()}
	if roots == nil {
		return s, nil
	}
	between := x509.NewCertPool()
	for _, c := range p.Certificates {
		between.AddCert(c)
	}
	_, err = signer.Verify(x509.VerifyOptions{Roots: roots, Intermediates: between, CurrentTime: t.Time, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}})
	if err != nil {
		return s, fmt.Errorf("comes from %s, which leads to no certificate that is trusted here: %w", s.Authority, err)
	}
	s.Trusted = true
	return s, nil
}

// holdsStamp holds the token to what it says of itself, which the parsers pass
// over: what was signed is a time stamp (RFC 3161, 2.4.2), and the digest that the
// signer used is among those named (RFC 5652, 5.1; there may be none).
func holdsStamp(token []byte, used pkix.AlgorithmIdentifier) error {
	var outer struct {
		Kind    asn1.ObjectIdentifier
		Content struct {
			Version int
			Digests []pkix.AlgorithmIdentifier `asn1:"set"`
			Signed  struct{ Kind asn1.ObjectIdentifier }
		} `asn1:"explicit,tag:0"`
	}
	if _, err := asn1.Unmarshal(token, &outer); err != nil {
		return fmt.Errorf("its content cannot be read: %w", err)
	}
	if !outer.Content.Signed.Kind.Equal(asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 1, 4}) {
		return errors.New("what was signed is no time stamp")
	}
	named := outer.Content.Digests
	if len(named) > 0 && !slices.ContainsFunc(named, func(d pkix.AlgorithmIdentifier) bool { return d.Algorithm.Equal(used.Algorithm) }) {
		return errors.New("it was signed by way of a digest that it does not name")
	}
	return nil
}

// forStamps holds the authority's certificate to RFC 3161, 2.3: its one use is time stamps.
func forStamps(c *x509.Certificate) error {
	if len(c.ExtKeyUsage) != 1 || c.ExtKeyUsage[0] != x509.ExtKeyUsageTimeStamping || len(c.UnknownExtKeyUsage) > 0 {
		return errors.New("its certificate is not one for time stamps alone")
	}
	use := asn1.ObjectIdentifier{2, 5, 29, 37}
	if !slices.ContainsFunc(c.Extensions, func(e pkix.Extension) bool { return e.Id.Equal(use) && e.Critical }) {
		return errors.New("its certificate does not bind itself to time stamps")
	}
	return nil
}

// namedInside holds the certificate to the one that the signed part names
// (RFC 3161, 2.4.1; RFC 5816 for other hashes than SHA-1).
func namedInside(p *pkcs7.PKCS7, c *x509.Certificate) error {
	type certID struct {
		Algorithm pkix.AlgorithmIdentifier `asn1:"optional"`
		Hash      []byte
		Issuer    asn1.RawValue `asn1:"optional"`
	}
	var named struct {
		Certs    []certID
		Policies asn1.RawValue `asn1:"optional"`
	}
	sum1, sum256 := sha1.Sum(c.Raw), sha256.Sum256(c.Raw)
	for _, attribute := range []asn1.ObjectIdentifier{{1, 2, 840, 113549, 1, 9, 16, 2, 47}, {1, 2, 840, 113549, 1, 9, 16, 2, 12}} {
		if p.UnmarshalSignedAttribute(attribute, &named) != nil || len(named.Certs) == 0 {
			continue
		}
		if h := named.Certs[0].Hash; bytes.Equal(h, sum1[:]) || bytes.Equal(h, sum256[:]) {
			return nil
		}
		return errors.New("it names another certificate than the one that signed it")
	}
	return errors.New("it does not name the certificate that signed it")
}

// chained holds the other certificates of a reply: each is vouched for by one of
// them, or is the last that is known of a chain.
func chained(all []*x509.Certificate, signer *x509.Certificate) error {
	for _, c := range all {
		if c.Equal(signer) {
			continue
		}
		vouched, known, issues := false, false, false
		for _, other := range all {
			if bytes.Equal(c.RawIssuer, other.RawSubject) {
				known = true
				vouched = vouched || c.CheckSignatureFrom(other) == nil
			}
			if bytes.Equal(other.RawIssuer, c.RawSubject) {
				issues = issues || other.CheckSignatureFrom(c) == nil
			}
		}
		if !vouched && (known || !issues) {
			return fmt.Errorf("the certificate of %s in it was changed, or has nothing to do there", c.Subject)
		}
	}
	return nil
}

// Roots reads certificates in PEM.
func Roots(pem []byte) (*x509.CertPool, error) {
	pool := x509.NewCertPool()
	if len(pem) > maxReply || !pool.AppendCertsFromPEM(pem) {
		return nil, errors.New("no certificate in PEM (-----BEGIN CERTIFICATE-----) in it")
	}
	return pool, nil
}
