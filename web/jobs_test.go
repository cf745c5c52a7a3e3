package web_test

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/web"
)

// jobStates gives the state of each piece of work by its ID.
func (s *served) jobStates(t *testing.T) map[string]string {
	t.Helper()
	var list web.JobList
	if err := json.Unmarshal(s.get(t, "/api/v1/jobs", http.StatusOK), &list); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, j := range list.Jobs {
		out[j.ID] = j.State
	}
	return out
}

// until waits until something is so.
func until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came to: %s", what)
		}
	}
}

// Work that waits for its turn is stopped at once, and what it brought is not
// read; the one whose turn it is goes on.
func TestStopWaiting(t *testing.T) {
	hold := make(chan struct{})
	s := serve(t, emptyBook(t), func(o *web.Options) {
		o.Formats = func() ([]evenstand.Format, error) { <-hold; return []evenstand.Format{plain.Format{}}, nil }
	})
	free := func() { close(hold) }
	t.Cleanup(func() { free() })
	start := func() string {
		var j web.Job
		w := s.ask("POST", "/api/v1/settle", []byte("{}"))
		if err := json.Unmarshal(w.Body.Bytes(), &j); err != nil || j.ID == "" {
			t.Fatalf("%d: %v: %s", w.Code, err, w.Body)
		}
		return j.ID
	}
	first := start()
	until(t, "the first runs", func() bool { return s.jobStates(t)[first] == "running" })
	second := start()
	if got := s.jobStates(t)[second]; got != "waiting" {
		t.Fatalf("the second is %s, want waiting", got)
	}
	var stopped web.Job
	if err := json.Unmarshal(s.ask("DELETE", "/api/v1/jobs/"+second, nil).Body.Bytes(), &stopped); err != nil {
		t.Fatal(err)
	}
	if stopped.State != "stopped" || stopped.Says == "" {
		t.Errorf("stopping it gives %+v", stopped)
	}
	third := start()
	if third == second {
		t.Error("what is asked for after a stop joined the work that was stopped")
	}
	got := s.jobStates(t)
	if got[first] != "running" || got[second] != "stopped" || got[third] != "waiting" {
		t.Errorf("after the stop: %v", got)
	}
	free()
	free = func() {}
	until(t, "the others end", func() bool {
		got = s.jobStates(t)
		return got[first] == "done" && got[third] == "done"
	})
	if got[second] != "stopped" {
		t.Errorf("at the end: %v", got)
	}
}
