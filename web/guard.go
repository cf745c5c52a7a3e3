package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"html"
	"io"
	"io/fs"
	"math"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
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
	hosts     []string
	code      string
	key       [32]byte // of the pairing cookies; new with every start
	origin    *http.CrossOriginProtection
	open      []string // files of the page that the pairing page needs, and those that browsers ask for without a cookie
	style     string
	authority *Authority // nil: plain http everywhere
	tries     tries
	links     links
}

// cookie begins the name of what holds that a browser is paired: what it may
// do, signed. The port ends it, since cookies do not part ports.
const cookie = "evenstand"

// Ways a browser may be paired.
const (
	mayAll  = "all"
	mayLook = "look"
)

func newGuard(opt Options) (*guard, error) {
	g := &guard{code: opt.Code, authority: opt.Authority, origin: http.NewCrossOriginProtection(), tries: newTries(), links: links{}}
	if len(opt.Hosts) > 0 && opt.Code == "" {
		return nil, errors.New("web: other names than this computer's own want a pairing code")
	}
	for _, h := range opt.Hosts {
		g.hosts = append(g.hosts, strings.ToLower(h))
	}
	if opt.Page != nil {
		for _, p := range []string{"icon*", "manifest.webmanifest", "assets/*.css", "assets/*.woff2"} {
			names, err := fs.Glob(opt.Page, p)
			if err != nil {
				return nil, err
			}
			for _, n := range names {
				g.open = append(g.open, "/"+n)
				if strings.HasSuffix(n, ".css") {
					g.style = "/" + n
				}
			}
		}
	}
	_, err := rand.Read(g.key[:])
	return g, err
}

// policy is the Content-Security-Policy of the page: everything from here,
// nothing inline; images also as data and blobs, which the map draws; workers
// from here.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin") // with no-referrer a form of ours would come with the origin null
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(self), payment=(), usb=()")
		if !g.known(r.Host) {
			problem(w, http.StatusMisdirectedRequest, "This server is not "+printable(r.Host)+". Open the address that evenstand printed.")
			return
		}
		api := strings.HasPrefix(r.URL.Path, "/api/")
		if api {
			h.Set("Cache-Control", "no-store")
		}
		if !g.own(r, api) {
			problem(w, http.StatusForbidden, "Another site may not ask here. Open the address that evenstand printed.")
			return
		}
		if g.authority != nil && (r.TLS == nil && !loopback(r.RemoteAddr) && !slices.Contains(g.open, r.URL.Path) || r.URL.Path == "/trust" || r.URL.Path == trustFile) {
			g.trust(w, r)
			return
		}
		if g.code != "" {
			may, ok := g.admit(w, r)
			if !ok {
				return
			}
			if may == mayLook {
				r = r.WithContext(context.WithValue(r.Context(), lookKey{}, true))
			}
		}
		next.ServeHTTP(w, r)
	})
}

// lookKey marks what a browser asks that may only look.
type lookKey struct{}

func looksOnly(ctx context.Context) bool { return ctx.Value(lookKey{}) != nil }

// own tells whether a page of ours asks, or a program that is no browser. What
// changes nothing may be asked by following a link from elsewhere, but for the
// interface, which no link leads to. A page from another port of this computer
// is a foreign one too.
func (g *guard) own(r *http.Request, api bool) bool {
	if g.origin.Check(r) != nil {
		return false
	}
	safe := r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodOptions
	if safe && !api {
		return true
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		return false
	}
	from := r.Header.Get("Origin")
	if from == "" {
		return true
	}
	u, err := url.Parse(from)
	return err == nil && u.Scheme == scheme(r.TLS != nil) && u.Host == r.Host
}

