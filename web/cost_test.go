package web_test

import (
	"net/http"
	"testing"

	"evenstand/core/record"
)

// Where nothing was read lists are empty, never null; a season and a field that
// there is not are told as such.
func TestCostOfNothing(t *testing.T) {
	s := serve(t, emptyBook(t))
	var c record.CostSheet
	s.send(t, http.MethodGet, "/api/v1/cost", nil, http.StatusOK, &c)
	if c.Season != "" || c.Winter == nil || c.Unpriced == nil || c.Seasons == nil || len(c.Ways) != 5 || c.Ways[0].Lines == nil {
		t.Errorf("%+v", c)
	}
	if s.send(t, http.MethodGet, "/api/v1/cost?hour=true", nil, http.StatusOK, &c); len(c.Ways) != 6 {
		t.Errorf("by hour too: %d ways", len(c.Ways))
	}
	for _, q := range []string{"?season=2019", "?field=nowhere"} {
		s.send(t, http.MethodGet, "/api/v1/cost"+q, nil, http.StatusNotFound, nil)
	}
}
