package review

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coursegauge/report/inspection"
)

const testReport = `<!DOCTYPE html><html><head><meta http-equiv="Content-Security-Policy" content="default-src &#39;none&#39;; img-src data:"/></head></html>`

type testServer struct {
	*Server
	dir     string
	refused []string
	saved   int
}

func newTestServer(t *testing.T) *testServer {
	t.Helper()
	dir := t.TempDir()
	ts := &testServer{dir: dir}
	var err error
	ts.Server, err = NewServer(Options{
		Host: "127.0.0.1:4567", Report: []byte(testReport), Log: opened(t, dir), Who: "office", Tool: "test",
		Document: inspection.Document{Photos: []inspection.Photo{{
			File: "a.jpg", SHA256: strings.Repeat("ab", 32), Image: &inspection.Image{Width: 400, Height: 300},
			Heads: []inspection.Fastener{{ID: 1}, {ID: 2}},
		}}},
		Photo:   func(string) (string, []byte, error) { return "a.jpg", []byte("picture"), nil },
		CSV:     func(w io.Writer) error { _, err := io.WriteString(w, "file\r\n"); return err },
		Mend:    func(w io.Writer, lang string) error { _, err := io.WriteString(w, "mend "+lang); return err },
		Saved:   func() { ts.saved++ },
		Refused: func(line string) { ts.refused = append(ts.refused, line) },
		Now:     func() time.Time { return time.Date(2026, 5, 4, 17, 30, 0, 0, time.FixedZone("", 2*3600)) },
	})
	if err != nil {
		t.Fatal(err)
	}
	return ts
}

