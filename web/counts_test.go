package web_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"evenstand/book"
	"evenstand/core/record"
)

// Counts come as the phone sends them: each is kept or refused by itself, and one
// that comes twice stands once.
func TestCounts(t *testing.T) {
	s := serve(t, plantedBook(t))
	send := func(status int, cs ...map[string]any) book.CountsReply {
		t.Helper()
		var r book.CountsReply
		s.send(t, http.MethodPost, "/api/v1/counts", map[string]any{"counts": cs}, status, &r)
		return r
	}
	one := map[string]any{"id": "a", "at": "2026-05-20T09:30:00-05:00", "field": "north place", "place": "Pass 3", "latitude": 41.6, "longitude": -93.5, "method": "row", "rows": "1,2", "length_m": 5.309, "rows_counted": 2, "plants": 61, "late": 2, "note": "", "who": ""}
	dug := map[string]any{"id": "b", "at": "2026-05-20T09:40:00-05:00", "field": "north place", "method": "row", "depths_m": []float64{0.05, 0.04}, "note": "", "who": ""}
	bad := map[string]any{"id": "c", "at": "2026-05-20T09:40:00-05:00", "field": "north place", "method": "row", "plants": -4}
	if r := send(http.StatusOK, one, dug, bad); len(r.Stored) != 2 || len(r.Refused) != 1 || r.Refused[0].ID != "c" {
		t.Errorf("%+v", r)
	}
	if r := send(http.StatusOK, one); len(r.Known) != 1 {
		t.Errorf("sent again: %+v", r)
	}
	var sheet record.CountSheet
	if err := json.Unmarshal(s.get(t, "/api/v1/counts", http.StatusOK), &sheet); err != nil {
		t.Fatal(err)
	}
	if len(sheet.Counts) != 2 || sheet.Counts[0].Unused == "" {
		t.Errorf("%+v", sheet.Counts)
	}
	s.get(t, "/api/v1/counts/zones?field=nowhere", http.StatusNotFound)
	s.get(t, "/api/v1/counts?field=nowhere", http.StatusNotFound)
}
