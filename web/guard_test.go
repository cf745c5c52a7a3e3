package web_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
	"evenstand/web"
)

// asked is an operation of the interface.
type asked struct{ id, method, path string }

// operations are all that the server's own description names, with x for what
// stands in braces.
func (s *served) operations(t *testing.T) []asked {
	t.Helper()
	var doc struct {
		Paths map[string]map[string]struct {
			OperationID string `json:"operationId"`
		}
	}
	if err := json.Unmarshal(s.get(t, "/api/v1/openapi.json", http.StatusOK), &doc); err != nil {
		t.Fatal(err)
	}
	var out []asked
	for _, p := range slices.Sorted(maps.Keys(doc.Paths)) {
		for _, m := range slices.Sorted(maps.Keys(doc.Paths[p])) {
			out = append(out, asked{doc.Paths[p][m].OperationID, strings.ToUpper(m), regexp.MustCompile(`\{[^}]*\}`).ReplaceAllString(p, "x")})
		}
	}
	if len(out) < 20 {
		t.Fatalf("the description names %d operations", len(out))
	}
	return out
}

func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

func from(remote string) func(*http.Request) {
	return func(r *http.Request) { r.RemoteAddr = remote }
}

func host(name string) func(*http.Request) { return func(r *http.Request) { r.Host = name } }

// detail is the sentence of an error reply, and fails when it is none.
func detail(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	var p struct {
		Status int
		Detail string
		Errors []any
	}
	if ct := w.Header().Get("Content-Type"); ct != "application/problem+json" {
		t.Errorf("%d comes as %q: %.200s", w.Code, ct, w.Body)
		return ""
	}
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || p.Status != w.Code || len(p.Errors) > 0 {
		t.Errorf("%d: %v, %s", w.Code, err, w.Body)
	}
	if !regexp.MustCompile(`^["A-Z].*[.?]$`).MatchString(p.Detail) {
		t.Errorf("%d: %q is no sentence", w.Code, p.Detail)
	}
	return p.Detail
}

// What comes from a page of elsewhere is refused: whatever changes something by
// its origin, and all of the interface when the browser says so.
func TestForeignOrigin(t *testing.T) {
	s := serve(t, emptyBook(t))
	for _, op := range s.operations(t) {
		refused := map[string][]func(*http.Request){
			"cross-site": {header("Sec-Fetch-Site", "cross-site")},
			"same-site":  {header("Sec-Fetch-Site", "same-site")}, // another port of this computer
			"origin":     {header("Origin", "http://evil.example")},
			"null":       {header("Origin", "null")},
			"other port": {header("Origin", "http://127.0.0.1:3000")},
			"other name": {header("Origin", "http://localhost:7423")},
			"encrypted":  {header("Origin", "https://127.0.0.1:7423")},
			"lies":       {header("Origin", "http://evil.example"), header("Sec-Fetch-Site", "same-origin")},
		}
		for name, change := range refused {
			w := s.ask(op.method, op.path, []byte("{}"), change...)
			if w.Code != http.StatusForbidden || !strings.Contains(detail(t, w), "Another site may not ask here") {
				t.Errorf("%s: %s %s: %d: %s", name, op.method, op.path, w.Code, w.Body)
			}
		}
		if op.id == "events" {
			continue // it does not end
		}
		for _, change := range [][]func(*http.Request){
			{},
			{header("Origin", "http://127.0.0.1:7423"), header("Sec-Fetch-Site", "same-origin")},
			{header("Origin", "http://127.0.0.1:7423")},
		} {
			if w := s.ask(op.method, op.path, []byte("{}"), change...); w.Code == http.StatusForbidden {
				t.Errorf("our own page: %s %s: %s", op.method, op.path, w.Body)
			}
		}
	}
	// A link from elsewhere may lead to the page.
	if w := s.ask(http.MethodGet, "/worklist", nil, header("Sec-Fetch-Site", "cross-site")); w.Code != http.StatusOK {
		t.Errorf("a link to the page: %d", w.Code)
	}
	if w := s.ask(http.MethodPost, "/worklist", nil, header("Sec-Fetch-Site", "cross-site")); w.Code != http.StatusForbidden {
		t.Errorf("a form of elsewhere: %d", w.Code)
	}
}

