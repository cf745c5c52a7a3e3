package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/core/try/trial"
)

// Options are what a server needs.
type Options struct {
	Book *book.Book
	// Formats gives the readers of logs as they are now: recipes come and go.
	Formats func() ([]evenstand.Format, error)
	Page    fs.FS // the built page; nil: the interface alone
	Version string
	// Hosts are names beside localhost and 127.0.0.1 under which the server may
	// be asked, with the port where there is one; with any of them set, Code is
	// wanted.
	Hosts []string
	Code  string // pairing code that a browser elsewhere must give once
	// Authority signs for the server: elsewhere only https is spoken then, this
	// computer may go on with http. nil: http alone.
	Authority *Authority
	Uploads   UploadLimits
	// Connections is how many are open at once; zero is the usual. When there are
	// more, those that dawdle are closed.
	Connections int
	Log         *slog.Logger
}

// Server serves one open logbook.
type Server struct {
	opt  Options
	book *book.Book
	mux  *http.ServeMux
	api  huma.API
	log  *slog.Logger

	revision atomic.Int64 // of all that can be asked for
	told     atomic.Int64 // of what the logs say
	events   events
	jobs     jobs
	uploads  uploads
	guard    *guard

	worklist kept[evenstand.Worklist]
	changes  kept[[]record.Changed]
	onlySet  kept[[]book.ChangeLine]
	days     kept[[]book.DaySummary]
	sources  kept[[]book.SourceReport]
	boxes    kept[map[evenstand.Day]boxDay]
	passes   kept[passIndex]
	left     kept[map[string]float64] // to plant, by field
	fields   kept[[]book.FieldGround]
	tried    kept[[]trial.Report]
	patches  kept[[]PatchFeature]
	seeds    passCache
	compared compared

	settling sync.Mutex
	soon     *time.Timer // to make days again that what was written changes
	ground   kept[*season]
	pictures pictures
	ahead    ahead
	began    string // tells this run, and its tiles, from another
}

// New makes a server of an open book. Close it before the book.
func New(opt Options) (*Server, error) {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	s := &Server{opt: opt, book: opt.Book, mux: http.NewServeMux(), log: opt.Log, began: strconv.FormatInt(time.Now().UnixMicro(), 36)}
	var err error
	if s.guard, err = newGuard(opt); err != nil {
		return nil, err
	}
	if err := s.uploads.open(opt.Book, opt.Uploads); err != nil {
		return nil, err
	}
	s.jobs.init(s)
	s.api = humago.New(s.mux, config(opt.Version))
	s.register()
	s.mux.HandleFunc("GET /", s.page)
	return s, nil
}

// Handler is the server behind its guard.
func (s *Server) Handler() http.Handler { return s.guard.wrap(http.HandlerFunc(s.route)) }

// route answers, in our words also where no operation is meant, and where one
// fails that must not.
func (s *Server) route(w http.ResponseWriter, r *http.Request) {
	defer func() {
		if v := recover(); v != nil {
			if v == http.ErrAbortHandler {
				panic(v)
			}
			s.log.Error("request failed", "path", r.URL.Path, "panic", v, "stack", string(debug.Stack()))
			problem(w, http.StatusInternalServerError, "This program has a fault here: "+printable(fmt.Sprint(v))+". The logbook is unharmed. Reload, and tell those who make it how it came about.")
		}
	}()
	if h, pattern := s.mux.Handler(r); pattern == "" {
		ways := methods{http.Header{}}
		h.ServeHTTP(ways, r)
		if allow := ways.h.Get("Allow"); allow != "" {
			w.Header().Set("Allow", allow)
			problem(w, http.StatusMethodNotAllowed, printable(r.Method)+" is not for "+printable(r.URL.Path)+": it takes "+allow+".")
			return
		}
		problem(w, http.StatusNotFound, "There is nothing at "+printable(r.URL.Path)+".")
		return
	}
	s.mux.ServeHTTP(w, r)
}

// methods takes what the multiplexer says of a method that is not for a path.
type methods struct{ h http.Header }

func (m methods) Header() http.Header         { return m.h }
func (m methods) Write(p []byte) (int, error) { return len(p), nil }
func (m methods) WriteHeader(int)             {}

// Close stops what runs and waits for it, and ends the streams of events.
func (s *Server) Close() {
	s.settling.Lock()
	if s.soon != nil {
		s.soon.Stop()
	}
	s.settling.Unlock()
	s.events.close()
	s.jobs.cancel()
	s.jobs.wait.Wait()
	s.ahead.stop()
	s.uploads.mu.Lock()
	defer s.uploads.mu.Unlock()
	if err := s.uploads.sweep(); err != nil {
		s.log.Error("what was brought and not read could not be removed", "error", err)
	}
}

