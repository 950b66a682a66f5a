package seal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"aead.dev/minisign"
)

// untrusted is the first line of our signatures, which nothing protects; it is
// therefore always the same.
const untrusted = "signature of a coursegauge record; check it with minisign -V"

// Sign gives the signature file of a message. The comment is signed too; it
// keeps to one line.
func (k Key) Sign(message []byte, comment string) []byte {
	r := minisign.NewReader(bytes.NewReader(message))
	_, _ = io.Copy(io.Discard, r) // a reader of bytes does not fail
	return r.SignWithComments(k.private, strings.Join(strings.Fields(comment), " "), untrusted)
}

// CheckSignature holds a signature file against the message and a key. It
// gives the comment that was signed along.
func CheckSignature(message, signature []byte, by PublicKey) (comment string, err error) {
	s, err := parseSignature(signature)
	switch {
	case err != nil:
		return "", err
	case fmt.Sprintf("%016X", s.KeyID) != by.ID():
		return "", fmt.Errorf("was made with the key %016X, not with %s", s.KeyID, by.ID())
	case !minisign.Verify(by.key, message, signature):
		return "", errors.New("does not fit: the signed file or the signature was changed")
	}
	return s.TrustedComment, nil
}

// parseSignature reads a signature file that is written exactly as ours are, so
// that no byte of it can be changed unseen.
func parseSignature(data []byte) (s minisign.Signature, err error) {
	if len(data) > 64<<10 {
		return s, errors.New("is no signature: it is too long")
	}
	if err := s.UnmarshalText(data); err != nil {
		return s, errors.New("is no signature of the minisign format")
	}
	if again, err := s.MarshalText(); err != nil || !bytes.Equal(again, data) || s.UntrustedComment != untrusted {
		return s, errors.New("was changed in what nothing protects, its comment or its line ends")
	}
	return s, nil
}