// A name of elsewhere that leads to this computer (DNS rebinding) is refused
// for everything.
func TestForeignHost(t *testing.T) {
	s := serve(t, emptyBook(t))
	all := append(s.operations(t), asked{"", http.MethodGet, "/"}, asked{"", http.MethodGet, "/assets/a.js"}, asked{"", http.MethodPost, "/pair"})
	for _, name := range []string{"evil.example", "evil.example:7423", "127.0.0.1.evil.example:7423", "localhost.evil.example", "10.1.2.3:7423", "[fe80::1]:7423", "0.0.0.0:7423", "localhost:7423@evil.example", ""} {
		for _, op := range all {
			w := s.ask(op.method, op.path, nil, host(name), header("Origin", "http://"+name))
			if w.Code != http.StatusMisdirectedRequest {
				t.Errorf("%s: %s %s: %d", name, op.method, op.path, w.Code)
			}
			detail(t, w)
		}
	}
	for _, name := range []string{"localhost", "LOCALHOST:7423", "127.0.0.1:1", "127.1.2.3", "[::1]:7423", "[::ffff:127.0.0.1]:7423"} {
		if w := s.ask(http.MethodGet, "/api/v1/book", nil, host(name)); w.Code != http.StatusOK {
			t.Errorf("%s: %d: %s", name, w.Code, w.Body)
		}
	}
}

// Nothing but the page's own files is served, and no listing.
func TestPagePaths(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"secret.txt": "hidden words", "page/index.html": "index", "page/assets/a.js": "script", "page/icon.svg": "icon"} {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := serve(t, emptyBook(t), func(o *web.Options) { o.Page = os.DirFS(filepath.Join(dir, "page")) })
	for _, path := range []string{
		"/../secret.txt", "/assets/../../secret.txt", "/%2e%2e/secret.txt", "/..%2fsecret.txt", "/assets/..%2f..%2fsecret.txt", "/..%5csecret.txt", `/..\secret.txt`,
		"/assets/%00../../secret.txt", "/secret.txt%00.js", "//secret.txt", "/.%2e/secret.txt", "/c:/secret.txt", "/assets/", "/assets", "/assets/.", "/%2e", "/",
		"/" + url.PathEscape(dir) + "/secret.txt", dir + "/secret.txt", "/" + strings.Repeat("a/", 5000), "/" + strings.Repeat("a", 20000) + ".js", "/api/../../secret.txt", "/api/v1/../../../secret.txt",
	} {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:7423/", nil)
		r.RemoteAddr = "127.0.0.1:50000"
		u, err := url.ParseRequestURI(path)
		if err != nil {
			continue // the server's library refuses it itself
		}
		r.URL.Path, r.URL.RawPath = u.Path, u.RawPath
		w := httptest.NewRecorder()
		s.h.ServeHTTP(w, r)
		body := w.Body.String()
		switch {
		case strings.Contains(body, "hidden words"), strings.Contains(body, "script"), strings.Contains(body, "icon"):
			t.Errorf("%.60s: %d: %.200s", path, w.Code, body)
		case w.Code == http.StatusOK && body != "index":
			t.Errorf("%.60s: 200: %.200s", path, body)
		case w.Code != http.StatusOK && w.Code != http.StatusNotFound && w.Code/100 != 3:
			t.Errorf("%.60s: %d: %.200s", path, w.Code, body)
		case w.Code/100 == 3 && strings.HasPrefix(w.Header().Get("Location"), "//"):
			t.Errorf("%.60s: leads to %s", path, w.Header().Get("Location"))
		}
		if len(body) > 2000 {
			t.Errorf("%.60s: %d bytes come back", path, len(body))
		}
	}
}

