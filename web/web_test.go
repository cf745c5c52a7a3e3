package web_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/book"
	"evenstand/format/plain"
	"evenstand/pipeline"
	"evenstand/web"
)

// emptyBook is a logbook into which nothing was read.
func emptyBook(t *testing.T) *book.Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "spring")
	set := evenstand.NewSettings()
	set.Name, set.Zone = "spring", "America/Chicago"
	if err := book.Create(dir, set, nil, nil); err != nil {
		t.Fatal(err)
	}
	return openBook(t, dir)
}

func openBook(t *testing.T, dir string) *book.Book {
	t.Helper()
	b, err := book.Open(dir, book.Options{Derive: pipeline.Settle})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// served is a server under test.
type served struct {
	*web.Server
	h http.Handler
}

func serve(t *testing.T, b *book.Book, with ...func(*web.Options)) *served {
	t.Helper()
	opt := web.Options{
		Book: b, Version: "test", Formats: func() ([]evenstand.Format, error) { return []evenstand.Format{plain.Format{}}, nil },
		Page: fstest.MapFS{"index.html": {Data: []byte("<!doctype html><title>page</title>")}, "assets/a.js": {Data: []byte("1")}},
	}
	for _, f := range with {
		f(&opt)
	}
	s, err := web.New(opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return &served{s, s.Handler()}
}

// ask sends a request as the page of this computer does.
func (s *served) ask(method, path string, body []byte, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequestWithContext(context.Background(), method, "http://127.0.0.1:7423"+path, bytes.NewReader(body))
	r.RemoteAddr = "127.0.0.1:50000"
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	for _, f := range change {
		f(r)
	}
	w := httptest.NewRecorder()
	s.h.ServeHTTP(w, r)
	return w
}

func (s *served) get(t *testing.T, path string, status int) []byte {
	t.Helper()
	w := s.ask(http.MethodGet, path, nil)
	body, _ := io.ReadAll(w.Result().Body)
	if w.Code != status {
		t.Fatalf("GET %s: %d, want %d: %s", path, w.Code, status, body)
	}
	return body
}
