package find_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

func saidOf(b find.BoxClock, said float64) find.BoxClock {
	b.Said = said
	return b
}

// From three tenths of a second on, with four stops in an hour (methods
// document, Detectable).
func TestClockOff(t *testing.T) {
	const day = 1_777_723_200 * evenstand.Second
	box := func(off, e float64) find.BoxClock {
		return find.BoxClock{Box: "controller", Offset: off, Said: math.NaN(), Error: e, From: day, To: day + 3*3600*evenstand.Second, Grade: evenstand.GradeC}
	}
	stops := func(minutes ...evenstand.Micros) (s []evenstand.Micros) {
		for _, m := range minutes {
			s = append(s, day+m*60*evenstand.Second)
		}
		return s
	}
	often, seldom := stops(5, 20, 40, 55, 100), stops(5, 70, 100, 170)
	for _, tt := range []struct {
		name  string
		boxes []find.BoxClock
		stops []evenstand.Micros
		said  int // figures: one a box, and what was said of it
	}{
		{"3 s off", []find.BoxClock{box(-3, 0.02)}, often, 1},
		{"0.35 s off, told to 0.1", []find.BoxClock{box(0.35, 0.1)}, often, 0},
		{"0.35 s off, told to 0.02", []find.BoxClock{box(0.35, 0.02)}, often, 1},
		{"0.2 s off", []find.BoxClock{box(0.2, 0.01)}, often, 0},
		{"few stops", []find.BoxClock{box(-3, 0.02)}, seldom, 0},
		{"two of three", []find.BoxClock{box(-3, 0.02), box(0.1, 0.02), box(30, 0.1)}, often, 2},
		{"none", nil, often, 0},
		{"as was said", []find.BoxClock{saidOf(box(3600.1, 0.05), 3600)}, often, 0},
		{"not as was said", []find.BoxClock{saidOf(box(3608, 0.05), 3600)}, often, 2},
		{"said to be right", []find.BoxClock{saidOf(box(-3, 0.02), 0)}, often, 2},
		{"set during the day", []find.BoxClock{{Box: "fan", Offset: 3, Said: math.NaN(), Parts: 2, Error: 0.02, From: day, To: day + 3*3600*evenstand.Second}}, often, 2},
	} {
		f, ok := find.ClockOff(tt.boxes, tt.stops)
		if ok != (tt.said > 0) || len(f.Evidence) != tt.said {
			t.Errorf("%s: %v, %d figures, want %d", tt.name, ok, len(f.Evidence), tt.said)
		}
		if ok && (f.Stage != evenstand.Raised || f.Alarm != day+3600*evenstand.Second || f.Since != day || len(f.Harm) > 0) {
			t.Errorf("%s: %+v", tt.name, f)
		}
	}
}