// Every answer says the same of what the page may do, errors too, and HEAD is
// answered as GET is.
func TestHeaders(t *testing.T) {
	paired := func(o *web.Options) { o.Hosts, o.Code = []string{"10.1.2.3:7423"}, "12345678" }
	s := serve(t, emptyBook(t), paired)
	type ask struct {
		method, path string
		status       int
		change       []func(*http.Request)
	}
	away := []func(*http.Request){from("10.1.2.9:4000"), host("10.1.2.3:7423")}
	asks := []ask{
		{"GET", "/", 200, nil},
		{"GET", "/assets/a.js", 200, nil},
		{"GET", "/no.js", 404, nil},
		{"GET", "/api/v1/book", 200, nil},
		{"GET", "/api/v1/openapi.json", 200, nil},
		{"GET", "/api/v1/nothing", 404, nil},
		{"GET", "/api/v1/findings/zzz", 404, nil},
		{"GET", "/api/v1/ribbon?pass=x&level=99", 422, nil},
		{"POST", "/api/v1/book", 405, nil},
		{"TRACE", "/", 405, nil},
		{"OPTIONS", "/api/v1/settle", 405, nil},
		{"GET", "/", 421, []func(*http.Request){host("evil.example")}},
		{"GET", "/api/v1/book", 403, []func(*http.Request){header("Sec-Fetch-Site", "cross-site")}},
		{"GET", "/", 401, away},
		{"GET", "/api/v1/book", 401, away},
		{"GET", "/screen/x", 410, away},
		{"PUT", "/api/v1/uploads/x/file?path=a", 404, nil},
		{"PUT", "/api/v1/uploads/x/file?path=../a", 422, nil},
	}
	for _, a := range asks {
		if a.method == "GET" {
			asks = append(asks, ask{"HEAD", a.path, a.status, a.change})
		}
	}
	for _, a := range append(asks, ask{"HEAD", "/api/v1/events", 200, nil}) {
		w := s.ask(a.method, a.path, nil, a.change...)
		if w.Code != a.status {
			t.Errorf("%s %s: %d, want %d: %.200s", a.method, a.path, w.Code, a.status, w.Body)
		}
		for name, want := range map[string]string{
			"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action '",
			"X-Content-Type-Options":  "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "Permissions-Policy": "camera=()",
		} {
			if got := w.Header().Get(name); !strings.HasPrefix(got, want) {
				t.Errorf("%s %s: %s is %q", a.method, a.path, name, got)
			}
		}
		if strings.HasPrefix(a.path, "/api/") || a.status >= 400 {
			if got := w.Header().Get("Cache-Control"); got != "no-store" {
				t.Errorf("%s %s: Cache-Control is %q", a.method, a.path, got)
			}
		}
		for _, name := range []string{"Access-Control-Allow-Origin", "Server", "X-Powered-By", "Location"} {
			if got := w.Header().Get(name); got != "" {
				t.Errorf("%s %s: %s is %q", a.method, a.path, name, got)
			}
		}
		if ct := w.Header().Get("Content-Type"); a.status >= 400 && a.method != "HEAD" && !strings.HasPrefix(ct, "text/html") {
			detail(t, w)
		}
	}
}

