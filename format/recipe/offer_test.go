package recipe

import (
	"context"
	"slices"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/table"
)

// What a column is offered as, said as an answer, gives the same recipe.
func TestOffersAnswer(t *testing.T) {
	said := 0
	for _, tt := range headers {
		t.Run(tt.name, func(t *testing.T) {
			in := fstest.MapFS{"t.csv": {Data: []byte(tt.file)}}
			ref := table.Ref{Kind: table.Text, Files: []string{"t.csv"}}
			s, err := Take(context.Background(), in, ref, table.Dialect{})
			if err != nil {
				t.Fatal(err)
			}
			about := About{Zone: "America/Chicago", Box: "box"}
			answers := map[string]string{}
			p := Guess(s, about, answers)
			columns := 0
			for _, o := range Offers(s, answers, p) {
				columns += len(o.At)
				if o.State == Certain && len(o.Values) == 1 && o.Values[0].Column == o.Column {
					answers["column "+o.Column] = o.Quantity + ", " + o.Part + ", " + o.Way
					said++
				}
			}
			if columns != len(s.Columns) {
				t.Errorf("%d columns are offered, of %d", columns, len(s.Columns))
			}
			again := Guess(s, about, answers)
			if again.Err != nil && p.Err == nil {
				t.Fatal(again.Err)
			}
			if got, want := string(again.Recipe.Marshal()), string(p.Recipe.Marshal()); got != want {
				t.Errorf("with %q:\n%s\nwant\n%s", answers, got, want)
			}
			for _, o := range Offers(s, answers, again) {
				if answers["column "+o.Column] != "" && o.State != Said {
					t.Errorf("%s was said and is %s", o.Column, o.State)
				}
			}
		})
	}
	if said < 30 {
		t.Errorf("only %d columns were said", said)
	}
}

// Every way that is offered of a quantity is understood.
func TestWays(t *testing.T) {
	for _, q := range evenstand.Quantities()[1:] {
		ways := Ways(q)
		if len(ways) == 0 {
			t.Errorf("%s can be given in no unit", q)
		}
		for i, w := range ways {
			g := &guesser{s: &Sample{}}
			v, err := g.said(&group{pattern: "x", columns: []int{0}}, q.String()+", "+w.Key)
			if err != nil {
				t.Errorf("%s, %s: %v", q, w.Key, err)
				continue
			}
			if v.way() != w.Key {
				t.Errorf("%s, %q is taken for %q", q, w.Key, v.way())
			}
			if slices.ContainsFunc(ways[:i], func(o Option) bool { return o.Key == w.Key || o.Text == w.Text }) {
				t.Errorf("%s: %q is offered twice", q, w)
			}
		}
	}
}
