package web_test

import (
	"encoding/json"
	"math"
	"net/http"
	"strings"
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
}
