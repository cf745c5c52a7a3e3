package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"evenstand/web"
)

// A limit is kept, drawn into its measure, and counted for the last day; what
// cannot be is refused and nothing is changed.
func TestLimits(t *testing.T) {
	s := serve(t, plantedBook(t))
	w := s.ask("PATCH", "/api/v1/settings", []byte(`{"limits":[{"of":"ground_speed","label":"","least":"","most":"1","unit":"mph"}],"grain":"4.50","yield_goal":"190"}`))
	var set web.SettingsView
	if err := json.Unmarshal(w.Body.Bytes(), &set); err != nil || w.Code != http.StatusOK || set.Grain != "4.50/bu" || set.Yield != "190bu/ac" || len(set.Missing) != 1 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	var list web.LimitList
	if err := json.Unmarshal(s.get(t, "/api/v1/limits", http.StatusOK), &list); err != nil {
		t.Fatal(err)
	}
	if len(list.Limits) == 1 && list.Limits[0].Of != "ground_speed" {
		t.Errorf("the limit is of %q, set for ground_speed", list.Limits[0].Of)
	}
	if len(list.Limits) != 1 || !list.Limits[0].Known || list.Limits[0].Beyond < 0.95 || !strings.HasPrefix(list.Limits[0].Says, "beyond it on ") {
		t.Errorf("nobody plants at 1 mph: %+v", list)
	}
	var rows web.RowsView
	if err := json.Unmarshal(s.get(t, "/api/v1/rows?measure=speed", http.StatusOK), &rows); err != nil || rows.Measure.Limit.Says != "at most 1 mph" {
		t.Errorf("%v: %+v", err, rows.Measure)
	}
	w = s.ask("PATCH", "/api/v1/settings", []byte(`{"limits":[{"of":"ground_speed","label":"","least":"","most":"fast","unit":"mph"}]}`))
	if w.Code != http.StatusUnprocessableEntity && w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "does not begin with a number") {
		t.Errorf("%d: %s", w.Code, w.Body)
	}
	if err := json.Unmarshal(s.get(t, "/api/v1/limits", http.StatusOK), &list); err != nil || len(list.Limits) != 1 {
		t.Errorf("%v: %+v", err, list)
	}
}
