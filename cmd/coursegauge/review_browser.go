package main

import (
	"errors"
	"fmt"
	"html"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
)

// openBrowser opens an address with a secret in it in the user's browser. What
// a program is started with can be read by everybody on the machine, so the
// browser is given a file that only this user can read, and that leads on.
// remove deletes the file; it may be called more than once.
func openBrowser(t *terminal, address string) (remove func()) {
	path, remove, err := writeRedirect(address)
	if err == nil {
		program := map[string]string{"darwin": "open", "windows": "explorer"}[runtime.GOOS]
		if program == "" {
			program = "xdg-open"
		}
		c := exec.Command(program, path)
		if err = c.Start(); err == nil {
			go c.Wait()
			return remove
		}
	}
	remove()
	t.tell("no browser could be opened; open the address yourself")
	return remove
}

// writeRedirect writes a page that leads to an address into a new folder of
// this user alone.
func writeRedirect(address string) (path string, remove func(), err error) {
	dir, err := privateFolder()
	if err != nil {
		return "", func() {}, err
	}
	remove = sync.OnceFunc(func() { _ = os.RemoveAll(dir) })
	path = filepath.Join(dir, "review.html")
	to := html.EscapeString(address)
	page := fmt.Sprintf(`<!DOCTYPE html>
<html lang="en"><meta charset="utf-8"><meta name="referrer" content="no-referrer"><meta http-equiv="refresh" content="0; url=%s"><title>coursegauge review</title>
<p><a href="%s">Go on to the review</a></p></html>
`, to, to)
	return path, remove, os.WriteFile(path, []byte(page), 0o600)
}

// privateFolder is where the system keeps what lives as long as a user's
// session, or the user's caches where there is no such place.
func privateFolder() (string, error) {
	const pattern = "coursegauge-review-*"
	if base := os.Getenv("XDG_RUNTIME_DIR"); base != "" {
		if dir, err := os.MkdirTemp(base, pattern); err == nil {
			return dir, nil
		}
	}
	base, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(base, 0o700); err != nil && !errors.Is(err, os.ErrExist) {
		return "", err
	}
	return os.MkdirTemp(base, pattern)
}

// whenAsked answers as h does, and calls done when the page at a path was asked for.
func whenAsked(h http.Handler, path string, done func()) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.ServeHTTP(w, r)
		if r.URL.Path == path {
			done()
		}
	})
}
