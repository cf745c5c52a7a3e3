package web

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// How long a client may take. A browser on a weak network of the yard sends its
// header and takes an answer in seconds. Common practice, no source.
const (
	headerTime = 10 * time.Second // to send the header of a request
	answerTime = 2 * time.Minute  // to send the rest and to take the answer; files and streams of events set their own
	idleTime   = 2 * time.Minute  // between two requests
	stopTime   = 3 * time.Second  // for what is being answered when the server stops
)

// usualConnections is how many are open at once; a browser opens six. Each takes
// some twenty kilobytes, 32 more for a long header and 32 while it brings a file.
const usualConnections = 1500

// Serve answers what comes to a listener until the context ends, and then stops
// at once: streams of events end, what is being answered has three seconds.
// The error is of the listener.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	room := &lobby{Listener: l, most: cmp.Or(s.opt.Connections, usualConnections), all: map[*guest]bool{}}
	srv := &http.Server{
		Handler: room.mark(s.Handler()), ReadHeaderTimeout: headerTime, ReadTimeout: answerTime, WriteTimeout: answerTime, IdleTimeout: idleTime, MaxHeaderBytes: 32 << 10,
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
		ConnContext: func(ctx context.Context, c net.Conn) context.Context {
			return context.WithValue(ctx, guestKey{}, guestOf(c))
		},
	}
	failed := make(chan error, 3)
	if s.opt.Authority == nil {
		go func() { failed <- srv.Serve(room) }()
	} else {
		d := newDoors(room)
		defer d.Close()
		go func() { failed <- d.run() }()
		go func() { failed <- srv.Serve(d.plain) }()
		go func() { failed <- srv.Serve(tls.NewListener(d.secure, s.opt.Authority.config(s.opt.Hosts, time.Now))) }()
	}
	var err error
	select {
	case err = <-failed:
	case <-ctx.Done():
	}
	s.events.close()
	s.jobs.cancel()
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	room.shut()
	if srv.Shutdown(stop) != nil {
		_ = srv.Close()
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// A lobby lets in all who come and, when it is full, sends someone home to make
// room: who has never asked for anything before who waits between two requests,
// and that one before who is being answered and moves nothing; of those whose
// address holds the most connections first, and of those who has moved nothing
// for longest. So a thousand clients that dawdle do not keep a page out, and do
// not take memory.
type lobby struct {
	net.Listener
	most int

	mu     sync.Mutex
	all    map[*guest]bool
	closed bool
}

type guest struct {
	net.Conn
	lobby *lobby
	from  netip.Addr

	// under the lobby's lock
	asking int       // requests being answered
	asked  bool      // once at least
	stays  bool      // a stream of events, of which there are few
	moved  time.Time // when it last did something worth it
	bytes  int       // since then
}

type guestKey struct{}

const (
	worth = 4 << 10                // bytes that are worth something
	short = 200 * time.Millisecond // before who asks nothing goes before who is being answered
)

// Accept lets the next one in. It never waits for room: who waited behind a
// thousand others would wait long.
func (l *lobby) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	g := &guest{Conn: c, lobby: l}
	if a, err := netip.ParseAddrPort(c.RemoteAddr().String()); err == nil {
		g.from = a.Addr().Unmap()
	}
	out, ok := l.enter(g)
	if out != nil {
		_ = out.Conn.Close()
	}
	if !ok {
		_ = c.Close()
		return nil, net.ErrClosed
	}
	return g, nil
}

// enter lets one in; out is who must go for it.
func (l *lobby) enter(g *guest) (out *guest, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return nil, false
	}
	g.moved = time.Now()
	if len(l.all) >= l.most {
		held := map[netip.Addr]int{}
		for x := range l.all {
			held[x.from]++
		}
		for x := range l.all {
			if !x.stays && (out == nil || x.before(out, held, g.moved)) {
				out = x
			}
		}
		delete(l.all, out)
	}
	l.all[g] = true
	return out, true
}

// before tells who is sent home first.
func (g *guest) before(h *guest, held map[netip.Addr]int, now time.Time) bool {
	if a, b := g.rank(now), h.rank(now); a != b {
		return a < b
	}
	if a, b := held[g.from], held[h.from]; a != b {
		return a > b
	}
	return g.moved.Before(h.moved)
}

func (g *guest) rank(now time.Time) int {
	switch idle := now.Sub(g.moved) >= short; {
	case g.asking > 0:
		return 2
	case !idle:
		return 3 // it has just come, or just been answered
	case g.asked:
		return 1
	}
	return 0
}

// mark notes who is being answered.
func (l *lobby) mark(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if g, ok := r.Context().Value(guestKey{}).(*guest); ok {
			g.note(func() { g.asking++; g.asked, g.moved = true, time.Now() })
			defer g.note(func() { g.asking--; g.stays = false; g.moved = time.Now() })
		}
		next.ServeHTTP(w, r)
	})
}

// stays keeps a connection that is quiet by its nature.
func stays(ctx context.Context) {
	if g, ok := ctx.Value(guestKey{}).(*guest); ok {
		g.note(func() { g.stays = true })
	}
}

// shut lets nobody in any more and closes all connections on which nothing is
// asked.
func (l *lobby) shut() {
	l.mu.Lock()
	l.closed = true
	var idle []*guest
	for g := range l.all {
		if g.asking == 0 {
			idle = append(idle, g)
		}
	}
	l.mu.Unlock()
	for _, g := range idle {
		_ = g.Close()
	}
}

func (g *guest) note(change func()) {
	g.lobby.mu.Lock()
	defer g.lobby.mu.Unlock()
	change()
}

func (g *guest) count(n int) {
	g.note(func() {
		if g.bytes += n; g.bytes >= worth {
			g.bytes, g.moved = 0, time.Now()
		}
	})
}

// Read counts what comes.
func (g *guest) Read(p []byte) (int, error) {
	n, err := g.Conn.Read(p)
	g.count(n)
	return n, err
}

// Write counts what goes.
func (g *guest) Write(p []byte) (int, error) {
	n, err := g.Conn.Write(p)
	g.count(n)
	return n, err
}

// Close leaves.
func (g *guest) Close() error {
	g.note(func() { delete(g.lobby.all, g) })
	return g.Conn.Close()
}
