package review

import (
	"bytes"
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"coursegauge/report/inspection"
)

// maxBody bounds what a request may carry: a group of heads decided at once,
// each with a long note.
const maxBody = 256 << 10

// Server shows one report to one browser on this machine and takes decisions
// from it. Its address holds a secret, and it answers nobody who does not name
// that, who reached it by another name, or whose page came from elsewhere.
type Server struct {
	host, token string
	report      []byte
	policy      string
	known       Known
	log         *Log
	o           Options
}

// Options are what a server is made of.
type Options struct {
	Host     string // as in 127.0.0.1:40123
	Report   []byte // the HTML report
	Document inspection.Document
	Log      *Log
	Who      string // who decides, unless the page names somebody else
	Tool     string // version
	// Photo opens the full-size photo of that SHA-256; nil or an error when it is not here.
	Photo func(sha string) (name string, data []byte, err error)
	// CSV and Mend make the documents that follow the decisions.
	CSV  func(w io.Writer) error
	Mend func(w io.Writer, language string) error
	// Saved is called after decisions were saved; Refused tells of a request that was not answered.
	Saved   func()
	Refused func(line string)
	Now     func() time.Time
}

var policyTag = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy" content="([^"]*)"`)

// ourPolicy is all that a report of ours asks for. One from elsewhere is served
// under its own policy, so that must not ask for more.
var ourPolicy = regexp.MustCompile(`^default-src 'none'(; (img-src data:|style-src 'sha256-[A-Za-z0-9+/=]+'|script-src 'sha256-[A-Za-z0-9+/=]+'|connect-src 'self'|base-uri 'none'|form-action 'none'))*$`)

// NewServer makes a server with a fresh secret.
func NewServer(o Options) (*Server, error) {
	var b [16]byte
	rand.Read(b[:])
	tag := policyTag.FindSubmatch(o.Report[:min(len(o.Report), 4096)])
	if tag == nil {
		return nil, errors.New("the report has no content security policy of ours")
	}
	policy := html.UnescapeString(string(tag[1]))
	if !ourPolicy.MatchString(policy) {
		return nil, errors.New("the report has no content security policy of ours")
	}
	return &Server{
		host: o.Host, token: hex.EncodeToString(b[:]), report: o.Report, known: NewKnown(o.Document), log: o.Log, o: o,
		policy: policy + "; frame-ancestors 'none'",
	}, nil
}

// URL is the address to open.
func (s *Server) URL() string { return "http://" + s.host + s.Path() }

// Path is the path of the report in that address.
func (s *Server) Path() string { return "/" + s.token + "/" }

// ServeHTTP answers a request or refuses it.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	path, status, why := s.admit(r)
	if status != 0 {
		s.refuse(w, r, status, why)
		return
	}
	route := r.Method + " " + path
	sha, isPhoto := strings.CutPrefix(route, "GET photo/")
	switch {
	case route == "GET ":
		s.serveReport(w)
	case route == "GET decisions":
		s.list(w, r)
	case route == "POST decisions":
		s.take(w, r)
	case route == "GET fasteners.csv":
		s.document(w, r, "text/csv; charset=utf-8", s.o.CSV)
	case route == "GET mend":
		s.mend(w, r)
	case isPhoto:
		s.photo(w, r, sha)
	default:
		s.refuse(w, r, http.StatusNotFound, "no such path")
	}
}

// admit gives the path behind the secret, or the status and the reason to
// refuse with.
func (s *Server) admit(r *http.Request) (path string, status int, why string) {
	if r.Host != s.host {
		return "", http.StatusForbidden, "asked for as another host"
	}
	token, path, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	if subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) != 1 {
		return "", http.StatusForbidden, "without the token"
	}
	if o := r.Header.Get("Origin"); o != "" && o != "http://"+s.host {
		return "", http.StatusForbidden, "from another origin"
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "none", "same-origin":
	default:
		if path != "" || !opens(r) {
			return "", http.StatusForbidden, "from another site"
		}
	}
	if r.Method == http.MethodPost {
		if r.Header.Get("Origin") == "" {
			return "", http.StatusForbidden, "without an origin"
		}
		if r.Header.Get("Content-Type") != "application/json" {
			return "", http.StatusUnsupportedMediaType, "of another type than application/json"
		}
	} else if r.Method != http.MethodGet {
		return "", http.StatusMethodNotAllowed, "method"
	}
	return path, 0, ""
}

// opens tells whether a browser opens the page in a tab of its own, as from the
// file that leads here: no other site can read or frame it.
func opens(r *http.Request) bool {
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

// refuse answers with a status and one line, and tells of it without the token.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, status int, why string) {
	path := strings.ReplaceAll(r.URL.Path, s.token, "…")
	s.o.Refused(fmt.Sprintf("refused %.10q %.80q: %s", r.Method, path, why))
	http.Error(w, why, status)
}

func (s *Server) serveReport(w http.ResponseWriter) {
	w.Header().Set("Content-Security-Policy", s.policy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(s.report)
}

// listing is what the page asks for again and again: the decisions after the
// first `after` ones.
type listing struct {
	Decisions []Decision `json:"decisions"`
	Count     int        `json:"count"` // of all
	Who       string     `json:"who"`
	Said      []string   `json:"said,omitempty"`
}

func (s *Server) list(w http.ResponseWriter, r *http.Request) {
	after, err := strconv.Atoi(r.URL.Query().Get("after"))
	if err != nil || after < 0 {
		after = 0
	}
	all, err := s.log.All()
	if err != nil {
		s.refuse(w, r, http.StatusInternalServerError, err.Error())
		return
	}
	fresh := append([]Decision{}, all[min(after, len(all)):]...) // a list also when there is none
	answerJSON(w, http.StatusOK, listing{fresh, len(all), s.o.Who, s.log.Said()})
}

// take saves decisions and answers when they are on the disk.
func (s *Server) take(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		s.refuse(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("a body of over %d bytes, or cut off", maxBody))
		return
	}
	decisions, err := s.decisions(body)
	if err != nil {
		s.refuse(w, r, http.StatusUnprocessableEntity, err.Error())
		return
	}
	if err := s.log.Append(decisions...); err != nil {
		s.refuse(w, r, http.StatusInsufficientStorage, err.Error())
		return
	}
	s.o.Saved()
	answerJSON(w, http.StatusOK, map[string]any{"saved": decisions})
}

// decisions reads a body and puts the server's time and version on each.
func (s *Server) decisions(body []byte) (out []Decision, err error) {
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&out); err != nil {
		return nil, errors.New("no list of decisions")
	}
	if _, err := dec.Token(); len(out) == 0 || !errors.Is(err, io.EOF) {
		return nil, errors.New("no list of decisions")
	}
	for i := range out {
		d := &out[i]
		d.Format, d.Tool, d.When = Format, s.o.Tool, s.o.Now().Format(time.RFC3339Nano)
		if strings.TrimSpace(d.Who) == "" {
			d.Who = s.o.Who
		}
		if err := d.check(); err != nil {
			return nil, err
		}
		if err := s.known.Check(*d); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (s *Server) mend(w http.ResponseWriter, r *http.Request) {
	language := r.URL.Query().Get("lang")
	s.document(w, r, "text/html; charset=utf-8", func(w io.Writer) error { return s.o.Mend(w, language) })
}

// document makes a document in memory, so that a failure is no half of it.
func (s *Server) document(w http.ResponseWriter, r *http.Request, kind string, make func(io.Writer) error) {
	var b bytes.Buffer
	if make == nil {
		s.refuse(w, r, http.StatusNotFound, "no such path")
		return
	}
	if err := make(&b); err != nil {
		s.refuse(w, r, http.StatusInternalServerError, err.Error())
		return
	}
	if tag := policyTag.FindSubmatch(b.Bytes()[:min(b.Len(), 4096)]); tag != nil {
		w.Header().Set("Content-Security-Policy", html.UnescapeString(string(tag[1])))
	}
	w.Header().Set("Content-Type", kind)
	w.Write(b.Bytes())
}

// photo shows a full-size photo of the inspection; nothing else can be asked for.
func (s *Server) photo(w http.ResponseWriter, r *http.Request, sha string) {
	p, ok := s.known.photos[sha]
	if !ok || s.o.Photo == nil {
		s.refuse(w, r, http.StatusNotFound, "no such photo")
		return
	}
	name, data, err := s.o.Photo(p.SHA256)
	if err != nil {
		s.refuse(w, r, http.StatusNotFound, err.Error())
		return
	}
	kind := "image/jpeg"
	if strings.HasSuffix(strings.ToLower(name), ".png") {
		kind = "image/png"
	}
	w.Header().Set("Content-Type", kind)
	w.Write(data)
}

func answerJSON(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(v)
}
