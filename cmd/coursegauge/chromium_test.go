package main

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// browser is a headless Chromium that is spoken to over a pair of pipes, as
// its option --remote-debugging-pipe offers: JSON messages, each ended by a NUL
// (the protocol's own documentation calls the messages "commands" and "events").
type browser struct {
	t       *testing.T
	to      io.Writer
	from    *bufio.Reader
	last    int
	session string
	faults  []string // errors of the page's console, exceptions, blocked loads
	loaded  bool
	home    string // requests to addresses that begin so are no fault
}

// browserMessage is a command's answer or an event.
type browserMessage struct {
	ID     int
	Method string
	Params json.RawMessage
	Result json.RawMessage
	Error  *struct{ Message string }
}

// startBrowser skips the test when there is no Chromium.
func startBrowser(t *testing.T) *browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no chromium here, the page is not looked at; apt-get install chromium")
	}
	in, toBrowser, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	fromBrowser, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(path, "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-quic",
		"--disable-background-networking", "--disable-component-update", "--no-first-run", "--hide-scrollbars",
		"--user-data-dir="+t.TempDir(), "--window-size=1280,900", "--remote-debugging-pipe", "about:blank")
	c.ExtraFiles = []*os.File{in, out} // file descriptors 3 and 4 over there
	var stderr bytes.Buffer
	c.Stderr = &stderr
	if err := c.Start(); err != nil {
		t.Skipf("chromium does not start, the page is not looked at: %v", err)
	}
	in.Close()
	out.Close()
	if err := fromBrowser.SetReadDeadline(time.Now().Add(2 * time.Minute)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
		toBrowser.Close()
		fromBrowser.Close()
		if t.Failed() {
			t.Logf("chromium said: %.2000s", stderr.String())
		}
	})
	b := &browser{t: t, to: toBrowser, from: bufio.NewReader(fromBrowser)}
	var target struct{ TargetID string }
	b.call("Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	var session struct{ SessionID string }
	b.call("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &session)
	b.session = session.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		b.call(domain+".enable", nil, nil)
	}
	return b
}

// call sends a command and waits for its answer; events on the way are noted.
func (b *browser) call(method string, params, result any) {
	b.t.Helper()
	b.last++
	message := map[string]any{"id": b.last, "method": method}
	if params != nil {
		message["params"] = params
	}
	if b.session != "" {
		message["sessionId"] = b.session
	}
	data, err := json.Marshal(message)
	if err != nil {
		b.t.Fatal(err)
	}
	if _, err := b.to.Write(append(data, 0)); err != nil {
		b.t.Fatalf("chromium: %s: %v", method, err)
	}
	for {
		m := b.next()
		if m.ID != b.last {
			b.note(m)
			continue
		}
		if m.Error != nil {
			b.t.Fatalf("chromium: %s: %s", method, m.Error.Message)
		}
		if result != nil {
			if err := json.Unmarshal(m.Result, result); err != nil {
				b.t.Fatalf("chromium: %s: %v in %.200s", method, err, m.Result)
			}
		}
		return
	}
}

func (b *browser) next() browserMessage {
	b.t.Helper()
	data, err := b.from.ReadBytes(0)
	if err != nil {
		b.t.Fatalf("chromium went silent: %v", err)
	}
	var m browserMessage
	if err := json.Unmarshal(bytes.TrimSuffix(data, []byte{0}), &m); err != nil {
		b.t.Fatalf("chromium: %v in %.200s", err, data)
	}
	return m
}

