package try_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/try"
)

// One hand movement that two boxes log, or a note and a box, is one change; two that
// follow one another stay two.
func TestOnce(t *testing.T) {
	nan := math.NaN()
	at := 3600 * second
	rows := evenstand.Rows{1, 2, 3}
	box := try.Change{Lever: "gauge_wheel_load_target", T: at, Early: at, Late: at, Rows: rows, From: 445, To: 667, Source: "a"}
	for _, tt := range []struct {
		name string
		of   func(c *try.Change)
		want int
	}{
		{"another box a second later", func(c *try.Change) { c.T, c.Early, c.Late, c.Source = at+second, at+second, at+second, "b" }, 1},
		{"a note that rounds and names no rows", func(c *try.Change) {
			c.T, c.Early, c.Late, c.Source, c.Note, c.Rows, c.From, c.To = at+60*second, at-30*second, at+150*second, "", 7, nil, nan, 670
		}, 1},
		{"a line of a box's journal", func(c *try.Change) {
			c.T, c.Early, c.Late, c.Source, c.From, c.To = at+60*second, at-30*second, at+150*second, "b", 440, 660
		}, 1},
		{"another box long after", func(c *try.Change) { c.T, c.Early, c.Late, c.Source = at+600*second, at+600*second, at+600*second, "b" }, 2},
		{"other rows", func(c *try.Change) { c.Source, c.Rows = "b", evenstand.Rows{4, 5} }, 2},
		{"the next step up", func(c *try.Change) { c.From, c.To = 667, 890 }, 2},
		{"and back", func(c *try.Change) { c.From, c.To = 667, 445 }, 2},
		{"another lever", func(c *try.Change) { c.Lever = "vacuum" }, 2},
	} {
		o := box
		tt.of(&o)
		for _, all := range [][]try.Change{{box, o}, {o, box}} {
			got := try.Once(all)
			if len(got) != tt.want {
				t.Errorf("%s: %+v", tt.name, got)
				continue
			}
			if c := got[0]; tt.want == 1 && (c.T != at || c.From != 445 || c.To != 667 || c.Note != o.Note || c.Source != "a" && c.Source != "b" || len(c.Rows) != 3) {
				t.Errorf("%s: %+v", tt.name, c)
			}
		}
	}
}
