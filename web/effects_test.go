package web_test

import (
	"net/http"
	"testing"

	"evenstand/book"
	"evenstand/web"
)

// Where nothing can be told lists are empty, never null, and a note of a setting
// has what followed it, which is nothing yet.
func TestEffectsOfNothing(t *testing.T) {
	s := serve(t, emptyBook(t))
	var e book.EffectsTold
	s.send(t, http.MethodGet, "/api/v1/effects", nil, http.StatusOK, &e)
	if e.Changes == nil || e.Speeds == nil || e.Curves == nil || len(e.Changes) != 0 {
		t.Errorf("%+v", e)
	}
	s.readFiles(t, map[string]string{"stick/seeds.csv": seedsHeader + "2026-05-02T14:00:00Z,1,\n2026-05-02T14:00:01Z,1,\n"})
	s.send(t, http.MethodPost, "/api/v1/journal", map[string]string{"text": "cleaners 30 to 22 psi", "at": "2026-05-02 9:00 am"}, http.StatusOK, nil)
	var j web.Journal
	s.send(t, http.MethodGet, "/api/v1/journal?day=2026-05-02", nil, http.StatusOK, &j)
	if len(j.Notes) != 1 || j.Notes[0].Followed == nil {
		t.Errorf("%+v", j.Notes)
	}
	s.send(t, http.MethodGet, "/api/v1/effects?lever=cleaner_pressure&measure=trash", nil, http.StatusOK, &e)
	for _, q := range []string{"lever=cleaners", "measure=residue"} { // as the command does
		s.get(t, "/api/v1/effects?"+q, http.StatusUnprocessableEntity)
	}
}
