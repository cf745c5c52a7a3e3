package record_test

import (
	"testing"
	"time"

	"evenstand"
	"evenstand/core/record"
)

// A time of day alone is of the day on which the trouble was last seen, not of the
// day on which it is typed.
func TestParseDone(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	at := func(day, h, m int) evenstand.Micros {
		return evenstand.FromTime(time.Date(2026, 5, day, h, m, 0, 0, zone))
	}
	for _, tt := range []struct {
		says             string
		since, seen, now evenstand.Micros
		want             evenstand.Micros
	}{
		{"2:45 pm", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(2, 14, 45)},
		{"2:45", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(2, 14, 45)},
		{"2:45 PM.", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(2, 14, 45)},
		{"7:10 am", at(2, 13, 24), at(2, 18, 0), at(3, 7, 30), at(3, 7, 10)},  // it had not begun in the morning before
		{"1:15 pm", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(2, 13, 15)}, // a begin is known to some minutes
		{"2:45 pm", at(2, 13, 24), at(2, 18, 0), at(2, 18, 30), at(2, 14, 45)},
		{"today 2:45 pm", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(4, 14, 45)},
		{"10 min ago", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(4, 19, 50)},
		{"may 3 2:45 pm", at(2, 13, 24), at(2, 18, 0), at(4, 20, 0), at(3, 14, 45)},
		{"12:20 am", at(2, 21, 0), at(3, 0, 40), at(4, 20, 0), at(3, 0, 20)}, // planting went past midnight
	} {
		if got, err := record.ParseDone(tt.says, tt.since, tt.seen, tt.now, zone); err != nil || got != tt.want {
			t.Errorf("%q: %s, %v; want %s", tt.says, got.Time().In(zone), err, tt.want.Time().In(zone))
		}
	}
}