// note keeps what a person would see as red lines in the console, and any try
// to reach the network.
func (b *browser) note(m browserMessage) {
	switch m.Method {
	case "Page.loadEventFired":
		b.loaded = true
	case "Runtime.exceptionThrown":
		b.faults = append(b.faults, fmt.Sprintf("exception: %.500s", m.Params))
	case "Log.entryAdded":
		var p struct {
			Entry struct{ Level, Text, URL string }
		}
		if json.Unmarshal(m.Params, &p) == nil && (p.Entry.Level == "error" || p.Entry.Level == "warning") {
			b.faults = append(b.faults, p.Entry.Level+": "+p.Entry.Text+" "+p.Entry.URL)
		}
	case "Runtime.consoleAPICalled":
		var p struct{ Type string }
		if json.Unmarshal(m.Params, &p) == nil && (p.Type == "error" || p.Type == "warning" || p.Type == "assert") {
			b.faults = append(b.faults, fmt.Sprintf("console: %.500s", m.Params))
		}
	case "Network.requestWillBeSent":
		var p struct{ Request struct{ URL string } }
		if json.Unmarshal(m.Params, &p) == nil && !strings.HasPrefix(p.Request.URL, "file:") && !strings.HasPrefix(p.Request.URL, "data:") && p.Request.URL != "about:blank" &&
			!strings.HasPrefix(p.Request.URL, "blob:") && (b.home == "" || !strings.HasPrefix(p.Request.URL, b.home)) {
			b.faults = append(b.faults, "reaches out to "+p.Request.URL)
		}
	}
}

// open loads a page and waits until all of it is there.
func (b *browser) open(url string) {
	b.t.Helper()
	b.loaded = false
	var nav struct{ ErrorText string }
	b.call("Page.navigate", map[string]any{"url": url}, &nav)
	if nav.ErrorText != "" {
		b.t.Fatalf("chromium: %s: %s", url, nav.ErrorText)
	}
	for !b.loaded {
		b.note(b.next())
	}
}

// eval runs an expression in the page and takes its value in.
func (b *browser) eval(expression string, value any) {
	b.t.Helper()
	var r struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails json.RawMessage
	}
	b.call("Runtime.evaluate", map[string]any{"expression": expression, "returnByValue": true, "awaitPromise": true}, &r)
	if len(r.ExceptionDetails) > 0 {
		b.t.Fatalf("chromium: %.500s", r.ExceptionDetails)
	}
	if err := json.Unmarshal(r.Result.Value, value); err != nil {
		b.t.Fatalf("chromium: %v in %.200s", err, r.Result.Value)
	}
}

// screenshot gives the page as PNG.
func (b *browser) screenshot() []byte {
	b.t.Helper()
	var shot struct{ Data string }
	b.call("Page.captureScreenshot", map[string]any{"format": "png"}, &shot)
	data, err := base64.StdEncoding.DecodeString(shot.Data)
	if err != nil {
		b.t.Fatal(err)
	}
	return data
}

// until waits for an expression to come true.
func (b *browser) until(what, expression string) {
	b.t.Helper()
	var ok bool
	b.eval(`new Promise(done => {
		const end = performance.now() + 20000;
		const look = () => { if (`+expression+`) done(true); else if (performance.now() > end) done(false); else setTimeout(look, 10); };
		look();
	})`, &ok)
	if !ok {
		var said string
		b.eval(`document.querySelector("#desk")?.innerText || document.body.innerText.slice(0, 300)`, &said)
		b.t.Fatalf("waited 20 s for %s; the page says %q; %q", what, said, b.faults)
	}
}

// press types keys one after the other, as a person does: "w", "Enter", "ArrowLeft".
func (b *browser) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		down := map[string]any{"type": "keyDown", "key": k, "windowsVirtualKeyCode": map[string]int{"Escape": 27}[k]}
		if len([]rune(k)) == 1 {
			down["text"] = k
		}
		b.call("Input.dispatchKeyEvent", down, nil)
		b.call("Input.dispatchKeyEvent", map[string]any{"type": "keyUp", "key": k}, nil)
	}
}

// look sets the size of the page and what it is shown on.
func (b *browser) look(width, height int, media, scheme string) {
	b.t.Helper()
	b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}, nil)
	b.call("Emulation.setEmulatedMedia", map[string]any{"media": media, "features": []map[string]string{{"name": "prefers-color-scheme", "value": scheme}}}, nil)
}

// pdf prints the page on paper of so many inches.
func (b *browser) pdf(width, height float64) []byte {
	b.t.Helper()
	var p struct{ Data string }
	b.call("Page.printToPDF", map[string]any{"paperWidth": width, "paperHeight": height, "preferCSSPageSize": false, "printBackground": true}, &p)
	data, err := base64.StdEncoding.DecodeString(p.Data)
	if err != nil {
		b.t.Fatal(err)
	}
	return data
}
