package find_test

import (
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// From three tenths of a second on, with four stops in an hour (methods
// document, Detectable).
func TestClockOff(t *testing.T) {
	const day = 1_777_723_200 * evenstand.Second
	box := func(off, e float64) find.BoxClock {
		return find.BoxClock{Box: "controller", Offset: off, Error: e, From: day, To: day + 3*3600*evenstand.Second, Grade: evenstand.GradeC}
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
		said  int // boxes named
	}{
		{"3 s off", []find.BoxClock{box(-3, 0.02)}, often, 1},
		{"0.35 s off, told to 0.1", []find.BoxClock{box(0.35, 0.1)}, often, 0},
		{"0.35 s off, told to 0.02", []find.BoxClock{box(0.35, 0.02)}, often, 1},
		{"0.2 s off", []find.BoxClock{box(0.2, 0.01)}, often, 0},
		{"few stops", []find.BoxClock{box(-3, 0.02)}, seldom, 0},
		{"two of three", []find.BoxClock{box(-3, 0.02), box(0.1, 0.02), box(30, 0.1)}, often, 2},
		{"none", nil, often, 0},
	} {
		f, ok := find.ClockOff(tt.boxes, tt.stops)
		if ok != (tt.said > 0) || len(f.Evidence) != tt.said {
			t.Errorf("%s: %v, %d boxes named, want %d", tt.name, ok, len(f.Evidence), tt.said)
		}
		if ok && (f.Stage != evenstand.Raised || f.Alarm != day+3600*evenstand.Second || f.Since != day || len(f.Harm) > 0) {
			t.Errorf("%s: %+v", tt.name, f)
		}
	}
}
