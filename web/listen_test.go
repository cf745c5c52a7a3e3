package web_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"evenstand/web"
)

// listen serves at an address of this computer until the test ends.
func (s *served) listen(t *testing.T) string {
	t.Helper()
	addr, stop := s.listenUntil(t)
	t.Cleanup(stop)
	return addr
}

// listenUntil serves until stop is called, which waits for the end.
func (s *served) listenUntil(t *testing.T) (addr string, stop func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	return l.Addr().String(), func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(10 * time.Second):
			t.Error("it does not stop")
		}
	}
}

// A thousand clients that dawdle in every way, and come again when they are
// sent home, do not keep a good one out for a second; memory stays bounded and
// the logbook sound. Nor do those that are three times what there is room for.
func TestSlowClients(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes twenty seconds")
	}
	t.Run("a thousand", func(t *testing.T) { slowClients(t, 1000, 0) })
	t.Run("more than there is room for", func(t *testing.T) { slowClients(t, 300, 100) })
}

func slowClients(t *testing.T, n, room int) {
	b := emptyBook(t)
	s := serve(t, b, func(o *web.Options) {
		o.Page = fstest.MapFS{"index.html": {Data: []byte("<!doctype html>")}, "assets/big.js": {Data: bytes.Repeat([]byte("x"), 16<<20)}}
		o.Connections = room
	})
	addr, stop := s.listenUntil(t)
	failed := 0
	good := func(addr string) time.Duration {
		client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 10 * time.Second}
		at := time.Now()
		r, err := client.Get("http://" + addr + "/api/v1/book")
		if err != nil {
			failed++
			t.Logf("the good client: %v", err)
			return 0
		}
		body, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil || r.StatusCode != http.StatusOK || !bytes.Contains(body, []byte(`"name"`)) {
			t.Errorf("the good client: %v: %d: %s", err, r.StatusCode, body)
		}
		return time.Since(at)
	}
	alone := serve(t, emptyBook(t)).listen(t) // what it takes where nobody dawdles: the computer may be busy
	id := s.begin(t)
	head := "GET /api/v1/book HTTP/1.1\r\nHost: " + addr + "\r\n"
	ways := []struct{ at, then string }{
		{"", ""}, // connects and says nothing
		{"", "GET / HTTP/1.1\r\nHost: " + addr + "\r\nX: " + strings.Repeat("x", 1000)},                                                               // header a byte a second
		{head + "Content-Length: 1000\r\n\r\n", strings.Repeat("x", 1000)},                                                                            // a body nobody asked for
		{"POST /api/v1/settle HTTP/1.1\r\nHost: " + addr + "\r\nContent-Length: 100\r\n\r\n", strings.Repeat("x", 100)},                               // of an operation without one
		{"PATCH /api/v1/settings HTTP/1.1\r\nHost: " + addr + "\r\nContent-Length: 1000\r\n\r\n", strings.Repeat(" ", 1000)},                          // of one that takes JSON
		{"PUT /api/v1/uploads/" + id + "/file?path=%d.csv HTTP/1.1\r\nHost: " + addr + "\r\nContent-Length: 1000\r\n\r\n", strings.Repeat("1", 1000)}, // a file
		{"GET /assets/big.js HTTP/1.1\r\nHost: " + addr + "\r\n\r\n", ""},                                                                             // never reads
		{strings.Repeat("GET /assets/big.js HTTP/1.1\r\nHost: "+addr+"\r\n\r\n", 50), ""},                                                             // asks much at once, never reads
		{"GET /api/v1/events HTTP/1.1\r\nHost: " + addr + "\r\n\r\n", ""},                                                                             // a stream that it never reads
	}
	ctx, cancel := context.WithCancel(context.Background())
	var slow sync.WaitGroup
	var hanging, again atomic.Int64
	for i := range n {
		way := ways[i%len(ways)]
		slow.Go(func() {
			for times := 0; ctx.Err() == nil; times++ {
				c, err := net.Dial("tcp", addr)
				if err != nil {
					time.Sleep(100 * time.Millisecond)
					continue
				}
				if times > 0 {
					again.Add(1)
				}
				hanging.Add(1)
				at := way.at
				if strings.Contains(at, "%d") {
					at = fmt.Sprintf(at, i*1000+times)
				}
				_ = c.SetWriteDeadline(time.Now().Add(time.Second))
				_, err = io.WriteString(c, at)
				for k := 0; err == nil && ctx.Err() == nil; k++ {
					select {
					case <-ctx.Done():
					case <-time.After(time.Second):
					}
					if k < len(way.then) {
						_ = c.SetWriteDeadline(time.Now().Add(time.Second))
						_, err = io.WriteString(c, way.then[k:k+1])
					} else if way.then == "" && way.at == "" {
						_ = c.SetReadDeadline(time.Now())
						if _, rerr := c.Read(make([]byte, 1)); rerr == io.EOF {
							err = rerr
						}
					}
				}
				hanging.Add(-1)
				c.Close()
			}
		})
	}
	for range 200 {
		if int(hanging.Load()) > n*9/10 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	var took, without []time.Duration
	var asks int
	peak := peakHeap(func() {
		for begun := time.Now(); time.Since(begun) < 8*time.Second || asks < 40 && time.Since(begun) < time.Minute; time.Sleep(50 * time.Millisecond) {
			without = append(without, good(alone))
			took = append(took, good(addr))
			if asks%20 == 0 { // and it brings a file
				other := s.begin(t)
				q, err := http.NewRequest("PUT", "http://"+addr+"/api/v1/uploads/"+other+"/file?path=good.csv", bytes.NewReader(make([]byte, 4<<20)))
				if err != nil {
					t.Fatal(err)
				}
				r, err := http.DefaultClient.Do(q)
				if err != nil || r.StatusCode != http.StatusNoContent {
					t.Errorf("bringing a file: %v, %+v", err, r)
				} else {
					r.Body.Close()
				}
				s.ask("DELETE", "/api/v1/uploads/"+other, nil)
			}
			asks++
		}
	})
	slices.Sort(took)
	slices.Sort(without)
	at95 := func(d []time.Duration) time.Duration { return d[(len(d)-1)*95/100].Round(time.Millisecond) }
	t.Logf("%d slow clients hang, %d came again; of %d good requests 95 %% took no more than %v, the slowest %v; where nobody dawdles %v and %v; %d MB more memory",
		hanging.Load(), again.Load(), asks, at95(took), took[asks-1].Round(time.Millisecond), at95(without), without[asks-1].Round(time.Millisecond), peak>>20)
	if int(hanging.Load()) < n/2 {
		t.Errorf("only %d hang", hanging.Load())
	}
	// A page asks again when its connection was closed before it was heard.
	if failed > asks/20 || room == 0 && failed > 0 {
		t.Errorf("%d of %d good requests failed", failed, asks)
	}
	if at95(took) > time.Second+at95(without) {
		t.Errorf("the good client waited %v", at95(took))
	}
	if peak > 200<<20 {
		t.Errorf("%d MB of memory", peak>>20)
	}
	at := time.Now()
	stop()
	if took := time.Since(at); took > 5*time.Second {
		t.Errorf("it took %v to stop", took)
	}
	cancel()
	slow.Wait()
	s.Close()
	if l := left(t, b); len(l) > 0 {
		t.Errorf("left: %q", l)
	}
	sound(t, b)
}

