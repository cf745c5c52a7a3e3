package book_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

// What the boxes logged beside their measurements is kept with its source, in
// time order, and what people wrote is not among it.
func TestBoxJournal(t *testing.T) {
	ctx := context.Background()
	b := newBook(t)
	begin := at(2, 9, 0)
	after := func(s int64) evenstand.Micros { return begin + evenstand.Micros(s)*evenstand.Second }
	var seeds, machine strings.Builder
	for i := range int64(900) {
		fmt.Fprintf(&seeds, "s %d 1\n", after(i))
	}
	fmt.Fprintf(&seeds, "j %d remark vacuum low\n", after(30))
	for i := range int64(900) {
		rate := "7"
		switch {
		case i >= 300 && i < 320: // a finger on its way
			rate = "7.5"
		case i >= 320:
			rate = "8"
		}
		fmt.Fprintf(&machine, "r %d seed_rate_target machine %s\n", after(i), rate)
		for row := 1; row <= 3; row++ {
			load := "400"
			if i >= 600+int64(row) && row < 3 {
				load = "500"
			}
			fmt.Fprintf(&machine, "r %d gauge_wheel_load_target row_%d %s\n", after(i), row, load)
		}
	}
	fmt.Fprintf(&machine, "j %d refill seed boxes\n", after(200))
	read(t, b, folder(t, map[string][]byte{"seed.log": []byte("c 4 four rows\n" + seeds.String()), "machine.log": []byte("c 4 four rows\n" + machine.String())}))
	days, err := b.Days(ctx)
	if err != nil || len(days) != 1 {
		t.Fatalf("%v, %+v", err, days)
	}
	if err := addEntry(ctx, b, days[0].Planter, evenstand.Entry{T: after(100), What: "remark", Note: "mine"}); err != nil {
		t.Fatal(err)
	}
	read(t, b)
	lines, more, err := b.BoxJournal(ctx, days[0].Day)
	if err != nil || more != 0 {
		t.Fatal(err, more)
	}
	var got []string
	for _, l := range lines {
		got = append(got, fmt.Sprintf("%d %s %s %s%s %v %v rows %q", (l.T-begin)/evenstand.Second, l.Source, l.What, l.Note, l.Quantity, l.Was, l.Value, l.Rows))
	}
	want := []string{
		`30 seed remark vacuum low NaN NaN rows ""`,
		`200 machine refill seed boxes NaN NaN rows ""`,
		`320 machine target seed_rate_target 7 8 rows ""`,
		`601 machine target gauge_wheel_load_target 400 500 rows "1-2"`,
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	again, _, err := b.BoxJournal(ctx, days[0].Day)
	if err != nil || !slices.EqualFunc(again, lines, func(a, b book.BoxLine) bool { return fmt.Sprint(a) == fmt.Sprint(b) }) {
		t.Errorf("made again: %v, %v", again, err)
	}
	sound(t, b)
}

// A level that is set by hand and only measured is a line of its box; what a person
// wrote of the same change is the same line.
func TestLevelsInTheBoxJournal(t *testing.T) {
	ctx := context.Background()
	b := newBook(t)
	begin := at(2, 9, 0)
	after := func(s int64) evenstand.Micros { return begin + evenstand.Micros(s)*evenstand.Second }
	var seeds, air strings.Builder
	for i := range int64(1800) {
		fmt.Fprintf(&seeds, "s %d 1\n", after(i))
		for row := 1; row <= 4; row++ {
			p := int64(138000)
			if i >= 800 && row < 3 {
				p = 180000
			}
			fmt.Fprintf(&air, "r %d cleaner_pressure row_%d %d\n", after(i), row, p+i%7*100)
		}
	}
	read(t, b, folder(t, map[string][]byte{"seed.log": []byte("c 4 four rows\n" + seeds.String()), "air.log": []byte("c 4 four rows\n" + air.String())}))
	days, err := b.Days(ctx)
	if err != nil || len(days) != 1 {
		t.Fatalf("%v, %+v", err, days)
	}
	day := days[0].Day
	lines, _, err := b.BoxJournal(ctx, day)
	if err != nil || len(lines) != 1 {
		t.Fatalf("%v, %+v", err, lines)
	}
	l := lines[0]
	if d := (l.T - after(800)) / evenstand.Second; l.What != "level" || l.Rows != "1-2" || d < -10 || d > 10 || math.Abs(float64(l.Value)-180300) > 100 || math.Abs(float64(l.Was)-138300) > 100 {
		t.Errorf("%+v", l)
	}
	// By hand, a minute late, on the wrong rows, and another that no box saw.
	for _, e := range []evenstand.Entry{
		{T: after(860), What: "setting", Rows: evenstand.Rows{3}, Value: 26, Unit: "psi", Note: "cleaner_pressure, was 20 psi: trash"},
		{T: after(1200), What: "setting", Value: math.NaN(), Note: "force_mode fixed"},
		{T: after(1300), What: "setting", Value: 2.25, Unit: "in", Note: "depth"},
		{T: after(1500), What: "setting", Value: 2, Unit: "in", Note: "depth"},
	} {
		if err := addEntry(ctx, b, days[0].Planter, e); err != nil {
			t.Fatal(err)
		}
	}
	cs, err := b.Changes(ctx, days[0].Planter, day)
	if err != nil || len(cs) != 4 {
		t.Fatalf("%v, %+v", err, cs)
	}
	if c := cs[0]; c.Lever != "cleaner_pressure" || c.Note != 1 || c.Source == "" || c.Rows.String() != "1-2" || c.T != l.T || c.Early > c.T || c.Late < c.T || c.From > 140000 {
		t.Errorf("%+v", c)
	}
	if c := cs[1]; c.Lever != "force_mode" || c.ToState != "fixed" || len(c.Rows) != 0 || c.Early != after(1110) || c.Late != after(1290) || c.Source != "" {
		t.Errorf("%+v", c)
	}
	if c := cs[3]; c.Lever != "depth" || math.Abs(c.From-2.25*0.0254) > 1e-9 || math.Abs(c.To-2*0.0254) > 1e-9 {
		t.Errorf("%+v", c)
	}
	notes, boxes, _, err := b.DayJournal(ctx, day)
	if err != nil {
		t.Fatal(err)
	}
	j := book.Join(notes, boxes)
	if !j.Told(1, 0) || j.Told(2, 0) || j.Told(0, 0) {
		t.Errorf("%+v", j.Of)
	}
	if got := j.Say(0, advise.Voice{}); !strings.HasPrefix(got, "Row-cleaner pressure went from 20.1 psi to 26.2 psi, rows 1-2") || !strings.HasSuffix(got, ": trash") {
		t.Errorf("%q", got)
	}
	// The same line with the other words takes the note back into its own.
	if _, err := b.TakeBack(ctx, 1); err != nil {
		t.Fatal(err)
	}
	if cs, err = b.Changes(ctx, days[0].Planter, day); err != nil || cs[0].Note != 0 || len(cs) != 4 {
		t.Errorf("%v, %+v", err, cs)
	}
	sound(t, b)
}
