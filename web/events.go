package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// events tells pages that listen what is new. A page that is too slow loses the
// oldest: what counts is that something changed, and it asks again.
type events struct {
	mu     sync.Mutex
	open   map[chan event]int64 // and which began when
	begun  int64
	closed bool
}

type event struct {
	name string
	data []byte
}

// mostListeners is how many streams may be open at once; a page needs one. The
// oldest makes room for another: if its page still lives, it connects again.
const mostListeners = 64

// beat is how often a quiet stream says that it is alive, so that a dead one is
// noticed.
const beat = 20 * time.Second

func (e *events) send(name string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	for c := range e.open {
		for sent := false; !sent; {
			select {
			case c <- event{name, data}:
				sent = true
			default:
				select { // make room
				case <-c:
				default:
				}
			}
		}
	}
}

func (e *events) listen() (chan event, bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.closed {
		return nil, false
	}
	if len(e.open) >= mostListeners {
		var oldest chan event
		for c, at := range e.open {
			if oldest == nil || at < e.open[oldest] {
				oldest = c
			}
		}
		e.end(oldest)
	}
	if e.open == nil {
		e.open = map[chan event]int64{}
	}
	c := make(chan event, 16)
	e.begun++
	e.open[c] = e.begun
	return c, true
}

func (e *events) end(c chan event) {
	if _, ok := e.open[c]; ok {
		delete(e.open, c)
		close(c)
	}
}

func (e *events) leave(c chan event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.end(c)
}

// close ends all streams; there are none after.
func (e *events) close() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.closed = true
	for c := range e.open {
		e.end(c)
	}
}

// stream registers the stream of events.
func (s *Server) stream() {
	huma.Register(s.api, huma.Operation{
		OperationID: "events", Method: http.MethodGet, Path: base + "/events", Summary: "What changes, as server-sent events: hello and changed (Changed), job (Job)",
		Responses: map[string]*huma.Response{"200": {
			Description: "Server-sent events",
			Content:     map[string]*huma.MediaType{"text/event-stream": {Schema: &huma.Schema{Type: huma.TypeString}}},
		}},
	}, func(context.Context, *nothing) (*huma.StreamResponse, error) {
		c, ok := s.events.listen()
		if !ok {
			return nil, huma.Error503ServiceUnavailable("The program is being stopped. Start it again, then reload.")
		}
		return &huma.StreamResponse{Body: func(hc huma.Context) {
			defer s.events.leave(c)
			hc.SetHeader("Content-Type", "text/event-stream")
			hc.SetHeader("Cache-Control", "no-store")
			if hc.Method() == http.MethodHead {
				return
			}
			w := hc.BodyWriter()
			flush := http.NewResponseController(w.(http.ResponseWriter))
			_ = flush.SetReadDeadline(time.Time{}) // nothing more comes
			stays(hc.Context())
			tick := time.NewTicker(beat)
			defer tick.Stop()
			hello, _ := json.Marshal(Changed{s.began, s.revision.Load(), "logs"})
			next := event{"hello", hello}
			for {
				_ = flush.SetWriteDeadline(time.Now().Add(2 * beat))
				if next.name == "" {
					_, _ = fmt.Fprint(w, ": alive\n\n")
				} else if _, err := fmt.Fprintf(w, "event: %s\ndata: %s\n\n", next.name, next.data); err != nil {
					return
				}
				if flush.Flush() != nil {
					return
				}
				select {
				case <-hc.Context().Done():
					return
				case e, ok := <-c:
					if !ok {
						return
					}
					next = e
				case <-tick.C:
					next = event{}
				}
			}
		}}, nil
	})
}