// ask sends a request as the page does, changed by the given functions.
func (s *testServer) ask(method, path, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+s.host+"/"+s.token+"/"+path, strings.NewReader(body))
	if method == http.MethodPost {
		r.Header.Set("Origin", "http://"+s.host)
		r.Header.Set("Content-Type", "application/json")
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

func posted(d ...Decision) string {
	b, _ := json.Marshal(d)
	return string(b)
}

func TestServerSaves(t *testing.T) {
	s := newTestServer(t)
	a, b := decided(1, Wrong), decided(2, Wrong)
	a.Who, a.When, b.When = "", "", "1999-01-01T00:00:00Z"
	if w := s.ask("GET", "decisions?after=0", ""); !strings.HasPrefix(w.Body.String(), `{"decisions":[],"count":0,`) {
		t.Errorf("an empty log is listed as %s", w.Body)
	}
	w := s.ask("POST", "decisions", posted(a, b))
	var answer struct{ Saved []Decision }
	if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil || w.Code != http.StatusOK || len(answer.Saved) != 2 {
		t.Fatalf("%d %s %v", w.Code, w.Body, err)
	}
	if d := answer.Saved[0]; d.Who != "office" || d.When != "2026-05-04T17:30:00+02:00" || answer.Saved[1].When != d.When || s.saved != 1 {
		t.Errorf("saved %+v", answer.Saved)
	}
	var l listing
	if err := json.Unmarshal(s.ask("GET", "decisions?after=1", "").Body.Bytes(), &l); err != nil || l.Count != 2 || len(l.Decisions) != 1 || l.Decisions[0].ID != b.ID {
		t.Errorf("listing %+v, %v", l, err)
	}
	if l.Who != "office" {
		t.Errorf("who is %q", l.Who)
	}
	// Asked again, as after an answer that was lost: saved, and once.
	if w := s.ask("POST", "decisions", posted(a)); w.Code != http.StatusOK || len(all(t, s.log)) != 2 {
		t.Errorf("%d, %d decisions", w.Code, len(all(t, s.log)))
	}
	for path, want := range map[string]string{"": testReport, "fasteners.csv": "file\r\n", "mend?lang=es": "mend es", "photo/" + strings.Repeat("ab", 32): "picture"} {
		if w := s.ask("GET", path, ""); w.Code != http.StatusOK || w.Body.String() != want {
			t.Errorf("%q: %d %q", path, w.Code, w.Body)
		} else if !strings.Contains(w.Header().Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%q: policy %q", path, w.Header().Get("Content-Security-Policy"))
		}
	}
	if len(s.refused) > 0 {
		t.Errorf("refused %q", s.refused)
	}
}

// Whoever is not the page gets nothing, is told of, and writes nothing.
func TestServerRefuses(t *testing.T) {
	s := newTestServer(t)
	good := posted(decided(1, Wrong))
	header := func(k, v string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(k, v) }
	}
	headers := func(pairs ...string) func(*http.Request) {
		return func(r *http.Request) {
			for i := 0; i < len(pairs); i += 2 {
				r.Header.Set(pairs[i], pairs[i+1])
			}
		}
	}
	path := func(p string) func(*http.Request) { return func(r *http.Request) { r.URL.Path = p } }
	stranger := decided(9, Wrong)
	for _, c := range []struct {
		name, method, path, body string
		status                   int
		change                   func(*http.Request)
	}{
		{"no token", "GET", "", "", 403, path("/")},
		{"no token, a decision", "POST", "", good, 403, path("/decisions")},
		{"another token", "POST", "", good, 403, path("/" + strings.Repeat("0", 32) + "/decisions")},
		{"part of the token", "GET", "", "", 403, path("/" + s.token[:31] + "/")},
		{"another host, as by a name that was bound anew", "GET", "", "", 403, func(r *http.Request) { r.Host = "evil.example:4567" }},
		{"another origin", "POST", "decisions", good, 403, header("Origin", "https://evil.example")},
		{"another port", "POST", "decisions", good, 403, header("Origin", "http://127.0.0.1:1")},
		{"an opaque origin", "POST", "decisions", good, 403, header("Origin", "null")},
		{"no origin", "POST", "decisions", good, 403, func(r *http.Request) { r.Header.Del("Origin") }},
		{"a form of another site", "POST", "decisions", good, 403, header("Sec-Fetch-Site", "cross-site")},
		{"a picture on another site", "GET", "", "", 403, header("Sec-Fetch-Site", "same-site")},
		{"a page of another site that frames it", "GET", "", "", 403, headers("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "iframe")},
		{"a script of another site", "GET", "", "", 403, headers("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors", "Sec-Fetch-Dest", "document")},
		{"a link of another site to the table", "GET", "fasteners.csv", "", 403, headers("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document")},
		{"a form of another site that opens the report", "POST", "", good, 403, headers("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document")},
		{"a form", "POST", "decisions", good, 415, header("Content-Type", "application/x-www-form-urlencoded")},
		{"another method", "DELETE", "decisions", "", 405, func(*http.Request) {}},
		{"a path that is none", "GET", "inspection.json", "", 404, func(*http.Request) {}},
		{"a path upwards", "GET", "../../../etc/passwd", "", 404, func(*http.Request) {}},
		{"a photo that is none", "GET", "photo/..%2f..%2fetc%2fpasswd", "", 404, func(*http.Request) {}},
		{"a long body", "POST", "decisions", "[" + strings.Repeat(" ", maxBody) + "]", 413, func(*http.Request) {}},
		{"no JSON", "POST", "decisions", "what=wrong", 422, func(*http.Request) {}},
		{"text behind the list", "POST", "decisions", good + "]", 422, func(*http.Request) {}},
		{"a second list", "POST", "decisions", good + good, 422, func(*http.Request) {}},
		{"an empty list", "POST", "decisions", "[]", 422, func(*http.Request) {}},
		{"a head that is none", "POST", "decisions", posted(stranger), 422, func(*http.Request) {}},
		{"an answer that is none", "POST", "decisions", posted(decided(1, "maybe")), 422, func(*http.Request) {}},
		{"one of two is wrong", "POST", "decisions", posted(decided(1, Wrong), stranger), 422, func(*http.Request) {}},
		{"an unknown field", "POST", "decisions", strings.Replace(good, `"who"`, `"where"`, 1), 422, func(*http.Request) {}},
	} {
		s.refused = nil
		w := s.ask(c.method, c.path, c.body, c.change)
		if w.Code != c.status {
			t.Errorf("%s: %d, want %d", c.name, w.Code, c.status)
		}
		if len(s.refused) != 1 || strings.Contains(s.refused[0], s.token) {
			t.Errorf("%s: told %q", c.name, s.refused)
		}
		if strings.Contains(w.Body.String(), s.token) || strings.Contains(w.Body.String(), "<html") {
			t.Errorf("%s: answered %q", c.name, w.Body)
		}
	}
	if _, err := os.Stat(filepath.Join(s.dir, FileName)); err == nil || s.saved > 0 {
		t.Error("something was written")
	}
}

// The report itself opens from the file that leads to it, which is of another site.
func TestServerOpensFromAFile(t *testing.T) {
	s := newTestServer(t)
	w := s.ask("GET", "", "", func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "cross-site")
		r.Header.Set("Sec-Fetch-Mode", "navigate")
		r.Header.Set("Sec-Fetch-Dest", "document")
	})
	if w.Code != 200 || w.Body.String() != testReport {
		t.Errorf("%d, %q", w.Code, w.Body)
	}
}

