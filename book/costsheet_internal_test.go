package book

import (
	"math"
	"testing"
	"time"

	"evenstand"
)

// A finding from 9:30 to 11:15 on passes from 9:00 to 10:00 and from 10:30 on: half
// an hour each of nine and ten, a quarter of eleven.
func TestHoursOf(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	at := func(h, m int) evenstand.Micros {
		return evenstand.Micros(time.Date(2026, 5, 2, h, m, 0, 0, zone).UnixMicro())
	}
	until := at(11, 15)
	passes := []evenstand.Pass{{Start: at(9, 0), End: at(10, 0)}, {Start: at(10, 30), End: at(13, 0)}}
	got := hoursOf(&evenstand.Finding{Since: at(9, 30), Until: &until}, passes, zone)
	want := make([]float64, 24)
	want[9], want[10], want[11] = 0.4, 0.4, 0.2
	for h := range want {
		if math.Abs(got[h]-want[h]) > 1e-12 {
			t.Errorf("hour %d: %g, want %g", h, got[h], want[h])
		}
	}
	if got := hoursOf(&evenstand.Finding{Since: at(14, 0)}, passes, zone); got != nil {
		t.Errorf("after the last pass: %v", got)
	}
}
