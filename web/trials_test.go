package web_test

import (
	"net/http"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/try/trial"
	"evenstand/web"
)

// A part on the planter card makes a trial; what it costs is kept, and one row
// alone is not judged.
func TestTrials(t *testing.T) {
	b := plantedBook(t)
	s := serve(t, b)
	var list web.TrialList
	s.send(t, http.MethodGet, "/api/v1/trials", nil, http.StatusOK, &list)
	if len(list.Trials) != 0 || !strings.Contains(list.Empty, "planter card") {
		t.Fatalf("%+v", list)
	}
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := b.ChangeCard(t.Context(), days[0].Planter, "", func(c *evenstand.Card) error {
		c.Attachments = []evenstand.Attachment{{Kind: "seed_firmer", Label: "long", Rows: evenstand.Rows{5}}, {Kind: "row_cleaner", Label: "floating", Rows: evenstand.Rows{3, 6}}}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	s = serve(t, b)
	s.send(t, http.MethodGet, "/api/v1/trials", nil, http.StatusOK, &list)
	if len(list.Trials) != 2 || list.Trials[1].ID != "seed-firmer-long" || list.Trials[1].Verdict != trial.Cannot {
		t.Fatalf("%+v", list.Trials)
	}
	var one web.TrialView
	s.send(t, http.MethodGet, "/api/v1/trials/row-cleaner-floating", nil, http.StatusOK, &one)
	if one.Trial.How != trial.Beside || len(one.Axes) != len(one.Trial.Figures) || len(one.Trial.Rows) != 8 || one.Part.Aim != "" {
		t.Errorf("%s, %d axes of %d figures, %+v", one.Trial.How, len(one.Axes), len(one.Trial.Figures), one.Part)
	}
	if table := string(s.get(t, "/api/v1/trials/row-cleaner-floating/rows.csv", http.StatusOK)); strings.Count(table, "\n") != 1+8*len(one.Trial.Figures) {
		t.Errorf("%d lines of %d figures", strings.Count(table, "\n"), len(one.Trial.Figures))
	}
	var part web.SaidPartView
	s.send(t, http.MethodPatch, "/api/v1/trials/part", map[string]any{"label": "floating", "price_a_row": 120, "aim": "skips"}, http.StatusOK, &part)
	s.send(t, http.MethodGet, "/api/v1/trials/row-cleaner-floating", nil, http.StatusOK, &one)
	if part.Price != 120 || one.Part.Price != 120 || one.Trial.Aim != "skips" {
		t.Errorf("%+v, %+v", part, one.Part)
	}
	mounted := func(of map[string]any, status int) (n int) {
		t.Helper()
		var list web.TrialList
		s.send(t, http.MethodPost, "/api/v1/trials/mounted", of, status, &list)
		for _, p := range list.Mounted {
			if p.Label == "spoked pair" && p.Kind == "closing wheel" && p.Rows == "4-5" && p.Since == "2026-04-20" {
				n++
			}
		}
		return n
	}
	wheels := map[string]any{"kind": "Closing wheel", "label": "spoked pair", "rows": "4,5", "since": "2026-04-20"}
	if n := mounted(wheels, http.StatusOK); n != 1 {
		t.Errorf("mounted: %d on the card", n)
	}
	mounted(wheels, http.StatusUnprocessableEntity) // twice
	mounted(map[string]any{"kind": "a", "label": "b", "rows": "4", "since": "May"}, http.StatusUnprocessableEntity)
	mounted(map[string]any{"kind": "a", "label": "b", "rows": "99"}, http.StatusUnprocessableEntity)
	wheels["mistake"] = true
	if n := mounted(wheels, http.StatusOK); n != 0 {
		t.Errorf("taken off: %d on the card", n)
	}
	mounted(wheels, http.StatusNotFound)
	s.send(t, http.MethodPatch, "/api/v1/trials/part", map[string]any{"label": "floating", "aim": "luck"}, http.StatusUnprocessableEntity, nil)
	s.get(t, "/api/v1/trials/nothing", http.StatusNotFound)
	var plan web.TrialPlan
	s.send(t, http.MethodGet, "/api/v1/trials/plan?part=floating&at_hand=2&start=2026-05-03", nil, http.StatusOK, &plan)
	if len(plan.Plans.Plans) < 2 || plan.Seed != 1 {
		t.Errorf("%+v", plan)
	}
	s.get(t, "/api/v1/trials/plan?part=floating&start=May", http.StatusUnprocessableEntity)
	s.get(t, "/api/v1/trials/plan?part=floating&at_hand=0", http.StatusUnprocessableEntity)
}
