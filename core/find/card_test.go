package find_test

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"evenstand"
)

// A card that says the wrong number of cells: one finding of the one cell, with
// its true turn, its money from the beginning, and what the card says beside
// it; healthy rows and faults without a rhythm make nothing of it.
func TestWrongCellsOnTheCard(t *testing.T) {
	for _, cells := range []int{38, 42, 45} {
		cfg := config(12)
		for i := range cfg.Cells {
			cfg.Cells[i] = cells
		}
		w := world{rows: 12, hours: 1.5, rate: 25, seed: uint64(cells), skip: func(r int, x float64, cell int) (float64, float64) {
			switch {
			case r == 7 && cell == 11 && x > 2000:
				return 1, 1
			case r == 3 && x > 2500:
				return 4, -1
			}
			return 1, -1
		}}
		fs := raised(w.run(cfg))
		var cell, skips int
		for _, f := range fs {
			switch {
			case f.Family == "cell" && f.Rows[0] == 7:
				cell++
				if v := evidence(f, "cells on the disc"); v != 40 {
					t.Errorf("card %d: discs of %g cells", cells, v)
				}
				if v := evidence(f, "cells on the card"); float64(v) != float64(cells) {
					t.Errorf("card %d: the card is said to say %g", cells, v)
				}
				if d := (f.Since - at(2000)).Seconds(); math.Abs(d) > 60 {
					t.Errorf("card %d: begins %.0f s off", cells, d)
				}
				// 3,400 s less turns at 25 places a second, of which one in 40.
				want := ground(2000, 5400) / (0.165 * 0.762) / 40
				if got := float64(f.Harm[0].Amount.Mid); math.Abs(got-want) > 0.12*want {
					t.Errorf("card %d: %.0f seeds missing, want %.0f", cells, got, want)
				}
			case f.Kind == evenstand.KindRowSkips && f.Rows[0] == 3:
				skips++
			default:
				t.Errorf("card %d: %s on rows %v", cells, f.Kind, f.Rows)
			}
		}
		if cell != 1 || skips != 1 {
			show(t, fs)
			t.Errorf("card %d: %d findings of the cell and %d of the skips, want one of each", cells, cell, skips)
		}
	}
}

// A card of twice the rows that are ever logged: the whole machine's rate is
// told of the rows that are, on their ground, as with the right card.
func TestMoreRowsOnTheCard(t *testing.T) {
	run := func(rows int) (fs []evenstand.Finding) {
		cfg := config(12)
		cfg.Rows = rows
		w := world{rows: 12, hours: 1.5, rate: 25, seed: 3, ratio: func(x float64) float64 {
			if x > 1800 {
				return 1.059
			}
			return 1
		}}
		for _, f := range raised(w.run(cfg)) {
			if f.Kind == evenstand.KindRateOff {
				fs = append(fs, f)
			}
		}
		return fs
	}
	right := run(12)
	for _, rows := range []int{24, 36} {
		got := run(rows)
		if len(right) != 1 || len(got) != 1 {
			t.Fatalf("%d findings with the right card, %d with %d rows on it, want one each", len(right), len(got), rows)
		}
		if want := (evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}); !slices.Equal(got[0].Rows, want) {
			t.Errorf("%d rows on the card: told of rows %v", rows, got[0].Rows)
		}
		if want := 12 * ground(1800, 5400); math.Abs(float64(got[0].Harm[0].Area)-want) > 0.02*want {
			t.Errorf("%d rows on the card: %.0f m² charged, want %.0f", rows, float64(got[0].Harm[0].Area), want)
		}
		if !reflect.DeepEqual(got[0].Harm, right[0].Harm) {
			t.Errorf("%d rows on the card: harm %+v, with the right card %+v", rows, got[0].Harm, right[0].Harm)
		}
	}
}
