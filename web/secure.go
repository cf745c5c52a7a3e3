package web

import (
	"crypto/tls"
	"html"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// doors parts what comes to one port by its first byte: a TLS handshake begins with
// 22 (RFC 8446, 5.1), a request of HTTP with a letter. So one address serves this
// computer's browser as ever, tells a phone how to trust it, and serves it then.
type doors struct {
	room          net.Listener
	plain, secure *queue
	over          chan struct{}
	once          sync.Once
}

// queue is a listener of connections that were accepted already.
type queue struct {
	doors *doors
	ch    chan net.Conn
}

// Accept gives the next one.
func (q *queue) Accept() (net.Conn, error) {
	select {
	case c := <-q.ch:
		return c, nil
	case <-q.doors.over:
		return nil, net.ErrClosed
	}
}

// Close ends both.
func (q *queue) Close() error { return q.doors.Close() }

// Addr is that of the one port.
func (q *queue) Addr() net.Addr { return q.doors.room.Addr() }

func newDoors(room net.Listener) *doors {
	d := &doors{room: room, over: make(chan struct{})}
	d.plain, d.secure = &queue{d, make(chan net.Conn)}, &queue{d, make(chan net.Conn)}
	return d
}

// Close lets nobody in any more.
func (d *doors) Close() error {
	d.once.Do(func() { close(d.over) })
	return d.room.Close()
}

// run accepts until the listener is closed.
func (d *doors) run() error {
	for {
		c, err := d.room.Accept()
		if err != nil {
			d.once.Do(func() { close(d.over) })
			return err
		}
		go d.sort(c)
	}
}

func (d *doors) sort(c net.Conn) {
	b := &begun{Conn: c}
	_ = c.SetReadDeadline(time.Now().Add(headerTime))
	if _, err := c.Read(b.first[:]); err != nil {
		_ = c.Close()
		return
	}
	_ = c.SetReadDeadline(time.Time{})
	b.left = 1
	to := d.plain
	if b.first[0] == 22 {
		to = d.secure
	}
	select {
	case to.ch <- b:
	case <-d.over:
		_ = c.Close()
	}
}

// begun is a connection whose first byte was looked at.
type begun struct {
	net.Conn
	first [1]byte
	left  int
}

// Read gives that byte first.
func (b *begun) Read(p []byte) (int, error) {
	if b.left > 0 && len(p) > 0 {
		b.left = 0
		p[0] = b.first[0]
		return 1, nil
	}
	return b.Conn.Read(p)
}

// guestOf finds the guest behind what a server holds.
func guestOf(c net.Conn) net.Conn {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	if b, ok := c.(*begun); ok {
		c = b.Conn
	}
	return c
}

// trustFile is where the authority's certificate is to be had.
const trustFile = "/trust/evenstand.crt"

// trust says how a screen comes to trust this computer: all that it gets over plain
// http where https is spoken.
func (g *guard) trust(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		problem(w, http.StatusForbidden, "Over the network only https is spoken here. Open /trust for how this screen comes to trust it.")
		return
	}
	if r.URL.Path == trustFile {
		h := w.Header()
		h.Set("Content-Type", "application/x-x509-ca-cert")
		h.Set("Content-Disposition", `attachment; filename="evenstand.crt"`)
		h.Set("Cache-Control", "no-store")
		_, _ = w.Write(g.authority.Certificate())
		return
	}
	at := r.Host
	if loopback(r.RemoteAddr) && len(g.hosts) > 0 {
		at = g.hosts[0]
	}
	steps := TrustSteps("https://"+at+"/", g.authority.Fingerprint())
	var b strings.Builder
	b.WriteString("<ol>")
	for i, s := range steps {
		b.WriteString("<li><p>" + html.EscapeString(s) + "</p>")
		switch i {
		case 0:
			b.WriteString(`<p class="near"><code>` + strings.ReplaceAll(g.authority.Fingerprint(), ":", ":<wbr>") + "</code></p>")
		case 1:
			b.WriteString(`<p class="near"><a class="btn first" href="` + trustFile + `" download>Load the certificate</a></p>`)
		case len(steps) - 1:
			b.WriteString(`<p class="near"><a class="btn" href="https://` + html.EscapeString(at) + `/walk">Open the logbook</a></p>`)
		}
		b.WriteString("</li>")
	}
	b.WriteString("</ol>")
	g.small(w, http.StatusOK, "Trust this computer, once", "Over the network this logbook speaks https alone: nobody can read along, and a phone may keep the walk list for when there is no network. The phone must first be told that this computer is the one it says it is.", "", b.String())
}

// TrustSteps says, step by step, how a phone comes to trust an authority.
func TrustSteps(address, fingerprint string) []string {
	return []string{
		"Compare the fingerprint (SHA-256) with the one that evenstand open prints on the laptop. Where it differs, go no further.",
		"Load the certificate, evenstand.crt, on the phone.",
		"Install it. Where the phone keeps it as a file: in its settings look for Install a certificate, choose CA certificate, and choose the file. Where it keeps it as a profile: in its settings open the profile that was loaded and install it, then switch it on under About, Certificate trust. On a laptop: in the settings of the browser look for Certificates, Authorities, Import.",
		"It can vouch for names and addresses of a local network only. To take it back, remove it at the same place.",
		"Open " + address + "walk, type the pairing code once, and choose Add to home screen or Install in the browser's menu.",
	}
}