// What is wrong with a request is said in our words, with what to write.
func TestFaults(t *testing.T) {
	s := serve(t, emptyBook(t))
	jargon := regexp.MustCompile(`(?i)expected|valid|property|schema|RFC|unmarshal|parameter|query|null\b|EOF|entity|html`)
	for _, tt := range []struct {
		method, path, body string
		status             int
		want               string
	}{
		{"GET", "/ribbon?pass=x&level=99", "", 422, "Level: want at most 14, not 99."},
		{"GET", "/ribbon?pass=x&tile=-1", "", 422, "Tile: want at least 0, not -1."},
		{"GET", "/ribbon?pass=x&level=two", "", 422, "Level: want a whole number, not two."},
		{"GET", "/ribbon?pass=x&level=two&tile=-1", "", 422, "Level: want a whole number, not two. Tile: want at least 0, not -1."},
		{"GET", "/ribbon", "", 422, "Pass is missing: say which."},
		{"GET", "/worklist?all=perhaps", "", 422, "All: want true or false, not perhaps."},
		{"GET", "/rows?measure=colour", "", 422, ""},
		{"GET", "/pass?pass=x", "", 404, ""},
		{"GET", "/findings/x", "", 404, ""},
		{"POST", "/findings/x/decisions", `{"status":"gone"}`, 422, `Status: want one of "acted, set-aside, open", not gone.`},
		{"POST", "/findings/x/decisions", `{}`, 422, "Status is missing: say which."},
		{"POST", "/findings/x/decisions", `{"status":"open","colour":1}`, 422, "Colour is not known here: leave it out, or check its spelling."},
		{"POST", "/findings/x/decisions", ``, 400, "The request says nothing. Send what is wanted as JSON."},
		{"POST", "/findings/x/decisions", `{"status":`, 400, "The request is no JSON that can be read: unexpected end of JSON input. Check it and send it again."},
		{"POST", "/findings/x/decisions", `[]`, 422, "Want names and values in braces."},
		{"POST", "/findings/x/decisions", `{"status":1}`, 422, ""},
		{"POST", "/findings/x/decisions", `{"status":"open","note":"` + strings.Repeat("x", 2000) + `"}`, 422, ""},
		{"PATCH", "/settings", `{"units":"cubits"}`, 422, `Units: want one of "us, metric", not cubits.`},
		{"PATCH", "/settings", `{"zone":"Mars/Olympus"}`, 422, ""},
		{"PATCH", "/settings", strings.Repeat("x", 2<<20), 413, "That is more than can be taken at once. Send less."},
		{"DELETE", "/jobs/99", "", 404, "There is no such work."},
		{"POST", "/uploads/x/read", "", 404, "That upload is over. Drop the files again."},
		{"POST", "/screens", "", 422, ""},
		{"DELETE", "/book", "", 405, "DELETE is not for /api/v1/book: it takes GET, HEAD."},
		{"GET", "/nothing", "", 404, "There is nothing at /api/v1/nothing."},
	} {
		var body []byte
		if tt.body != "" {
			body = []byte(tt.body)
		}
		w := s.ask(tt.method, "/api/v1"+tt.path, body)
		got := detail(t, w)
		if w.Code != tt.status || tt.want != "" && got != tt.want {
			t.Errorf("%s %s %.40s: %d: %s\nwant %d: %s", tt.method, tt.path, tt.body, w.Code, got, tt.status, tt.want)
		}
		if m := jargon.FindString(strings.ReplaceAll(got, "unexpected end of JSON input", "")); m != "" {
			t.Errorf("%s %s: %q in %q", tt.method, tt.path, m, got)
		}
	}
	if w := s.ask("PATCH", "/api/v1/settings", []byte("units=us"), header("Content-Type", "application/x-www-form-urlencoded")); w.Code != http.StatusUnsupportedMediaType {
		t.Errorf("a form: %d: %s", w.Code, w.Body)
	} else {
		detail(t, w)
	}
}

const lan = "10.1.2.3:7423"

// listening is a server that other screens may ask.
func listening(t *testing.T) *served {
	t.Helper()
	return serve(t, emptyBook(t), func(o *web.Options) {
		o.Hosts, o.Code = []string{lan, "shed.local:7423"}, "12345678"
		o.Page = fstest.MapFS{
			"index.html": {Data: []byte("the page")}, "icon.svg": {Data: []byte("<svg/>")}, "assets/style-A1.css": {Data: []byte("b{}")},
			"assets/main-B2.js": {Data: []byte("1")}, "assets/face.woff2": {Data: []byte("face")},
		}
	})
}

// tablet asks from elsewhere, as a browser does.
func (s *served) tablet(addr, method, path, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+lan+path, strings.NewReader(body))
	r.RemoteAddr = addr + ":40000"
	if method != http.MethodGet && method != http.MethodHead {
		r.Header.Set("Origin", "http://"+lan)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if strings.HasPrefix(path, "/api/") {
			r.Header.Set("Content-Type", "application/json")
		}
	}
	for _, f := range change {
		f(r)
	}
	w := httptest.NewRecorder()
	s.h.ServeHTTP(w, r)
	return w
}

func cookieOf(t *testing.T, w *httptest.ResponseRecorder) func(*http.Request) {
	t.Helper()
	cs := w.Result().Cookies()
	if len(cs) != 1 {
		t.Fatalf("%d: %d cookies: %s", w.Code, len(cs), w.Body)
	}
	c := cs[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" {
		t.Errorf("the cookie is %s", c)
	}
	return func(r *http.Request) { r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value}) }
}