// Streams of events end at once when the server stops, and so does the server.
func TestStop(t *testing.T) {
	s := serve(t, emptyBook(t))
	addr, stop := s.listenUntil(t)
	ended := make(chan time.Time, 10)
	for range cap(ended) {
		r, err := http.Get("http://" + addr + "/api/v1/events")
		if err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewReader(r.Body)
		if line, err := lines.ReadString('\n'); err != nil || line != "event: hello\n" {
			t.Fatalf("%q, %v", line, err)
		}
		go func() {
			_, _ = io.Copy(io.Discard, lines)
			r.Body.Close()
			ended <- time.Now()
		}()
	}
	idle, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer idle.Close()
	at := time.Now()
	stop()
	if took := time.Since(at); took > time.Second {
		t.Errorf("it took %v to stop", took)
	}
	for range cap(ended) {
		select {
		case x := <-ended:
			if took := x.Sub(at); took > time.Second {
				t.Errorf("a stream ended after %v", took)
			}
		case <-time.After(5 * time.Second):
			t.Fatal("a stream goes on")
		}
	}
	if w := s.ask("GET", "/api/v1/events", nil); w.Code != http.StatusServiceUnavailable {
		t.Errorf("a stream after the end: %d", w.Code)
	} else {
		detail(t, w)
	}
}

