package iso11783

import (
	"fmt"
	"math"

	"evenstand"
)

// tooFast is the speed in m/s above which two fixes cannot belong to one
// drive (reference, section 8, point 7).
const tooFast = 40.0

// A single wild position is followed by a return; a real move to another place
// (a demonstration unit, a transport with the box off) stays. judgement: ten
// fixes decide.
const strayMost = 10

// Track hands over fixes and drops positions that cannot be: it asks whether
// one can drive from one to the next. Task data and the bus share it.
type Track struct {
	sink   evenstand.Sink
	batch  []evenstand.Fix
	last   evenstand.Fix // last that was kept
	has    bool
	stray  []evenstand.Fix // after a jump, not decided yet
	n      int64
	zero   dropped // 0/0 or no coordinates
	strays dropped
	jumps  int64
	jumpAt int64
	jumpKm float64
	from   evenstand.Micros
}

// dropped counts records left out and where the first one was.
type dropped struct {
	n  int64
	at int64
}

func (d *dropped) add(at int64) {
	if d.n == 0 {
		d.at = at
	}
	d.n++
}

// fixOf makes a fix of a record; false when it has no position.
func fixOf(t evenstand.Micros, r *LogRecord, h *Header) (evenstand.Fix, bool) {
	if h.Fields[fieldNorth] != InRecord || h.Fields[fieldEast] != InRecord {
		return evenstand.Fix{}, false
	}
	f := evenstand.NewFix(t, float64(r.North)/1e7, float64(r.East)/1e7)
	if r.North == 0 && r.East == 0 || math.Abs(f.Lat) > 90 || math.Abs(f.Lon) > 180 {
		return f, false
	}
	if h.Fields[fieldUp] == InRecord && r.Up > -1_000_000 && r.Up < 10_000_000 { // -1 to 10 km
		f.Alt = float64(r.Up) / 1000
	}
	if h.Fields[fieldStatus] == InRecord && r.Status <= 8 {
		f.Kind = evenstand.FixKind(r.Status) + evenstand.FixNone
	}
	if h.Fields[fieldHDOP] == InRecord && r.HDOP > 0 && r.HDOP < 1000 {
		f.HDOP = float64(r.HDOP) / 10
	}
	if h.Fields[fieldSats] == InRecord && r.Sats < 255 {
		f.Sats = int16(r.Sats)
	}
	return f, true
}

// metres is the distance of two near places on a sphere.
func metres(a, b *evenstand.Fix) float64 {
	const r = 6371008.8 * math.Pi / 180
	dy := b.Lat - a.Lat
	dx := b.Lon - a.Lon
	if dx > 180 {
		dx -= 360
	} else if dx < -180 {
		dx += 360
	}
	dx *= math.Cos((a.Lat + b.Lat) / 2 * math.Pi / 180)
	return r * math.Sqrt(dy*dy+dx*dx)
}

// fits tells whether one can drive from a to b. The slack of 5 m bears two
// records of nearly the same instant.
func fits(a, b *evenstand.Fix) bool {
	dt := math.Abs((b.T - a.T).Seconds())
	// 4e-5 degrees of latitude and longitude together are at most 4.5 m
	if math.Abs(b.Lat-a.Lat)+math.Abs(b.Lon-a.Lon) < 4e-5 {
		return true
	}
	return metres(a, b) <= 5+tooFast*dt
}

// NewTrack begins a track.
func NewTrack(sink evenstand.Sink) *Track { return &Track{sink: sink} }

// Nowhere counts a record whose position is 0/0 or missing.
func (t *Track) Nowhere(offset int64) { t.zero.add(offset) }

// Count gives how many fixes were kept.
func (t *Track) Count() int64 { return t.n }

// Add takes the next fix, in time order; offset is where it stands in the
// file.
func (t *Track) Add(f evenstand.Fix, offset int64) error {
	if !t.has {
		return t.keep(f)
	}
	if fits(&t.last, &f) {
		for range t.stray {
			t.strays.add(t.jumpAt)
		}
		t.stray = t.stray[:0]
		return t.keep(f)
	}
	if len(t.stray) > 0 && !fits(&t.stray[len(t.stray)-1], &f) {
		for range t.stray {
			t.strays.add(t.jumpAt)
		}
		t.stray = t.stray[:0]
	}
	if len(t.stray) == 0 {
		t.jumpAt = offset
	}
	t.stray = append(t.stray, f)
	if len(t.stray) >= strayMost {
		return t.settle()
	}
	return nil
}

// settle takes the fixes behind a jump as the new place.
func (t *Track) settle() error {
	if len(t.stray) == 0 {
		return nil
	}
	t.jumps++
	if t.jumps == 1 {
		t.from, t.jumpKm = t.stray[0].T, metres(&t.last, &t.stray[0])/1000
	}
	t.has = false
	for _, f := range t.stray {
		if err := t.keep(f); err != nil {
			return err
		}
	}
	t.stray = t.stray[:0]
	return nil
}

func (t *Track) keep(f evenstand.Fix) error {
	t.last, t.has = f, true
	t.n++
	t.batch = append(t.batch, f)
	if len(t.batch) >= 4096 {
		return t.flush()
	}
	return nil
}

func (t *Track) flush() error {
	if len(t.batch) == 0 {
		return nil
	}
	err := t.sink.Fixes(t.batch)
	t.batch = t.batch[:0]
	return err
}

// Report hands over what of a file's positions was not used.
func (t *Track) Report(file string, sink evenstand.Sink) {
	put := func(at, n int64, why, do string) {
		if n > 0 {
			sink.Unused(evenstand.Unused{File: file, Offset: at, Count: n, Of: "records", Why: why, Do: do})
		}
	}
	put(t.zero.at, t.zero.n, "their position is 0/0 or missing", "Nothing to do; if it goes on for long, look at the receiver.")
	put(t.strays.at, t.strays.n, "their position jumps away and back faster than 40 m/s", "Nothing to do; if it happens often, look at the receiver and its antenna.")
	put(t.jumpAt, t.jumps, fmt.Sprintf("the position jumps faster than 40 m/s and stays (first by %.1f km at %v); the log is used as pieces before and after", t.jumpKm, t.from), "If the machine was not moved with the box off, look whether the receiver was simulated.")
}

// End decides what is open and hands over the rest.
func (t *Track) End() error {
	if len(t.stray) >= 3 || len(t.stray) > 0 && t.n <= 1 {
		if err := t.settle(); err != nil {
			return err
		}
	}
	for range t.stray {
		t.strays.add(t.jumpAt)
	}
	t.stray = nil
	return t.flush()
}
