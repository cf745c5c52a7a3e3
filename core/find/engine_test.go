package find_test

import (
	"flag"
	"fmt"
	"testing"

	"evenstand"
)

var long = flag.Bool("long", false, "run the days that take minutes")

func raised(fs []evenstand.Finding) (out []evenstand.Finding) {
	for _, f := range fs {
		if f.Stage == evenstand.Raised {
			out = append(out, f)
		}
	}
	return
}

func show(t *testing.T, fs []evenstand.Finding) {
	for _, f := range fs {
		until := "open"
		if f.Until != nil {
			until = (*f.Until - t0).Time().Format("15:04:05")
		}
		top := ""
		if len(f.Causes) > 0 {
			top = f.Causes[0].Cause
		}
		harm := ""
		if len(f.Harm) > 0 {
			harm = fmt.Sprintf(" harm %.0f..%.0f", float64(f.Harm[0].Amount.Low), float64(f.Harm[0].Amount.High))
		}
		t.Logf("%s %s rows %v since %s alarm %s until %s: %s%s", f.Kind, f.Stage, f.Rows, (f.Since - t0).Time().Format("15:04:05"), (f.Alarm - t0).Time().Format("15:04:05"), until, top, harm)
	}
}

func TestCalmDays(t *testing.T) {
	days := 1
	if *long {
		days = 20
	}
	n := 0
	for d := range days {
		w := world{rows: 16, hours: 10, rate: 25, seed: uint64(1000 + d), slip: 0.2, vacuum: func(string, float64) float64 { return 0 }}
		fs := raised(w.run(config(16)))
		show(t, fs)
		n += len(fs)
	}
	t.Logf("%d false findings in %d days of ten hours", n, days)
	if float64(n) > 0.5*float64(days)+1 {
		t.Errorf("%d false findings in %d healthy days", n, days)
	}
}

func TestFaultsOfOneDay(t *testing.T) {
	w := world{
		rows: 16, hours: 6, rate: 25, seed: 42, slip: 0.2,
		skip: func(row int, t float64, cell int) (float64, float64) {
			switch {
			case row == 3 && t > 3*3600 && cell == 7:
				return 1, 1
			case row == 5 && t > 3*3600 && t < 5*3600 && cell == 11:
				return 1, 0.5
			case row == 14 && t > 2*3600 && t < 4*3600:
				return 4, -1
			case row == 8 && t > 1.5*3600 && t < 1.5*3600+4:
				return 1, 0.4 // a rock
			case row >= 9 && t > 4.5*3600 && t < 5.5*3600:
				return 2, -1
			}
			return 1, -1
		},
		double: func(row int, t float64) float64 {
			if row == 12 && t > 2.5*3600 {
				return 3
			}
			return 1
		},
		silent: func(row int, t float64) bool { return row == 2 && t > 7000 && t < 7300 },
		runs:   func(row int, t float64) bool { return row == 7 && t > 3600 && t < 9000 },
		vacuum: func(side string, t float64) float64 {
			if side == "right" && t > 4.5*3600 && t < 5.5*3600 {
				return -1200
			}
			return 0
		},
		enabled: func(row int, t float64) bool { return !(row == 1 && t > 5*3600 && t < 5*3600+120) },
		ratio: func(t float64) float64 {
			if t > 3600 && t < 6000 {
				return 1.04
			}
			return 1
		},
	}
	fs := w.run(config(16))
	show(t, fs)
	want := map[string]int{
		evenstand.KindBlockedCell: 3, evenstand.KindWeakCell: 5, evenstand.KindRowSkips: 14, evenstand.KindRowDoubles: 12, evenstand.KindRowStopped: 2,
		evenstand.KindStarvedRow: 7, evenstand.KindRowLeftOff: 1, evenstand.KindLowVacuum: 9, evenstand.KindRateOff: 1,
	}
	for kind, row := range want {
		n := 0
		for _, f := range raised(fs) {
			if f.Kind == kind && f.Rows[0] == row {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%s on row %d: %d findings, want 1", kind, row, n)
		}
	}
	if n := len(raised(fs)); n > len(want)+1 {
		t.Errorf("%d findings raised, want %d", n, len(want))
	}
}
