// Package seal vouches for a message of some bytes: signatures in the minisign
// format (Ed25519) with keys whose secret half is protected by a passphrase, and
// time stamps of RFC 3161 with the authority's reply kept, so that both can be
// checked without a network and by other programs.
package seal

import (
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"aead.dev/minisign"
)

// minPassphrase is the least number of characters of a passphrase.
const minPassphrase = 8

// Key signs.
type Key struct{ private minisign.PrivateKey }

// PublicKey tells who signed.
type PublicKey struct{ key minisign.PublicKey }

// NewKey makes a key: the two files, the secret one encrypted with the
// passphrase (scrypt, as minisign does it; about a gigabyte of memory for some seconds).
func NewKey(passphrase string) (secret, public []byte, id string, err error) {
	if n := utf8.RuneCountInString(passphrase); n < minPassphrase {
		return nil, nil, "", fmt.Errorf("a passphrase of %d characters; at least %d are needed", n, minPassphrase)
	}
	k, err := Unprotected()
	if err != nil {
		return nil, nil, "", err
	}
	secret, err = minisign.EncryptKey(passphrase, k.private)
	if err != nil {
		return nil, nil, "", err
	}
	return append(secret, '\n'), k.Public().File(), k.Public().ID(), nil
}

// Weak says why a passphrase is soon guessed by somebody who has the key's file, ""
// when it is not: few characters, few different ones, one run of the keyboard, or a
// word that all lists of passwords begin with.
func Weak(passphrase string) string {
	const long, different = 14, 6
	small := strings.ToLower(passphrase)
	seen := map[rune]bool{}
	for _, r := range small {
		seen[r] = true
	}
	switch n := utf8.RuneCountInString(passphrase); {
	case strings.Trim(passphrase, "0123456789 .-/") == "":
		return "it holds digits alone"
	case len(seen) < different:
		return "it is made of few different characters"
	case n < long && slices.ContainsFunc(guessed, func(w string) bool { return strings.Contains(small, w) }):
		return "it holds a word or a run that is guessed first"
	case n < long && !strings.ContainsAny(passphrase, " -_.,"):
		return fmt.Sprintf("one word of %d characters", n)
	}
	return ""
}

// guessed are beginnings of every list of passwords.
var guessed = []string{"pass", "1234", "abcd", "qwer", "asdf", "letmein", "welcome", "admin", "secret", "iloveyou", "monkey", "dragon", "master", "login"}

// Unprotected makes a key that lies in memory alone, for a signature that nobody
// needs to make again.
func Unprotected() (Key, error) {
	_, private, err := minisign.GenerateKey(rand.Reader)
	return Key{private}, err
}

// OpenKey decrypts the file of a secret key.
func OpenKey(secret []byte, passphrase string) (Key, error) {
	if !minisign.IsEncrypted(secret) {
		return Key{}, errors.New("this is no secret key under a passphrase")
	}
	private, err := minisign.DecryptKey(passphrase, []byte(strings.TrimRight(string(secret), "\r\n")))
	if err != nil {
		return Key{}, errors.New("the passphrase is not that of the key, or the key's file is damaged")
	}
	return Key{private}, nil
}

// IsSecret tells whether a file holds a secret key under a passphrase.
func IsSecret(data []byte) bool { return minisign.IsEncrypted(data) }

// Public is the half that everybody may have.
func (k Key) Public() PublicKey {
	return PublicKey{k.private.Public().(minisign.PublicKey)}
}

// ParsePublic reads the file of a public key, or the one line that counts in it.
func ParsePublic(data []byte) (PublicKey, error) {
	var p PublicKey
	if len(data) > 4096 {
		return p, errors.New("this is no public key: it is too long")
	}
	if err := p.key.UnmarshalText(data); err != nil {
		return p, errors.New("this is no public key of the minisign format")
	}
	return p, nil
}

// ID is 16 hex digits; it tells keys apart and proves nothing.
func (p PublicKey) ID() string { return fmt.Sprintf("%016X", p.key.ID()) }

// String is the line that minisign -P takes.
func (p PublicKey) String() string { return p.key.String() }

// File is the public key as minisign -p reads it.
func (p PublicKey) File() []byte {
	return fmt.Appendf(nil, "untrusted comment: minisign public key %s\n%s\n", p.ID(), p)
}

// Equal tells whether two keys are one.
func (p PublicKey) Equal(q PublicKey) bool { return p.key.Equal(q.key) }
