package book_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"evenstand"
)

// A target that stands otherwise in the morning than in the evening was changed in
// between: nobody saw when, and what it was set to holds from the first stretch on. A
// note of a later day says what the one before left.
func TestOvernight(t *testing.T) {
	ctx := context.Background()
	b := newBook(t)
	var seeds, machine strings.Builder
	for d, load := range []string{"400", "500", "500"} {
		for i := range int64(600) {
			at := at(2+d, 9, 0) + evenstand.Micros(i)*evenstand.Second
			fmt.Fprintf(&seeds, "s %d 1\n", at)
			for row := 1; row <= 4; row++ {
				v := load
				if row == 4 {
					v = "400"
				}
				fmt.Fprintf(&machine, "r %d gauge_wheel_load_target row_%d %s\n", at, row, v)
			}
		}
	}
	read(t, b, folder(t, map[string][]byte{"seed.log": []byte("c 4 four rows\n" + seeds.String()), "machine.log": []byte("c 4 four rows\n" + machine.String())}))
	days, err := b.Days(ctx)
	if err != nil || len(days) != 3 {
		t.Fatalf("%v, %+v", err, days)
	}
	for d, to := range []float64{2, 1.75, 2} {
		if d != 1 {
			if err := addEntry(ctx, b, days[0].Planter, evenstand.Entry{T: at(2+d, 9, 5), What: "setting", Value: to, Unit: "in", Note: "depth"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	for d := range days {
		cs, err := b.Changes(ctx, days[d].Planter, days[d].Day)
		if err != nil || len(cs) != 1 {
			t.Errorf("%s: %v, %+v", days[d].Day, err, cs)
			continue
		}
		c := &cs[0]
		switch d {
		case 0:
			if c.Lever != "depth" || !math.IsNaN(c.From) {
				t.Errorf("%+v", c)
			}
		case 1:
			if c.Lever != "gauge_wheel_load_target" || c.From != 400 || c.To != 500 || c.Rows.String() != "1-3" || c.Early != at(2, 9, 0)+599*evenstand.Second || c.T != at(3, 9, 0) || c.Late != c.T {
				t.Errorf("%+v", c)
			}
		case 2:
			if c.Lever != "depth" || math.Abs(c.From-2*0.0254) > 1e-9 {
				t.Errorf("%+v", c)
			}
		}
	}
	es, err := b.Effects(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range es {
		for _, fs := range e.Changes {
			for i := range fs {
				if fs[i].Known() {
					t.Errorf("%+v", fs[i])
				}
			}
		}
	}
	sound(t, b)
}