func TestPairing(t *testing.T) {
	s := listening(t)
	// Not paired: the page that asks for the code, its style sheet, face and
	// icon; nothing else.
	w := s.tablet("10.1.2.9", "GET", "/worklist", "")
	page := w.Body.String()
	if w.Code != http.StatusUnauthorized || !strings.Contains(page, `href="/assets/style-A1.css"`) || !strings.Contains(page, `href="/icon.svg"`) || strings.Contains(page, "the page") {
		t.Errorf("%d: %s", w.Code, page)
	}
	if csp := w.Header().Get("Content-Security-Policy"); !strings.Contains(csp, "form-action 'self'") {
		t.Errorf("the form may not be sent: %s", csp)
	}
	for _, p := range []string{"/assets/style-A1.css", "/icon.svg", "/assets/face.woff2"} {
		if w := s.tablet("10.1.2.9", "GET", p, ""); w.Code != http.StatusOK {
			t.Errorf("%s: %d", p, w.Code)
		}
	}
	for _, op := range append(s.operations(t), asked{"", "GET", "/assets/main-B2.js"}, asked{"", "GET", "/"}, asked{"", "POST", "/assets/style-A1.css"}) {
		if w := s.tablet("10.1.2.9", op.method, op.path, "{}"); w.Code != http.StatusUnauthorized || strings.Contains(w.Body.String(), "spring") {
			t.Errorf("not paired: %s %s: %d: %s", op.method, op.path, w.Code, w.Body)
		}
	}
	// A page of elsewhere may not try codes through this browser.
	if w := s.tablet("10.1.2.9", "POST", "/pair", "code=12345678", header("Origin", "http://evil.example"), header("Sec-Fetch-Site", "cross-site")); w.Code != http.StatusForbidden || len(w.Result().Cookies()) > 0 {
		t.Errorf("a foreign page pairs: %d", w.Code)
	}
	if w := s.tablet("10.1.2.9", "POST", "/pair", "code=00000000"); w.Code != http.StatusUnauthorized || !strings.Contains(w.Body.String(), "That is not the code") || !strings.Contains(w.Body.String(), "<form") {
		t.Errorf("a wrong code: %d: %s", w.Code, w.Body)
	}
	w = s.tablet("10.1.2.9", "POST", "/pair", "code=1234+56-78")
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/" {
		t.Fatalf("the right code: %d: %s", w.Code, w.Body)
	}
	paired := cookieOf(t, w)
	if w := s.tablet("10.1.2.9", "GET", "/api/v1/book", "", paired); w.Code != http.StatusOK || !bytes.Contains(w.Body.Bytes(), []byte(`"read_only":false`)) {
		t.Errorf("paired: %d: %s", w.Code, w.Body)
	}
	if w := s.tablet("10.1.2.9", "PATCH", "/api/v1/settings", `{"units":"metric"}`, paired); w.Code != http.StatusOK {
		t.Errorf("paired, changing: %d: %s", w.Code, w.Body)
	}
	if w := s.tablet("10.1.2.9", "PATCH", "/api/v1/settings", `{"units":"us"}`, paired, header("Origin", "http://evil.example"), header("Sec-Fetch-Site", "cross-site")); w.Code != http.StatusForbidden {
		t.Errorf("paired, a foreign page: %d", w.Code)
	}
	// A cookie that was made up, changed, or is of another start.
	other := listening(t)
	for _, value := range []string{"all", "all.", "all.AAAA", "look.x", ""} {
		forged := func(r *http.Request) { r.AddCookie(&http.Cookie{Name: "evenstand7423", Value: value}) }
		if w := s.tablet("10.1.2.9", "GET", "/api/v1/book", "", forged); w.Code != http.StatusUnauthorized {
			t.Errorf("cookie %q: %d", value, w.Code)
		}
	}
	if w := other.tablet("10.1.2.9", "GET", "/api/v1/book", "", paired); w.Code != http.StatusUnauthorized {
		t.Errorf("the cookie of another start: %d", w.Code)
	}
	// This computer needs no code; a server for it alone has none.
	if w := s.ask("GET", "/api/v1/book", nil); w.Code != http.StatusOK {
		t.Errorf("this computer: %d", w.Code)
	}
	if _, err := web.New(web.Options{Book: emptyBook(t), Hosts: []string{lan}}); err == nil {
		t.Error("other names without a code")
	}
}

