package web_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"sync"
	"testing"

	"evenstand/web"
)

// Row 1 on the right turns the places of the rows round; it needs to be known
// how far they stand apart, and can be taken back.
func TestRowOneOnTheRight(t *testing.T) {
	s := serve(t, plantedBook(t))
	card := func() web.CardView {
		var l web.CardList
		if err := json.Unmarshal(s.get(t, "/api/v1/cards", http.StatusOK), &l); err != nil || len(l.Cards) != 1 {
			t.Fatalf("%v: %+v", err, l)
		}
		return l.Cards[0]
	}
	before := card()
	if before.First != "left" || before.Count != 8 {
		t.Fatalf("%+v", before)
	}
	name, _ := json.Marshal(before.Planter)
	for _, side := range []string{"right", "left"} {
		if w := s.ask("PATCH", "/api/v1/cards", []byte(`{"planter":`+string(name)+`,"row_1":"`+side+`"}`)); w.Code != http.StatusOK {
			t.Fatalf("%d: %s", w.Code, w.Body)
		}
		after := card()
		if after.First != side || !strings.HasSuffix(after.Says, "row 1 on the "+side+".") {
			t.Errorf("%s: %+v", side, after)
		}
		for i, r := range after.Rows {
			want := float64(before.Rows[i].Y)
			if side == "right" {
				want = -want
			}
			if math.Abs(float64(r.Y)-want) > 1e-9 {
				t.Errorf("row %d at %g, want %g", r.Row, float64(r.Y), want)
			}
		}
	}
	// What is said later does not turn it back, and what cannot be is refused in
	// words for a form.
	for _, tt := range []struct {
		body string
		code int
		want func(web.CardView) bool
	}{
		{`"row_1":"right"`, 200, func(c web.CardView) bool { return c.First == "right" }},
		{`"rows":8`, 200, func(c web.CardView) bool { return c.First == "right" }},
		{`"row_spacing_m":0.7`, 200, func(c web.CardView) bool { return c.First == "right" && math.Abs(float64(c.Rows[0].Y)-3.5*0.7) < 1e-9 }},
		{`"rows":10`, 200, func(c web.CardView) bool { return c.First == "right" && math.Abs(float64(c.Rows[9].Y)+4.5*0.7) < 1e-9 }},
		{`"crop":"Soybeans "`, 200, func(c web.CardView) bool { return c.Rows[0].Crop == "soybeans" && c.Rows[0].Cells > 0 }},
		{`"rows":6`, 422, nil}, // its sides name rows beyond
		{`"antenna_to_hitch_m":-12`, 422, nil},
	} {
		w := s.ask("PATCH", "/api/v1/cards", []byte(`{"planter":`+string(name)+`,`+tt.body+`}`))
		if w.Code != tt.code || strings.Contains(w.Body.String(), "line ") || strings.Contains(w.Body.String(), "give the command again") {
			t.Errorf("%s: %d: %s", tt.body, w.Code, w.Body)
		}
		if tt.want != nil && !tt.want(card()) {
			t.Errorf("%s: %+v", tt.body, card())
		}
	}
}

// Two changes of the settings at once are both kept.
func TestSettingsAtOnce(t *testing.T) {
	s := serve(t, emptyBook(t))
	for i := range 10 {
		var wait sync.WaitGroup
		name := fmt.Sprintf("north %d", i)
		for _, body := range []string{`{"name":"` + name + `"}`, `{"labour_per_hour":"` + fmt.Sprint(20+i) + `"}`} {
			wait.Go(func() {
				if w := s.ask("PATCH", "/api/v1/settings", []byte(body)); w.Code != http.StatusOK {
					t.Errorf("%d: %s", w.Code, w.Body)
				}
			})
		}
		wait.Wait()
		var set web.SettingsView
		if err := json.Unmarshal(s.get(t, "/api/v1/settings", http.StatusOK), &set); err != nil || set.Name != name || set.Labour != fmt.Sprint(20+i) {
			t.Errorf("%v: %q, %q", err, set.Name, set.Labour)
		}
	}
}
