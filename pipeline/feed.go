package pipeline

import (
	"cmp"
	"context"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/find"
)

// feedStep is the log time between two words to the live pass that time has
// gone on.
const feedStep = evenstand.Second / 10

// Feed hands a day's streams to the live pass event by event, in order of time
// as they would arrive, and gives the pass at its end. pace is called before
// what was logged from t on is handed over, and can wait; tell is told what
// changed. Either may be nil; an error of either ends the feed.
func Feed(ctx context.Context, day Day, pace func(t evenstand.Micros) error, tell func(find.Change) error) (*Live, error) {
	l, err := NewLive(ctx, day)
	if err != nil {
		return nil, err
	}
	fixes := merge(func(x *arrival[evenstand.Fix]) evenstand.Micros { return x.t })
	seeds := merge(func(x *arrival[evenstand.Seed]) evenstand.Micros { return x.t })
	readings := merge(func(x *arrival[evenstand.Reading]) evenstand.Micros { return x.t })
	defer func() { fixes.close(); seeds.close(); readings.close() }()
	arrive, err := arrivals(ctx, day)
	if err != nil {
		return nil, err
	}
	to := l.s.midnight + 36*3600*evenstand.Second
	for i := range day.Streams {
		st, tm := &day.Streams[i], arrive[i]
		if st.Fixes != nil {
			fixes.add(i, arriving(st.Fixes, tm, day.From, to, func(x *evenstand.Fix) *evenstand.Micros { return &x.T }))
		}
		if st.Seeds != nil {
			seeds.add(i, arriving(st.Seeds, tm, day.From, to, func(x *evenstand.Seed) *evenstand.Micros { return &x.T }))
		}
		if st.Readings != nil {
			readings.add(i, arriving(st.Readings, tm, day.From, to, func(x *evenstand.Reading) *evenstand.Micros { return &x.T }))
		}
	}
	told := func(cs []find.Change, err error) error {
		for _, c := range cs {
			if tell != nil {
				if err := tell(c); err != nil {
					return err
				}
			}
		}
		return err
	}
	entries, err := entriesOf(day, arrive)
	if err != nil {
		return nil, err
	}
	now := evenstand.NoTime
	for {
		f, fi, err := fixes.peek()
		if err != nil {
			return l, err
		}
		s, si, err := seeds.peek()
		if err != nil {
			return l, err
		}
		r, ri, err := readings.peek()
		if err != nil {
			return l, err
		}
		t := evenstand.NoTime
		if f != nil {
			t = f.t
		}
		if s != nil && (t == evenstand.NoTime || s.t < t) {
			t = s.t
		}
		if r != nil && (t == evenstand.NoTime || r.t < t) {
			t = r.t
		}
		if t == evenstand.NoTime || t >= l.s.midnight && !l.overMidnight() {
			break
		}
		// Time goes on by itself, in a silence too.
		if now == evenstand.NoTime || t-now > 24*3600*evenstand.Second {
			now = t / feedStep * feedStep
			if err := told(l.Now(now)); err != nil {
				return l, err
			}
		}
		for len(entries) > 0 && entries[0].t <= t {
			l.Entry(entries[0].stream, entries[0].x)
			entries = entries[1:]
		}
		for now+feedStep <= t {
			if now += feedStep; pace != nil {
				if err := pace(now); err != nil {
					return l, err
				}
			}
			if err := told(l.Now(now)); err != nil {
				return l, err
			}
		}
		switch {
		case f != nil && f.t == t:
			l.Fix(fixes.stream(fi), f.x)
			fixes.take(fi, 1)
		case r != nil && r.t == t:
			l.Reading(readings.stream(ri), r.x)
			readings.take(ri, 1)
		default:
			l.Seed(seeds.stream(si), s.x)
			seeds.take(si, 1)
		}
	}
	return l, told(l.End())
}

// entryArrival is a line of a journal with the time at which it was written.
type entryArrival struct {
	t      evenstand.Micros
	stream int
	x      evenstand.Entry
}

// entriesOf gives the day's lines of journals in order of time.
func entriesOf(day Day, arrive []timing) (out []entryArrival, err error) {
	for i := range day.Streams {
		st, tm := &day.Streams[i], arrive[i]
		if st.Entries == nil {
			continue
		}
		tm.restart()
		if err := st.Entries(func(es []evenstand.Entry) bool {
			for _, x := range es {
				out = append(out, entryArrival{tm.at(x.T), i, x})
			}
			return true
		}); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(out, func(a, b entryArrival) int { return cmp.Compare(a.t, b.t) })
	return out, nil
}

// arrival is an event with the time at which it arrived.
type arrival[T any] struct {
	t evenstand.Micros
	x T
}

// arriving gives a stream with the times at which it arrived.
func arriving[T any](read func(func([]T) bool) error, tm timing, from, to evenstand.Micros, at func(*T) *evenstand.Micros) func(func([]arrival[T]) bool) error {
	return func(yield func([]arrival[T]) bool) error {
		tm.restart()
		var buf []arrival[T]
		return read(func(b []T) bool {
			buf = buf[:0]
			for i := range b {
				if t := tm.at(*at(&b[i])); t >= from && t < to {
					buf = append(buf, arrival[T]{t, b[i]})
				}
			}
			return len(buf) == 0 || yield(buf)
		})
	}
}

// arrivals gives when what the streams hold arrived: by their clocks as they
// are told, or, where nobody has said anything, as the whole day's logs tell
// them. The live pass is not told; it sees only that something arrives.
func arrivals(ctx context.Context, day Day) ([]timing, error) {
	s := &settler{ctx: ctx, day: day, card: day.Card}
	var err error
	if s.midnight, err = nextDay(day.Date, day.Zone); err != nil {
		return nil, err
	}
	told := true
	for i := range day.Streams {
		st := &day.Streams[i]
		told = told && (!math.IsNaN(st.Source.ClockOffset) || st.Fixes == nil && st.Seeds == nil && st.Readings == nil)
	}
	if told || len(day.Streams) == 1 {
		s.timings = make([]timing, len(day.Streams))
		for i := range s.timings {
			s.timings[i].declare(&day.Streams[i].Source)
		}
		return s.timings, nil
	}
	if err := s.survey(); err != nil {
		return nil, err
	}
	s.smoothTrack()
	s.setClocks()
	return s.timings, nil
}
