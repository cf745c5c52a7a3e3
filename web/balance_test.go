package web_test

import (
	"net/http"
	"slices"
	"testing"

	"evenstand/book"
)

// Where nothing is known lists are empty, never null, and nothing is tried
// without limits.
func TestBalanceOfLittle(t *testing.T) {
	s := serve(t, emptyBook(t))
	var b book.BalanceView
	s.send(t, http.MethodGet, "/api/v1/balance", nil, http.StatusOK, &b)
	if b.Levers == nil || len(b.Levers) != 0 {
		t.Errorf("%+v", b)
	}
	s.readFiles(t, map[string]string{"stick/seeds.csv": seedsHeader + "2026-05-02T14:00:00Z,1,\n2026-05-02T14:00:01Z,1,\n"})
	s.send(t, http.MethodPost, "/api/v1/journal", map[string]string{"text": "cleaners 30 to 22 psi", "at": "2026-05-02 9:00 am"}, http.StatusOK, nil)
	s.send(t, http.MethodGet, "/api/v1/balance", nil, http.StatusOK, &b)
	for _, l := range b.Levers {
		if l.Verdict != "cannot-say" || len(l.Needs) == 0 || l.Why == nil || l.Past == nil || l.Panels == nil || !slices.Contains(l.Limited, l.Name) {
			t.Errorf("%+v", l)
		}
	}
}