// Wrong codes are limited for who gives them; the owner still gets in.
func TestWrongCodes(t *testing.T) {
	s := listening(t)
	limited := 0
	for i := range 300 {
		w := s.tablet("10.1.2.66", "POST", "/pair", fmt.Sprintf("code=%08d", i))
		switch {
		case w.Code == http.StatusTooManyRequests:
			limited++
			if w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), "Wait a minute") {
				t.Fatalf("%v %s", w.Header(), w.Body)
			}
		case w.Code != http.StatusUnauthorized:
			t.Fatalf("%d", w.Code)
		}
	}
	if limited != 295 {
		t.Errorf("%d of 300 wrong codes were not looked at, want 295", limited)
	}
	if w := s.tablet("10.1.2.66", "POST", "/pair", "code=12345678"); w.Code != http.StatusTooManyRequests {
		t.Errorf("the guesser gets in after all: %d", w.Code)
	}
	if w := s.tablet("10.1.2.9", "POST", "/pair", "code=12345678"); w.Code != http.StatusSeeOther {
		t.Errorf("the owner does not get in: %d: %s", w.Code, w.Body)
	}
	// A network of version 6 counts as one.
	limited = 0
	for i := range 20 {
		w := s.tablet(fmt.Sprintf("[2001:db8::%x]", i+1), "POST", "/pair", "code=1")
		if w.Code == http.StatusTooManyRequests {
			limited++
		}
	}
	if limited != 15 {
		t.Errorf("%d of 20 wrong codes of one network were not looked at, want 15", limited)
	}
	// Very many addresses together are limited too, and then a link lets in.
	looked := 0
	for i := range 1000 {
		if w := s.tablet(fmt.Sprintf("10.9.%d.%d", i/200, i%200+1), "POST", "/pair", "code=1"); w.Code == http.StatusUnauthorized {
			looked++
		}
	}
	if looked > 60 {
		t.Errorf("%d wrong codes of many addresses were looked at", looked)
	}
	token := path(s.ScreenLinks()[0])
	if w := s.tablet("10.1.2.10", "POST", token, ""); w.Code != http.StatusSeeOther {
		t.Errorf("a link: %d", w.Code)
	}
}

func path(link string) string {
	u, err := url.Parse(link)
	if err != nil {
		return err.Error()
	}
	return u.Path
}

