package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"coursegauge/report/record/seal"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

type recordKeyOptions struct{ out, passphrase string }

func newRecordKey(t *terminal) *cobra.Command {
	o := recordKeyOptions{}
	c := &cobra.Command{
		Use:   "key --out NAME.key",
		Short: "make a key to sign records with",
		Long: `key makes the two files of a key: NAME.key, secret, under a passphrase, to sign
with; and NAME.pub, which everybody may have, to check with. The form is that of
minisign, which checks such signatures and signs with such keys too.

Keep NAME.key and its passphrase apart and safe: whoever has both signs in your
name, and nobody can make either again. Give NAME.pub to those who are to check
records, by a way on which they know it comes from you.

The passphrase is asked for twice; for scripts it is the first line of the file of
--passphrase-file, - for standard input.`,
		Example: "  coursegauge record key --out office.key",
		Args:    noArguments,
		RunE:    func(*cobra.Command, []string) error { return runRecordKey(t, o) },
	}
	c.Flags().StringVar(&o.out, "out", "", "the secret key, `NAME.key`; the public one lies beside it as NAME.pub")
	c.Flags().StringVar(&o.passphrase, "passphrase-file", "", "read the passphrase from the first line of `FILE`, - for standard input")
	return c
}

func runRecordKey(t *terminal, o recordKeyOptions) error {
	if filepath.Ext(o.out) != ".key" {
		return usageError{"--out NAME.key is needed", "coursegauge record key --out office.key"}
	}
	public := strings.TrimSuffix(o.out, ".key") + ".pub"
	for _, path := range []string{o.out, public} {
		if err := mustNotExist("--out:", path); err != nil {
			return err
		}
	}
	passphrase, err := readPassphrase(t, o.passphrase, "passphrase for the new key: ", true)
	if err != nil {
		return err
	}
	secretData, publicData, id, err := seal.NewKey(passphrase)
	if err != nil {
		return usageError{err.Error(), "a sentence of four or five words is good, and easy to keep in mind"}
	}
	if err := cannotWrite(o.out, renameio.WriteFile(o.out, secretData, 0o600)); err != nil {
		return err
	}
	if err := writeWhole(public, publicData); err != nil {
		return errors.Join(err, os.Remove(o.out))
	}
	if why := seal.Weak(passphrase); why != "" {
		t.warn("this passphrase is weak: %s; whoever gets the key's file can guess it", why)
		t.hint("a sentence of four or five words is good, and easy to keep in mind")
	}
	t.say("key %s", id)
	t.say("secret: %s (keep it and its passphrase safe, apart from each other)", o.out)
	t.say("public: %s (give it to those who check records)", public)
	return nil
}

// readPassphrase takes a passphrase from a file, or asks for it on a terminal,
// where it is not shown.
func readPassphrase(t *terminal, file, question string, twice bool) (string, error) {
	if file != "" {
		warnOpen(t, file, "passphrase")
		return passphraseIn(file)
	}
	in := int(os.Stdin.Fd())
	if !term.IsTerminal(in) {
		return "", usageError{"a passphrase is needed, and there is no terminal to ask on", "--passphrase-file FILE reads it from the first line of a file, - from standard input"}
	}
	ask := func(question string) (string, error) {
		fmt.Fprint(t.err, question)
		typed, err := term.ReadPassword(in)
		t.tell("")
		if err != nil {
			return "", failure{fmt.Sprintf("cannot read the passphrase: %v", err), ""}
		}
		return string(typed), nil
	}
	first, err := ask(question)
	if err != nil || !twice {
		return first, err
	}
	if again, err := ask("once more: "); err != nil || again != first {
		return "", errors.Join(err, usageError{"the two passphrases differ; nothing was made", ""})
	}
	return first, nil
}

func passphraseIn(file string) (string, error) {
	var r io.Reader = os.Stdin
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return "", usageError{fmt.Sprintf("--passphrase-file %s: %v", file, cause(err)), ""}
		}
		defer f.Close()
		r = f
	}
	line, err := bufio.NewReader(io.LimitReader(r, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", usageError{fmt.Sprintf("--passphrase-file %s: %v", file, cause(err)), ""}
	}
	return strings.TrimRight(line, "\r\n"), nil
}

// warnOpen tells of a file with a secret that other users can read.
func warnOpen(t *terminal, path, what string) {
	if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() && info.Mode().Perm()&0o077 != 0 {
		t.warn("the %s in %s can be read by other users of this machine (mode %04o)", what, path, info.Mode().Perm())
		t.hint("chmod 600 " + path)
	}
}

// openSecretKey decrypts the key of --sign.
func openSecretKey(t *terminal, path, passphraseFile string) (seal.Key, error) {
	data, err := readFile(path)
	if err != nil {
		return seal.Key{}, usageError{fmt.Sprintf("--sign %s: %v", path, err), "coursegauge record key makes one"}
	}
	if !seal.IsSecret(data) {
		return seal.Key{}, usageError{fmt.Sprintf("--sign %s: this is no secret key under a passphrase", path), "the file NAME.key that coursegauge record key made is needed"}
	}
	warnOpen(t, path, "secret key")
	passphrase, err := readPassphrase(t, passphraseFile, "passphrase of "+path+": ", false)
	if err != nil {
		return seal.Key{}, err
	}
	if why := seal.Weak(passphrase); why != "" {
		t.warn("the passphrase of %s is weak: %s; whoever gets the key's file can guess it", path, why)
	}
	k, err := seal.OpenKey(data, passphrase)
	if err != nil {
		return k, usageError{fmt.Sprintf("--sign %s: %v", path, err), ""}
	}
	return k, nil
}
