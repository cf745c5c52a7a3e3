package web

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"net/netip"
	"sync"
	"time"

	"evenstand/core/advise"
)

// How many wrong codes are borne. One address gives five, then one a minute.
// All together give 60, then one every ten seconds: of the hundred million codes
// a guesser tries less than one in ten thousand a day. So nobody is locked out
// by the wrong codes of another address, but by a guesser with very many of
// them, and then a link still lets a screen in.
const (
	ownTries = 5
	ownEvery = time.Minute
	allTries = 60
	allEvery = 10 * time.Second
)

// tries counts wrong codes. A bucket is the time at which it is empty again:
// each wrong code pours in so much, and when it is full the next must wait.
type tries struct {
	mu  sync.Mutex
	all time.Time
	of  map[netip.Prefix]time.Time
}

func newTries() tries { return tries{of: map[netip.Prefix]time.Time{}} }

// try takes a code from an address. When too many were wrong, it is not looked
// at, and wait says for how long none is.
func (t *tries) try(remote string, now time.Time, right func() bool) (ok bool, wait time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for a, empty := range t.of {
		if !empty.After(now) {
			delete(t.of, a)
		}
	}
	who := home(remote)
	if wait = max(full(t.of[who], now, ownTries, ownEvery), full(t.all, now, allTries, allEvery)); wait > 0 {
		return false, wait
	}
	if right() {
		delete(t.of, who)
		return true, 0
	}
	t.of[who] = pour(t.of[who], now, ownEvery)
	t.all = pour(t.all, now, allEvery)
	return false, 0
}

// full says how long a bucket of n takes no more.
func full(empty, now time.Time, n int, every time.Duration) time.Duration {
	if !empty.After(now) {
		return 0
	}
	return max(0, empty.Sub(now)-time.Duration(n-1)*every)
}

func pour(empty, now time.Time, every time.Duration) time.Time {
	if empty.Before(now) {
		empty = now
	}
	return empty.Add(every)
}

// home is the address of who asks; of version 6 the network, since a computer
// has as many of its addresses as it likes.
func home(remote string) netip.Prefix {
	a, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Prefix{}
	}
	ip, bits := a.Addr().Unmap().WithZone(""), 32
	if ip.Is6() {
		bits = 64
	}
	p, _ := ip.Prefix(bits) // the length fits
	return p
}

// links are the one-time tokens of second screens: until when each is good.
type links struct {
	mu sync.Mutex
	of map[string]time.Time
}

const (
	linkLives = 12 * time.Hour // a day's work
	mostLinks = 32             // that nobody has used yet; the oldest goes
)

func (l *links) make(now time.Time) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.of == nil {
		l.of = map[string]time.Time{}
	}
	if len(l.of) >= mostLinks {
		oldest := ""
		for t, until := range l.of {
			if oldest == "" || until.Before(l.of[oldest]) {
				oldest = t
			}
		}
		delete(l.of, oldest)
	}
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	token := base64.RawURLEncoding.EncodeToString(b[:])
	l.of[token] = now.Add(linkLives)
	return token
}

func (l *links) good(token string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.of[token].After(now)
}

func (l *links) use(token string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	ok := l.of[token].After(now)
	delete(l.of, token)
	return ok
}

// ScreenLinks gives a new link for a second screen that may only look, once for
// each name of this computer; one browser can use it. None when the server is
// asked by this computer alone.
func (s *Server) ScreenLinks() []string {
	out := []string{}
	if s.guard.code == "" {
		return out
	}
	token := s.guard.links.make(time.Now())
	for _, h := range s.opt.Hosts {
		out = append(out, scheme(s.opt.Authority != nil)+"://"+h+"/screen/"+token)
	}
	return out
}

// Screen is a link for a second screen.
type Screen struct {
	Links []string `json:"links" doc:"The same link under each name of this computer; it works once"`
	Says  string   `json:"says" doc:"What it does and for how long, as a sentence"`
}

// newScreen makes a link for a second screen.
func (s *Server) newScreen(context.Context, *nothing) (Screen, error) {
	links := s.ScreenLinks()
	if len(links) == 0 {
		return Screen{}, refuse("other screens cannot reach this computer now. Stop evenstand and start it with evenstand open BOOK --listen 0.0.0.0:7423")
	}
	return Screen{links, "Open it on the other screen within " + advise.Span(linkLives.Seconds()) + ". It works once, for looking only."}, nil
}