// known tells whether the server goes by the name that it was asked under.
func (g *guard) known(host string) bool {
	host = strings.ToLower(host)
	name := host
	if h, port, err := net.SplitHostPort(host); err == nil {
		if _, err := strconv.ParseUint(port, 10, 16); err != nil {
			return false
		}
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

// admit lets a browser elsewhere in that has given the code or followed a link,
// takes the one or the other, and else shows where to type the code. This
// computer needs neither.
func (g *guard) admit(w http.ResponseWriter, r *http.Request) (may string, ok bool) {
	here := loopback(r.RemoteAddr)
	safe := r.Method == http.MethodGet || r.Method == http.MethodHead
	if token, yes := strings.CutPrefix(r.URL.Path, "/screen/"); yes {
		if here {
			http.Redirect(w, r, "/", http.StatusSeeOther)
		} else {
			g.screen(w, r, token)
		}
		return "", false
	}
	if here || safe && slices.Contains(g.open, r.URL.Path) {
		return mayAll, true
	}
	if c, err := r.Cookie(cookieName(r)); err == nil {
		switch g.may(c.Value) {
		case mayAll:
			return mayAll, true
		case mayLook:
			if safe {
				return mayLook, true
			}
			if r.URL.Path != "/pair" {
				problem(w, http.StatusForbidden, "This screen may only look. Do it where the logbook is open.")
				return "", false
			}
		}
	}
	switch {
	case r.URL.Path == "/pair" && r.Method == http.MethodPost:
		g.pair(w, r)
	case strings.HasPrefix(r.URL.Path, "/api/"):
		problem(w, http.StatusUnauthorized, "This browser is not paired. Reload the page and type the code that evenstand shows.")
	default:
		g.form(w, http.StatusUnauthorized, "")
	}
	return "", false
}

// form shows where to type the code, with what was wrong before.
func (g *guard) form(w http.ResponseWriter, status int, wrong string) {
	g.small(w, status, "Pair this screen", "Type the eight digits that evenstand shows where the logbook is open.", wrong,
		`<form method="post" action="/pair"><label class="field"><span>Code</span><input name="code" inputmode="numeric" autocomplete="one-time-code" maxlength="20" required autofocus></label><p class="gap"><button class="first">Pair</button></p></form>`)
}

// small writes a page that needs no script and none of the logbook: it is shown
// to browsers that are not paired.
func (g *guard) small(w http.ResponseWriter, status int, title, text, wrong, form string) {
	h := w.Header()
	h.Set("Content-Security-Policy", strings.Replace(policy, "form-action 'none'", "form-action 'self'", 1))
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	style := ""
	if g.style != "" {
		style = `<link rel="stylesheet" href="` + html.EscapeString(g.style) + `">`
	}
	if wrong != "" {
		wrong = `<p class="notice bad gap" role="alert">` + html.EscapeString(wrong) + `</p>`
	}
	if form != "" {
		form = `<div class="gap">` + form + `</div>`
	}
	_, _ = io.WriteString(w, `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>Evenstand: `+title+`</title><link rel="icon" href="/icon.svg" type="image/svg+xml">`+style+`</head>
<body><header class="head"><b>Evenstand</b></header><main class="screen"><h1>`+title+`</h1><p class="near">`+text+`</p>`+wrong+form+`</main></body></html>
`)
}

// pairTime is how long a browser may take to send a code.
const pairTime = 10 * time.Second

func (g *guard) pair(w http.ResponseWriter, r *http.Request) {
	_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(pairTime))
	r.Body = http.MaxBytesReader(w, r.Body, 1<<10)
	given := strings.Map(func(c rune) rune {
		if c == ' ' || c == '-' {
			return -1
		}
		return c
	}, r.PostFormValue("code"))
	right, wait := g.tries.try(r.RemoteAddr, time.Now(), func() bool {
		return subtle.ConstantTimeCompare([]byte(given), []byte(g.code)) == 1
	})
	switch {
	case right:
		g.let(w, r, mayAll)
	case wait > 0:
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
		g.form(w, http.StatusTooManyRequests, "Too many wrong codes. Wait a minute, then try again. A link for a second screen, which evenstand prints when it starts, needs no code.")
	default:
		g.form(w, http.StatusUnauthorized, "That is not the code. Type it again.")
	}
}

// let pairs a browser and shows it the logbook.
func (g *guard) let(w http.ResponseWriter, r *http.Request, may string) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: may + "." + g.sign(may), Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// screen takes a link for a second screen. Following it shows a button, so that
// a program that only looks where a link leads does not use it up.
func (g *guard) screen(w http.ResponseWriter, r *http.Request, token string) {
	const title = "Show the logbook on this screen"
	switch {
	case r.Method == http.MethodPost && g.links.use(token, time.Now()):
		g.let(w, r, mayLook)
	case r.Method != http.MethodPost && g.links.good(token, time.Now()):
		g.small(w, http.StatusOK, title, "This screen may look at everything and change nothing. The link works once.", "",
			`<form method="post"><button class="first" autofocus>Show it</button></form>`)
	default:
		g.small(w, http.StatusGone, "This link is used up", `It was used already, or is too old. Ask for a new one where the logbook is open, or pair this screen with the code: <a href="/">type it here</a>.`, "", "")
	}
}

func scheme(secure bool) string {
	if secure {
		return "https"
	}
	return "http"
}

// cookieName is that of the server that a browser asks.
func cookieName(r *http.Request) string {
	_, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		port = "80"
	}
	return cookie + port
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