// A link lets one browser look, once.
func TestLookOnly(t *testing.T) {
	s := listening(t)
	var made struct {
		Links []string
		Says  string
	}
	w := s.ask("POST", "/api/v1/screens", nil)
	if err := json.Unmarshal(w.Body.Bytes(), &made); err != nil || w.Code != http.StatusOK || len(made.Links) != 2 || !strings.HasSuffix(made.Says, ".") {
		t.Fatalf("%d: %v: %s", w.Code, err, w.Body)
	}
	if !strings.HasPrefix(made.Links[0], "http://"+lan+"/screen/") || !strings.HasPrefix(made.Links[1], "http://shed.local:7423/screen/") {
		t.Errorf("links %q", made.Links)
	}
	link := path(made.Links[0])
	for range 3 { // looking where it leads does not use it up
		if w := s.tablet("10.1.2.9", "GET", link, ""); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "<button") || len(w.Result().Cookies()) > 0 {
			t.Fatalf("%d: %s", w.Code, w.Body)
		}
	}
	if w := s.tablet("10.1.2.9", "POST", link, "", header("Origin", "http://evil.example"), header("Sec-Fetch-Site", "cross-site")); w.Code != http.StatusForbidden {
		t.Errorf("a foreign page uses it: %d", w.Code)
	}
	w = s.tablet("10.1.2.9", "POST", link, "")
	if w.Code != http.StatusSeeOther {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	look := cookieOf(t, w)
	for _, p := range []string{link, path(made.Links[1]), "/screen/", "/screen/x"} {
		for _, m := range []string{"GET", "POST"} {
			if w := s.tablet("10.1.2.10", m, p, ""); w.Code != http.StatusGone || len(w.Result().Cookies()) > 0 {
				t.Errorf("%s %s again: %d", m, p, w.Code)
			}
		}
	}
	for _, op := range s.operations(t) {
		if op.id == "events" {
			continue
		}
		w := s.tablet("10.1.2.9", op.method, op.path, "{}", look)
		switch {
		case op.method != "GET" && (w.Code != http.StatusForbidden || detail(t, w) != "This screen may only look. Do it where the logbook is open."):
			t.Errorf("looking only: %s %s: %d: %s", op.method, op.path, w.Code, w.Body)
		case op.method == "GET" && (w.Code == http.StatusForbidden || w.Code == http.StatusUnauthorized):
			t.Errorf("looking only: %s %s: %d: %s", op.method, op.path, w.Code, w.Body)
		}
	}
	if w := s.tablet("10.1.2.9", "GET", "/api/v1/book", "", look); !bytes.Contains(w.Body.Bytes(), []byte(`"read_only":true`)) {
		t.Errorf("the book does not say so: %s", w.Body)
	}
	if w := s.tablet("10.1.2.9", "GET", "/", "", look); w.Body.String() != "the page" {
		t.Errorf("the page: %d: %s", w.Code, w.Body)
	}
	// The code makes it a screen that may do all.
	all := cookieOf(t, s.tablet("10.1.2.9", "POST", "/pair", "code=12345678", look))
	if w := s.tablet("10.1.2.9", "PATCH", "/api/v1/settings", `{"units":"us"}`, all); w.Code != http.StatusOK {
		t.Errorf("with the code: %d", w.Code)
	}
	// On this computer a link changes nothing.
	if w := s.ask("GET", path(s.ScreenLinks()[0]), nil); w.Code != http.StatusSeeOther || len(w.Result().Cookies()) > 0 {
		t.Errorf("this computer: %d", w.Code)
	}
	// Of very many links the oldest go.
	first := path(s.ScreenLinks()[0])
	for range 100 {
		s.ScreenLinks()
		time.Sleep(time.Microsecond)
	}
	if w := s.tablet("10.1.2.10", "POST", first, ""); w.Code != http.StatusGone {
		t.Errorf("an old link: %d", w.Code)
	}
}

// brokenPage is a page with a file that cannot be served without a fault.
type brokenPage struct{ fstest.MapFS }

func (b brokenPage) Stat(name string) (fs.FileInfo, error) {
	if name == "boom" {
		panic("boom")
	}
	return b.MapFS.Stat(name)
}

// Faults of the program itself are told, and the program goes on.
func TestOwnFaults(t *testing.T) {
	b := emptyBook(t)
	bang := true
	s := serve(t, b, func(o *web.Options) {
		o.Page = brokenPage{fstest.MapFS{"index.html": {Data: []byte("the page")}}}
		o.Formats = func() ([]evenstand.Format, error) {
			if bang {
				bang = false
				panic("bang")
			}
			return nil, nil
		}
	})
	if w := s.ask("GET", "/boom", nil); w.Code != http.StatusInternalServerError || !strings.HasPrefix(detail(t, w), "This program has a fault here: boom. ") {
		t.Errorf("%d: %s", w.Code, w.Body)
	}
	var j web.Job
	if err := json.Unmarshal(s.ask("POST", "/api/v1/settle", nil).Body.Bytes(), &j); err != nil {
		t.Fatal(err)
	}
	if j = s.job(t, j.ID); j.State != "failed" || !strings.HasPrefix(j.Error, "This program has a fault here: bang. ") {
		t.Errorf("%+v", j)
	}
	s.get(t, "/api/v1/book", http.StatusOK)
	sound(t, b)
}

// Asking again and again for what waits to be done does not pile it up.
func TestSettleOnce(t *testing.T) {
	hold := make(chan struct{})
	s := serve(t, emptyBook(t), func(o *web.Options) {
		o.Formats = func() ([]evenstand.Format, error) { <-hold; return nil, nil }
	})
	ids := map[string]bool{}
	for range 100 {
		var j web.Job
		if err := json.Unmarshal(s.ask("POST", "/api/v1/settle", nil).Body.Bytes(), &j); err != nil {
			t.Fatal(err)
		}
		ids[j.ID] = true
	}
	close(hold)
	if len(ids) > 2 {
		t.Errorf("%d pieces of work", len(ids))
	}
}