// Of very many streams the oldest end.
func TestStreams(t *testing.T) {
	s := serve(t, emptyBook(t))
	addr := s.listen(t)
	var streams []*http.Response
	for range 70 {
		r, err := http.Get("http://" + addr + "/api/v1/events")
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%v, %+v", err, r)
		}
		defer r.Body.Close()
		streams = append(streams, r)
	}
	if _, err := io.ReadAll(streams[0].Body); err != nil {
		t.Errorf("the oldest: %v", err)
	}
	w := s.ask("PATCH", "/api/v1/settings", []byte(`{"units":"metric"}`))
	if w.Code != http.StatusOK {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	lines := bufio.NewScanner(streams[69].Body)
	for lines.Scan() && !strings.Contains(lines.Text(), `"what":"settings"`) {
	}
	if lines.Err() != nil {
		t.Error(lines.Err())
	}
}

// HEAD says what GET says, without the body, also over a connection.
func TestHead(t *testing.T) {
	s := serve(t, emptyBook(t))
	addr := s.listen(t)
	for _, p := range []string{"/", "/assets/a.js", "/api/v1/book", "/api/v1/rows.csv", "/api/v1/events", "/api/v1/nothing"} {
		at := time.Now()
		h, err := http.Head("http://" + addr + p)
		if err != nil {
			t.Fatal(err)
		}
		h.Body.Close()
		if took := time.Since(at); took > time.Second {
			t.Errorf("%s: %v", p, took)
		}
		if p == "/api/v1/events" {
			continue
		}
		g, err := http.Get("http://" + addr + p)
		if err != nil {
			t.Fatal(err)
		}
		g.Body.Close()
		if h.StatusCode != g.StatusCode || h.Header.Get("Content-Type") != g.Header.Get("Content-Type") {
			t.Errorf("%s: %d %s and %d %s", p, h.StatusCode, h.Header.Get("Content-Type"), g.StatusCode, g.Header.Get("Content-Type"))
		}
	}
}

// What is no request of a browser is answered or dropped, and the server goes on.
func TestRawRequests(t *testing.T) {
	s := serve(t, emptyBook(t))
	addr := s.listen(t)
	ok := "Host: " + addr + "\r\n"
	for _, tt := range []struct{ name, text, want string }{
		{"long header", "GET / HTTP/1.1\r\n" + ok + "X: " + strings.Repeat("x", 64<<10) + "\r\n\r\n", " 431 "},
		{"long line", "GET /" + strings.Repeat("x", 64<<10) + " HTTP/1.1\r\n" + ok + "\r\n", " 431 "},
		{"no host", "GET / HTTP/1.1\r\n\r\n", " 400 "},
		{"no host, old", "GET / HTTP/1.0\r\n\r\n", " 421 "},
		{"two hosts", "GET / HTTP/1.1\r\n" + ok + "Host: evil.example\r\n\r\n", " 400 "},
		{"whole address", "GET http://evil.example/ HTTP/1.1\r\n" + ok + "\r\n", " 421 "},
		{"two lengths", "POST /api/v1/settle HTTP/1.1\r\n" + ok + "Content-Length: 1\r\nContent-Length: 2\r\n\r\nxx", " 400 "},
		{"length and pieces", "POST /api/v1/nothing HTTP/1.1\r\n" + ok + "Content-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", " 40"},
		{"tunnel", "CONNECT evil.example:80 HTTP/1.1\r\n" + ok + "\r\n", " 421 "},
		{"upgrade", "GET /api/v1/events HTTP/1.1\r\n" + ok + "Upgrade: websocket\r\nConnection: Upgrade\r\nOrigin: http://evil.example\r\n\r\n", " 403 "},
		{"encrypted", "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", " 400 "},
		{"junk", "\x00\x01\x02\r\n\r\n", " 400 "},
		{"path up", "GET /../../etc/passwd HTTP/1.1\r\n" + ok + "\r\n", " 307 "},
		{"no path", "GET ../../etc/passwd HTTP/1.1\r\n" + ok + "\r\n", " 400 "},
	} {
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		_, _ = io.WriteString(c, tt.text)
		_ = c.SetReadDeadline(time.Now().Add(2 * time.Second))
		line, _ := bufio.NewReader(c).ReadString('\n')
		if !strings.Contains(line, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, line, tt.want)
		}
		c.Close()
	}
	s.get(t, "/api/v1/book", http.StatusOK)
}
