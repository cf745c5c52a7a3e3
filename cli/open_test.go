package cli

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// lockedBuffer is written by the program while the test reads.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// `open` makes a logbook where there is none, serves page and interface at the
// address that it prints, and ends in order when it is stopped.
func TestOpen(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	dir := filepath.Join(t.TempDir(), "fresh")
	var out, errs lockedBuffer
	done := make(chan int, 1)
	go func() {
		done <- Run(ctx, Env{Args: []string{"open", dir, "--no-browser", "--listen", "127.0.0.1:0"}, Stdout: &out, Stderr: &errs, Getenv: func(string) string { return "" }})
	}()
	address := regexp.MustCompile(`http://[\d.:]+/`)
	at := ""
	for end := time.Now().Add(20 * time.Second); at == "" && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		at = address.FindString(out.String())
	}
	if at == "" {
		t.Fatalf("no address in %q, %q", out.String(), errs.String())
	}
	for path, want := range map[string]string{"": "<title>Evenstand</title>", "finding/some": "<title>Evenstand</title>", "api/v1/worklist": `"empty":true`, "api/v1/openapi.json": `"openapi":"3.1`} {
		r, err := http.Get(at + path)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(r.Body)
		_ = r.Body.Close()
		if r.StatusCode != http.StatusOK || !strings.Contains(string(body), want) {
			t.Errorf("GET /%s: %d without %q", path, r.StatusCode, want)
		}
	}
	stop()
	select {
	case code := <-done:
		if code != exitDone {
			t.Errorf("ended with %d: %s", code, errs.String())
		}
	case <-time.After(20 * time.Second):
		t.Fatal("it does not end")
	}
	if code := Run(context.Background(), Env{Args: []string{"check", dir}, Stdout: &out, Stderr: &errs, Getenv: func(string) string { return "" }}); code != exitDone {
		t.Errorf("the logbook that was made is not sound: %s", errs.String())
	}
}
