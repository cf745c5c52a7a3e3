package find_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// lotDay plants three hours with lot A123 planned and filled; at second 4920 the
// planter stands ten minutes, and at second 5520 somebody writes down that rows
// got another lot, which drops worse by a factor.
func lotDay(lot string, rows evenstand.Rows, worse float64, planned ...string) []evenstand.Finding {
	return world{
		rows: 16, hours: 3, rate: 25, seed: 5,
		stands: func(t float64) bool { return t >= 4920 && t < 5520 },
		skip: func(row int, t float64, _ int) (float64, float64) {
			if t >= 5520 && rows.Has(row) {
				return worse, -1
			}
			return 1, -1
		},
		tell: func(e *find.Engine, t float64) {
			switch t {
			case 0:
				for n := 1; n <= 16; n++ {
					e.Planned(n, planned)
				}
				e.Lot(nil, at(t), "A123")
			case 5520:
				e.Refilled(at(t))
				if lot != "" {
					e.Lot(rows, at(t), lot)
				}
			}
		},
	}.run(config(16))
}

// Another lot than the planned is raised within seconds of planting; the same
// words beside others are the planned one.
func TestLotMismatch(t *testing.T) {
	rows := evenstand.Rows{3, 4, 5, 6}
	f := one(t, lotDay("B77", rows, 1, "A123"), evenstand.KindLotMismatch, rows, evenstand.CauseWrongFill)
	if d := (f.Alarm - at(5520)).Seconds(); d < 0 || d > 60 {
		t.Errorf("alarm %.0f s after the fill", d)
	}
	if f.Grade != evenstand.GradeD || !strings.Contains(f.Evidence[0].Name, "B77, planned A123") || float64(f.Evidence[0].Value) < 4*4000*0.165*25*0.762*0.8 {
		t.Errorf("grade %v, evidence %+v", f.Grade, f.Evidence)
	}
	for _, lot := range []string{"a123 new bags", "hybrid A123", ""} {
		if fs := raised(lotDay(lot, rows, 1, "A123")); len(fs) != 0 {
			show(t, fs)
			t.Errorf("lot %q is the planned one", lot)
		}
	}
	if fs := raised(lotDay("B77", rows, 1, "A123", "B77")); len(fs) != 0 {
		show(t, fs)
		t.Error("either lot was planned")
	}
	if fs := raised(lotDay("B77", rows, 1)); len(fs) != 0 {
		show(t, fs)
		t.Error("nothing was planned")
	}
}

// Rows that skip from the fill of a lot on, all of them and no others, are one
// finding with the lot as its first cause (F09); one of them alone, or without a
// note, is its own seal.
func TestLotShift(t *testing.T) {
	rows := evenstand.Rows{3, 4, 5, 6}
	f := one(t, lotDay("B77", rows, 4), evenstand.KindRowSkips, rows, evenstand.CauseLot)
	if p := f.Causes[0].Probability; p < 0.8 {
		t.Errorf("odds %.2f", p)
	}
	if len(f.Harm) != 1 || !(f.Harm[0].Amount.Mid > 0) {
		t.Errorf("harm %+v", f.Harm)
	}
	for _, f := range raised(lotDay("", rows, 4)) {
		if f.Causes[0].Cause != evenstand.CauseSeal || len(f.Rows) != 1 {
			t.Errorf("no lot was written down: rows %v, %+v", f.Rows, f.Causes)
		}
	}
	alone := world{
		rows: 16, hours: 3, rate: 25, seed: 5,
		skip: func(row int, t float64, _ int) (float64, float64) {
			if t >= 5600 && row == 4 {
				return 5, -1
			}
			return 1, -1
		},
		tell: func(e *find.Engine, t float64) {
			if t == 0 {
				e.Lot(nil, at(t), "A123")
			} else if t == 5520 {
				e.Lot(rows, at(t), "B77")
			}
		},
	}
	one(t, alone.run(config(16)), evenstand.KindRowSkips, evenstand.Rows{4}, evenstand.CauseSeal)
	// Both, where it was not planned: the wrong fill, and what it does.
	kinds := map[string]evenstand.Finding{}
	for _, f := range raised(lotDay("B77", rows, 4, "A123")) {
		kinds[f.Kind] = f
	}
	if f := kinds[evenstand.KindLotMismatch]; len(kinds) != 2 || f.Causes[0].Cause != evenstand.CauseWrongFill || f.Causes[0].Probability < 0.85 || kinds[evenstand.KindRowSkips].Causes[0].Cause != evenstand.CauseLot {
		t.Errorf("found %+v", kinds)
	}
}