// changed tells the pages that what they show may be old.
func (s *Server) changed(what string) {
	rev := s.revision.Add(1) // first: what is kept under a new mark of the logs must not be made of the old days
	switch what {
	case "decisions", "journal", "settings":
	default:
		s.told.Add(1)
	}
	s.events.send("changed", Changed{s.began, rev, what})
}

// Changed says that something in the logbook is new.
type Changed struct {
	Run      string `json:"run" doc:"Tells this run of the program from another"`
	Revision int64  `json:"revision" doc:"Of this run; grows with every change"`
	What     string `json:"what" enum:"decisions,logs,journal,settings,recipes,card"`
}

// kept is an answer kept until the logbook changes.
type kept[T any] struct {
	mu       sync.Mutex
	revision int64
	have     bool
	value    T
}

// of gives the answer of this revision, asking once.
func (k *kept[T]) of(revision int64, ask func() (T, error)) (T, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.have && k.revision == revision {
		return k.value, nil
	}
	v, err := ask()
	if err == nil {
		k.value, k.revision, k.have = v, revision, true
	}
	return v, err
}

func (s *Server) allFindings(ctx context.Context) (evenstand.Worklist, error) {
	return s.worklist.of(s.revision.Load(), func() (evenstand.Worklist, error) {
		return s.book.Worklist(context.WithoutCancel(ctx), true)
	})
}

func (s *Server) allDays(ctx context.Context) ([]book.DaySummary, error) {
	return s.days.of(s.revision.Load(), func() ([]book.DaySummary, error) { return s.book.Days(context.WithoutCancel(ctx)) })
}

func (s *Server) allSources(ctx context.Context) ([]book.SourceReport, error) {
	return s.sources.of(s.revision.Load(), func() ([]book.SourceReport, error) { return s.book.Sources(context.WithoutCancel(ctx)) })
}

// voice is how this logbook's people read numbers.
func (s *Server) voice() advise.Voice {
	return advise.Voice{Zone: s.book.Zone(), Units: s.book.Settings().Units}
}

// words gives how findings are put into words.
func (s *Server) words(ctx context.Context) (record.Options, error) {
	ds, err := s.book.Decisions(ctx)
	return record.Options{Voice: s.voice(), Decisions: ds, Page: true}, err
}

// page serves the built page: its files, and for every other path the page
// itself, which finds its way by the path.
func (s *Server) page(w http.ResponseWriter, r *http.Request) {
	if s.opt.Page == nil || strings.HasPrefix(r.URL.Path, "/api/") {
		problem(w, http.StatusNotFound, "There is nothing at "+printable(r.URL.Path)+".")
		return
	}
	name := strings.TrimPrefix(r.URL.Path, "/")
	if info, err := fs.Stat(s.opt.Page, name); name == "" || err != nil || info.IsDir() {
		if strings.Contains(name[strings.LastIndex(name, "/")+1:], ".") {
			problem(w, http.StatusNotFound, "The page has no file "+printable(name)+".")
			return
		}
		name = "index.html"
	}
	w.Header().Set("Cache-Control", "no-cache")
	if strings.HasPrefix(name, "assets/") { // named by their content
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	http.ServeFileFS(w, r, s.opt.Page, name)
}

// problem writes an error as the interface does (RFC 9457).
func problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(huma.ErrorModel{Title: http.StatusText(status), Status: status, Detail: detail})
}

// fail turns an error into what the interface answers: a status and a sentence
// that says what to do.
func (s *Server) fail(err error) error {
	status := http.StatusInternalServerError
	var se huma.StatusError
	var asked *book.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &se):
		return err
	case errors.Is(err, context.Canceled):
		status = 499 // the page went away
	case errors.Is(err, book.ErrUnknown):
		status = http.StatusNotFound
	case errors.As(err, &asked) && asked.Path == "":
		status = http.StatusUnprocessableEntity
	}
	if status == http.StatusInternalServerError {
		s.log.Error("request failed", "error", err)
	}
	return huma.NewError(status, sentence(err.Error()))
}

// refuse is an error of the person's: a sentence that says what to write.
func refuse(text string) error {
	return huma.Error422UnprocessableEntity(sentence(text))
}

func sentence(text string) string {
	if text = advise.Capital(text); !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?") {
		text += "."
	}
	return text
}