// When the disk takes nothing, the page hears so.
func TestServerCannotSave(t *testing.T) {
	s := newTestServer(t)
	s.log.write = func(*os.File, []byte) (int, error) { return 0, fmt.Errorf("no space left on device") }
	if w := s.ask("POST", "decisions", posted(decided(1, Wrong))); w.Code != http.StatusInsufficientStorage || s.saved > 0 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

func TestServerWantsAPolicy(t *testing.T) {
	meta := func(policy string) string {
		return `<html><meta http-equiv="Content-Security-Policy" content="` + strings.ReplaceAll(policy, "'", "&#39;") + `"/><script>old</script></html>`
	}
	const ours = "default-src 'none'; img-src data:; style-src 'sha256-ab+/='; script-src 'sha256-ab+/='; connect-src 'self'; base-uri 'none'; form-action 'none'"
	for _, c := range []struct {
		name, report string
		ok           bool
	}{
		{"ours", meta(ours), true},
		{"nothing but pictures", meta("default-src 'none'; img-src data:"), true},
		{"none", "<html><script>old</script></html>", false},
		{"an empty one", meta(""), false},
		{"everything", meta("default-src *"), false},
		{"any script", meta(ours + "; script-src 'unsafe-inline'"), false},
		{"a script from elsewhere", meta("default-src 'none'; script-src https://a.example"), false},
		{"two sources of scripts", meta("default-src 'none'; script-src 'sha256-ab' https://a.example"), false},
		{"any server", meta("default-src 'none'; connect-src *"), false},
		{"pictures from elsewhere", meta("default-src 'none'; img-src data: https://a.example"), false},
		{"a form", meta("default-src 'none'; form-action https://a.example"), false},
		{"another header behind it", meta("default-src 'none'\r\nX: y"), false},
		{"too late in the file", strings.Repeat(" ", 4096) + meta(ours), false},
	} {
		if _, err := NewServer(Options{Report: []byte(c.report)}); (err == nil) != c.ok || err != nil && !strings.Contains(err.Error(), "no content security policy of ours") {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// Whatever is answered, a browser gives it to no other page, keeps no copy and guesses
// no kind.
func TestServerHeaders(t *testing.T) {
	s := newTestServer(t)
	for path, status := range map[string]int{"": 200, "decisions": 200, "fasteners.csv": 200, "photo/" + strings.Repeat("ab", 32): 200, "nothing": 404} {
		w := s.ask("GET", path, "")
		if w.Code != status {
			t.Errorf("%q: status %d, want %d", path, w.Code, status)
		}
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store",
			"Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
		} {
			if got := w.Header().Get(name); got != want {
				t.Errorf("%q: %s is %q, want %q", path, name, got, want)
			}
		}
		if w.Header().Get("Content-Security-Policy") == "" {
			t.Errorf("%q: without a policy", path)
		}
	}
}

func TestTokens(t *testing.T) {
	a, b := newTestServer(t), newTestServer(t)
	if a.token == b.token || len(a.token) != 32 {
		t.Errorf("%s and %s", a.token, b.token)
	}
}

// Whatever a body holds, the answer is one of three and the log stays readable.
func FuzzBody(f *testing.F) {
	f.Add(posted(decided(1, Wrong)))
	f.Add(`[{"note":"<script>\u202e"}]`)
	f.Fuzz(func(t *testing.T, body string) {
		s := newTestServer(t)
		w := s.ask("POST", "decisions", body)
		n := len(all(t, s.log))
		switch w.Code {
		case http.StatusOK:
			if n == 0 {
				t.Error("said to be saved and is not there")
			}
		case http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
			if n > 0 {
				t.Error("refused, and yet there")
			}
		default:
			t.Errorf("answered %d", w.Code)
		}
		if len(s.log.Said()) > 0 {
			t.Errorf("the log says %q", s.log.Said())
		}
	})
}
