package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"
)

// guard lets through only what may come: from the names of this server, from
// its own page, and from elsewhere only with the pairing code.
//
// A foreign page that resolves its own name to 127.0.0.1 (DNS rebinding) comes
// with a foreign Host and is refused. A foreign page that posts to us comes with
// a foreign Origin and is refused (http.CrossOriginProtection, by Sec-Fetch-Site
// and Origin). What a page of ours may load, and where from, says the policy.
type guard struct {
	hosts  []string
	code   string
	key    [32]byte // of the pairing cookies; new with every start
	origin *http.CrossOriginProtection

	mu    sync.Mutex
	tries int       // wrong codes since the last right one
	until time.Time // when the next may be tried
}

// cookie holds that a browser is paired: what it may do, signed.
const cookie = "evenstand"

// Ways a browser may be paired.
const (
	mayAll  = "all"
	mayLook = "look"
)

func newGuard(opt Options) (*guard, error) {
	g := &guard{hosts: opt.Hosts, code: opt.Code, origin: http.NewCrossOriginProtection()}
	_, err := rand.Read(g.key[:])
	return g, err
}

// policy is the Content-Security-Policy of the page: everything from here,
// nothing inline; images also as data and blobs, which the map draws; workers
// from here.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (g *guard) wrap(next http.Handler) http.Handler {
	own := g.origin.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(self), payment=(), usb=()")
		if !g.known(r.Host) {
			problem(w, http.StatusMisdirectedRequest, "This server is not "+printable(r.Host)+". Open the address that evenstand printed.")
			return
		}
		if strings.HasPrefix(r.URL.Path, "/api/") {
			h.Set("Cache-Control", "no-store")
		}
		if site := r.Header.Get("Sec-Fetch-Site"); site == "cross-site" && strings.HasPrefix(r.URL.Path, "/api/") {
			problem(w, http.StatusForbidden, "Another site may not ask here.")
			return
		}
		if g.code != "" && !loopback(r.RemoteAddr) {
			if !g.paired(w, r) {
				return
			}
		}
		if err := g.origin.Check(r); err != nil {
			problem(w, http.StatusForbidden, "Another site may not ask here.")
			return
		}
		own.ServeHTTP(w, r)
	})
}

// known tells whether the server goes by the name that it was asked under.
func (g *guard) known(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.Trim(name, "[]")
	if name == "localhost" {
		return true
	}
	if ip, err := netip.ParseAddr(name); err == nil && ip.IsLoopback() {
		return true
	}
	return slices.Contains(g.hosts, host) || slices.Contains(g.hosts, name)
}

func loopback(remote string) bool {
	a, err := netip.ParseAddrPort(remote)
	return err == nil && a.Addr().Unmap().IsLoopback()
}

// paired lets a browser elsewhere in that has given the code, takes the code,
// and else shows where to type it.
func (g *guard) paired(w http.ResponseWriter, r *http.Request) bool {
	if c, err := r.Cookie(cookie); err == nil {
		switch g.may(c.Value) {
		case mayAll:
			return true
		case mayLook:
			if r.Method == http.MethodGet || r.Method == http.MethodHead {
				return true
			}
			problem(w, http.StatusForbidden, "This screen may only look. Do it where the logbook is open.")
			return false
		}
	}
	if r.URL.Path == "/pair" && r.Method == http.MethodPost {
		g.pair(w, r)
		return false
	}
	if strings.HasPrefix(r.URL.Path, "/api/") {
		problem(w, http.StatusUnauthorized, "This browser is not paired. Reload the page and type the code that evenstand shows.")
		return false
	}
	w.Header().Set("Content-Security-Policy", strings.Replace(policy, "form-action 'none'", "form-action 'self'", 1))
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusUnauthorized)
	_, _ = w.Write([]byte(pairPage))
	return false
}

const pairPage = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Evenstand: pair</title>
<body><main><h1>Pair this screen</h1><p>Type the code that evenstand shows where the logbook is open.</p>
<form method="post" action="/pair"><label>Code <input name="code" inputmode="numeric" autocomplete="one-time-code" required autofocus></label> <button>Pair</button></form></main></body></html>`

// maxTries is how many wrong codes may be given before each further one waits.
const maxTries = 5

func (g *guard) pair(w http.ResponseWriter, r *http.Request) {
	if err := g.origin.Check(r); err != nil {
		problem(w, http.StatusForbidden, "Another site may not ask here.")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 1<<10)
	given := strings.Map(func(c rune) rune {
		if c == ' ' || c == '-' {
			return -1
		}
		return c
	}, r.PostFormValue("code"))
	g.mu.Lock()
	defer g.mu.Unlock()
	if now := time.Now(); now.Before(g.until) {
		problem(w, http.StatusTooManyRequests, "Too many wrong codes. Wait a minute, then try again.")
		return
	}
	if subtle.ConstantTimeCompare([]byte(given), []byte(g.code)) != 1 {
		if g.tries++; g.tries >= maxTries {
			g.until = time.Now().Add(time.Minute)
		}
		problem(w, http.StatusUnauthorized, "That is not the code. Go back and type it again.")
		return
	}
	g.tries = 0
	http.SetCookie(w, g.cookie(mayAll))
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (g *guard) cookie(may string) *http.Cookie {
	return &http.Cookie{Name: cookie, Value: may + "." + g.sign(may), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode}
}

func (g *guard) sign(may string) string {
	m := hmac.New(sha256.New, g.key[:])
	m.Write([]byte(may))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil))
}

// may tells what a cookie allows, nothing when it was not ours.
func (g *guard) may(value string) string {
	may, sign, ok := strings.Cut(value, ".")
	if !ok || !hmac.Equal([]byte(sign), []byte(g.sign(may))) {
		return ""
	}
	return may
}

// NewCode makes a pairing code of eight digits.
func NewCode() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails
	for i := range b {
		b[i] = '0' + b[i]%10 // 256 is no multiple of ten: 0 to 5 come 4 % more often, which is nothing here
	}
	return string(b[:])
}

// printable keeps foreign bytes out of a sentence.
func printable(s string) string {
	if len(s) > 80 {
		s = s[:80]
	}
	for _, c := range s {
		if c < ' ' || c > '~' {
			return hex.EncodeToString([]byte(s))
		}
	}
	return s
}
