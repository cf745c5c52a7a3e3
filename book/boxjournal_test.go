package book_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
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
	if err := b.AddEntry(ctx, days[0].Planter, evenstand.Entry{T: after(100), What: "remark", Note: "mine"}); err != nil {
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
