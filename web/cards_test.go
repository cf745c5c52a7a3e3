package web_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"strings"
	"sync"
	"testing"

	"evenstand"
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

// What a tank holds is written on the card, and a tank that it does not have is
// put on it.
func TestTanks(t *testing.T) {
	s := serve(t, plantedBook(t))
	var l web.CardList
	s.send(t, http.MethodGet, "/api/v1/cards", nil, http.StatusOK, &l)
	planter, n := l.Cards[0].Planter, len(l.Cards[0].Tanks)
	say := func(tank map[string]any, code int) {
		t.Helper()
		l = web.CardList{}
		s.send(t, http.MethodPatch, "/api/v1/cards", map[string]any{"planter": planter, "tank": tank}, code, &l)
	}
	say(map[string]any{"number": 7, "product": " 10-34-0 ", "capacity_m3": 1.1}, http.StatusOK)
	if got := l.Cards[0].Tanks; len(got) != n+1 || got[n].Number != 7 || got[n].Product != "10-34-0" || float64(got[n].Capacity) != 1.1 {
		t.Fatalf("%+v", got)
	}
	say(map[string]any{"number": 7, "name": "front"}, http.StatusOK)
	if got := l.Cards[0].Tanks[n]; got.Name != "front" || got.Product != "10-34-0" || !strings.HasPrefix(got.Says, "front: 10-34-0, ") {
		t.Errorf("%+v", got)
	}
	say(map[string]any{"number": 7, "product": ""}, http.StatusOK)
	if got := l.Cards[0].Tanks[n]; got.Product != "" || got.Name != "front" {
		t.Errorf("%+v", got)
	}
	say(map[string]any{"number": 0, "product": "water"}, http.StatusUnprocessableEntity)
	say(map[string]any{"number": 7, "capacity_m3": -1}, http.StatusUnprocessableEntity)
}

// What is said of a clock goes before what lies beside the logs, makes the days
// again, and can be taken back.
func TestClockSaid(t *testing.T) {
	s := serve(t, plantedBook(t))
	list := func() map[string]web.SourceView {
		var l web.SourceList
		s.send(t, http.MethodGet, "/api/v1/sources", nil, http.StatusOK, &l)
		out := map[string]web.SourceView{}
		for _, x := range l.Sources {
			out[x.Name] = x
		}
		return out
	}
	stale := func() bool {
		var b web.BookInfo
		s.send(t, http.MethodGet, "/api/v1/book", nil, http.StatusOK, &b)
		return b.Stale
	}
	settle := func() {
		var j web.Job
		s.send(t, http.MethodPost, "/api/v1/settle", nil, http.StatusOK, &j)
		s.await(t, j.ID)
	}
	var box web.SourceView
	for _, x := range list() {
		if x.Grade == evenstand.GradeA {
			box = x
		}
	}
	if box.Name == "" || !math.IsNaN(float64(box.Clock.Said)) || stale() {
		t.Fatalf("%+v", box)
	}
	was := box.Clock
	say := func(more map[string]any, code int) {
		t.Helper()
		body := map[string]any{"planter": box.Planter, "box": box.Name}
		maps.Copy(body, more)
		s.send(t, http.MethodPatch, "/api/v1/sources", body, code, nil)
	}
	say(map[string]any{"offset_s": 0.04, "error_s": 0.1}, http.StatusOK)
	if x := list()[box.Name]; float64(x.Clock.Said) != 0.04 || float64(x.Clock.SaidError) != 0.1 || !stale() {
		t.Errorf("%+v, stale %v", x.Clock, stale())
	}
	settle()
	if x := list()[box.Name]; math.Abs(float64(x.Clock.Offset)-0.04) > 1e-9 || x.Clock.From != "declared" || stale() {
		t.Errorf("%+v, stale %v", x.Clock, stale())
	}
	say(nil, http.StatusOK)
	settle()
	if x := list()[box.Name]; !math.IsNaN(float64(x.Clock.Said)) || x.Clock.Offset != was.Offset || x.Clock.From != was.From {
		t.Errorf("%+v, want %+v", x.Clock, was)
	}
	say(map[string]any{"offset_s": 1e12}, http.StatusUnprocessableEntity)
	box.Name = "no such"
	say(map[string]any{"offset_s": 1}, http.StatusNotFound)
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
