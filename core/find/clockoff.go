package find

import (
	"math"

	"evenstand"
)

// A clock is worth a word from three tenths of a second on, told by four stops
// in an hour (methods document, Detectable).
const (
	clockLeast = 0.3 // s
	clockStops = 4
	clockHour  = 3600 * evenstand.Second
)

// BoxClock is what the logs tell of the clock of a box.
type BoxClock struct {
	Box    string
	Offset float64 // s, logged minus true
	Said   float64 // s, what somebody declared; NaN nobody did
	Parts  int     // of the day between which it was set; 1 it was not
	// Overruled says that the logs are believed and not what was declared.
	Overruled bool
	Error     float64          // s, half-width of the 90 % interval
	From, To  evenstand.Micros // span of the log that it rests on, by the receiver's clock
	Grade     evenstand.Grade
}

// ClockOff makes one finding of all clocks that are off: the boxes differ, but
// what to do is one walk around the cab. stops are when the planter came to a
// stand, in order. False when no clock is off, or too little shows it.
func ClockOff(boxes []BoxClock, stops []evenstand.Micros) (f evenstand.Finding, ok bool) {
	f = evenstand.Finding{Kind: evenstand.KindClockOff, Family: evenstand.Family(evenstand.KindClockOff), Stage: evenstand.Raised, Status: evenstand.Open}
	cause := evenstand.CauseClock
	for _, b := range boxes {
		said := !math.IsNaN(b.Said)
		off := b.Offset
		if said {
			off -= b.Said
		}
		if math.Abs(off)-b.Error < clockLeast {
			continue
		}
		alarm, n := told(b, stops)
		if n < clockStops {
			continue
		}
		f.Evidence = append(f.Evidence, ev("clock of "+b.Box, b.Offset, b.Offset-b.Error, b.Offset+b.Error, float64(n), "s"))
		if b.Parts > 1 {
			f.Evidence = append(f.Evidence, ev("settings of the clock of "+b.Box, float64(b.Parts-1), nan, nan, nan, ""))
		}
		if said {
			name := "said of the clock of "
			if b.Overruled {
				name = "said, and not used, of the clock of "
			}
			f.Evidence = append(f.Evidence, ev(name+b.Box, b.Said, nan, nan, nan, "s"))
			cause = evenstand.CauseClockSaid // that misleads today; the others are put right
		}
		if !ok || b.From < f.Since {
			f.Since = b.From
		}
		if !ok || alarm < f.Alarm {
			f.Alarm = alarm
		}
		if b.Grade != evenstand.NoGrade && (f.Grade == evenstand.NoGrade || b.Grade < f.Grade) {
			f.Grade = b.Grade
		}
		ok = true
	}
	f.SinceLow, f.SinceHigh = f.Since, f.Since
	f.Causes = normalise(evenstand.Cause{Cause: cause, Probability: 1})
	return f, ok
}

// told gives when an hour of the box's log first held the stops that tell its
// clock, and how many stops it holds in all.
func told(b BoxClock, stops []evenstand.Micros) (at evenstand.Micros, n int) {
	var in []evenstand.Micros
	at = evenstand.NoTime
	for _, t := range stops {
		if t < b.From || t > b.To {
			continue
		}
		in = append(in, t)
		if k := len(in) - clockStops; k >= 0 && at == evenstand.NoTime && t-in[k] <= clockHour {
			at = max(t, b.From+clockHour)
		}
	}
	if at == evenstand.NoTime {
		return at, 0
	}
	return min(at, b.To), len(in)
}
