package bus_test

import (
	"bytes"
	"io/fs"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

const start evenstand.Micros = 1_777_723_200_000_000 // 2026-05-02T12:00:00Z

// card is a trailed planter of even spacing.
func card(rows int) evenstand.Card {
	c := evenstand.NewCard()
	c.Name, c.Rows, c.RowSpacing = "trailed", rows, 0.762
	c.Geometry.Hitch, c.Geometry.AntennaToHitch, c.Geometry.HitchToRowLine, c.Geometry.AntennaRight = evenstand.Trailed, 2.6, 6.5, 0.1
	return c
}

const everything = iso11783.LogSeedRate | iso11783.LogBoomTarget | iso11783.LogSeedCount | iso11783.LogSkips | iso11783.LogDoubles |
	iso11783.LogWorking | iso11783.LogEnabled | iso11783.LogWorkState | iso11783.LogSpeed | iso11783.LogHeading

// record is second i of a drive to the east at 2 m/s; row 2 drops nothing from
// second 20 on. shift is what the logger's clock is ahead.
func record(i, rows int, every, shift evenstand.Micros) iso11783.Record {
	t := start + evenstand.Micros(i)*every
	f := evenstand.NewFix(t+shift, 41.6, -93.6+2.4e-5*evenstand.Micros(i).Seconds()*float64(every))
	f.Alt, f.Speed, f.Heading, f.HDOP, f.Sats, f.Kind = 300, 2, 90, 0.7, 14, evenstand.FixRTK
	r := iso11783.Record{Fix: f, UTC: t, BoomTarget: 7.9, WorkState: iso11783.On, Speed: 2, Heading: 90}
	for k := range rows {
		rate, on := 7.9, true
		if k == 1 && t-start >= 20*evenstand.Second {
			rate, on = 0, false
		}
		r.SeedRate = append(r.SeedRate, rate)
		r.SeedCount = append(r.SeedCount, math.Floor(12*(t-start).Seconds()))
		r.Skips = append(r.Skips, 0.004*float64(k+1))
		r.Doubles = append(r.Doubles, 0.001)
		r.Working = append(r.Working, on)
		r.Enabled = append(r.Enabled, true)
	}
	return r
}

// write makes a capture of n records.
func write(t testing.TB, opt bus.WriterOptions, n int, every, shift evenstand.Micros) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := bus.NewWriter(&b, opt)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		if err := w.Record(record(i, opt.Card.Rows, every, shift)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// read reads the only capture of an input.
func read(t testing.TB, f bus.Format, in fs.FS) formattest.Stream {
	t.Helper()
	got, err := formattest.ReadAll(t.Context(), f, in)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Streams) != 1 {
		t.Fatalf("%d sources, unused %+v", len(got.Streams), got.Unused)
	}
	if why := formattest.Sound(got); why != "" {
		t.Error(why)
	}
	return got.Streams[0]
}

func file(data []byte) fstest.MapFS {
	return fstest.MapFS{"candump-2026-05-02_120000.log": {Data: data}}
}

// values gives the readings of a quantity and part in order.
func values(s *formattest.Stream, q evenstand.Quantity, el evenstand.Element) []evenstand.Reading {
	var out []evenstand.Reading
	for _, r := range s.Data.Reading {
		if r.Quantity == q && r.Element == el {
			out = append(out, r)
		}
	}
	return out
}

func TestRoundTrip(t *testing.T) {
	for _, tt := range []struct {
		name    string
		rows    int
		version int
		log     iso11783.LogSet
		shift   evenstand.Micros
	}{
		{"transport protocol, version 3", 4, 3, everything, 0},
		{"transport protocol, version 4", 4, 4, everything, -1500 * evenstand.Second / 1000},
		{"extended transport protocol", 36, 4, everything, 12 * evenstand.Second},
		{"two condensed states", 24, 3, everything, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			opt := bus.WriterOptions{Version: tt.version, Card: card(tt.rows), Log: tt.log, Latency: 0.4}
			s := read(t, bus.Format{}, file(write(t, opt, 61, evenstand.Second, tt.shift)))
			if s.Err != nil {
				t.Fatal(s.Err)
			}
			src := s.Source
			if src.Grade != evenstand.GradeB || src.Planter != "trailed" || src.Card == nil {
				t.Fatalf("grade %v, planter %q, card %v; %q", src.Grade, src.Planter, src.Card, src.Notes)
			}
			c := src.Card
			if c.Rows != tt.rows || math.Abs(c.RowSpacing-0.762) > 1e-3 || c.Geometry.Hitch != evenstand.Trailed ||
				c.Geometry.AntennaToHitch != 2.6 || c.Geometry.HitchToRowLine != 6.5 || c.Geometry.AntennaRight != 0.1 || src.Latency != 0.4 {
				t.Errorf("card %+v, latency %g", c, src.Latency)
			}
			if math.Abs(src.ClockOffset-tt.shift.Seconds()) > 0.02 || src.ClockError > 0.15 {
				t.Errorf("clock %g +- %g, want %g", src.ClockOffset, src.ClockError, tt.shift.Seconds())
			}
			if len(s.Data.Fix) != 61 {
				t.Errorf("%d fixes", len(s.Data.Fix))
			}
			for i, f := range s.Data.Fix {
				w := record(i, 1, evenstand.Second, tt.shift).Fix
				if d := (f.T - w.T).Seconds(); math.Abs(d) > 0.02 {
					t.Fatalf("fix %d is %g s off", i, d)
				}
				if math.Abs(f.Lat-w.Lat) > 1e-7 || math.Abs(f.Lon-w.Lon) > 1e-7 {
					t.Fatalf("fix %d at %g, %g, want %g, %g", i, f.Lat, f.Lon, w.Lat, w.Lon)
				}
				if i > 0 && (f.Kind != evenstand.FixRTK || f.Sats != 14 || math.Abs(f.HDOP-0.7) > 1e-9 || f.Alt != 300 || f.Speed != 2 || math.Abs(f.Heading-90) > 0.01) {
					t.Fatalf("fix %d: %+v", i, f)
				}
			}
			off := start + 20*evenstand.Second + tt.shift
			for row := 1; row <= tt.rows; row++ {
				el := evenstand.RowElement(row)
				for _, r := range values(&s, evenstand.SeedRate, el) {
					want := 7.9
					if row == 2 && r.T+400_000 >= off {
						want = 0
					}
					if math.Abs(r.Value-want) > 1e-9 && (r.T+400_000-off).Seconds() > 0.5 {
						t.Fatalf("row %d: rate %g at %v, want %g", row, r.Value, r.T, want)
					}
				}
				if n := len(values(&s, evenstand.SkipFraction, el)); n < 55 || n > 70 {
					t.Errorf("row %d: %d skips", row, n)
				}
				seeds := 0.0
				for _, r := range values(&s, evenstand.SeedCount, el) {
					seeds += r.Value
				}
				if seeds != 720 {
					t.Errorf("row %d: %g seeds, want 12 a second", row, seeds)
				}
				if e := values(&s, evenstand.RowEnabled, el); len(e) != 1 || e[0].Value != 1 {
					t.Errorf("row %d: enabled %v", row, e)
				}
			}
			w := values(&s, evenstand.RowWorking, evenstand.RowElement(2))
			if len(w) != 2 || w[0].Value != 1 || w[1].Value != 0 || math.Abs((w[1].T-off).Seconds()+0.4) > 0.3 {
				t.Errorf("row 2 works %v, want off at %v less the latency", w, off)
			}
			if v := values(&s, evenstand.GroundSpeed, evenstand.Element{}); len(v) < 61 || v[10].Value != 2 {
				t.Errorf("%d speeds", len(v))
			}
			if v := values(&s, evenstand.SeedRateTarget, evenstand.Element{}); len(v) < 1 || v[0].Value != 7.9 {
				t.Errorf("targets %v", v)
			}
			if len(s.Data.Left) > 0 {
				t.Errorf("left out: %+v", s.Data.Left)
			}
		})
	}
}

// A planter that described itself before the logger was plugged in: values of
// its rows have no names, and what to do is said. A capture of the same folder
// that holds the description lends it.
func TestNoDescription(t *testing.T) {
	opt := bus.WriterOptions{Card: card(4), Log: everything, NoPool: true}
	silent := write(t, opt, 30, evenstand.Second, 0)
	s := read(t, bus.Format{}, file(silent))
	if s.Source.Grade == evenstand.GradeB || s.Source.Card != nil || len(values(&s, evenstand.SeedRate, evenstand.RowElement(1))) > 0 {
		t.Errorf("grade %v, card %v", s.Source.Grade, s.Source.Card)
	}
	told := slices.ContainsFunc(s.Data.Left, func(u evenstand.Unused) bool {
		return u.Count > 400 && strings.Contains(u.Why, "address 81") && strings.Contains(u.Do, "before the key is turned on")
	})
	if !told || len(s.Data.Fix) != 30 || len(values(&s, evenstand.GroundSpeed, evenstand.Element{})) == 0 {
		t.Errorf("%d fixes; left out: %+v", len(s.Data.Fix), s.Data.Left)
	}

	opt.NoPool = false
	in := file(silent)
	in["candump-2026-05-02_110000.log"] = &fstest.MapFile{Data: write(t, opt, 10, evenstand.Second, -3600*evenstand.Second)}
	got, err := formattest.ReadAll(t.Context(), bus.Format{}, in)
	if err != nil || got.Err() != nil || len(got.Streams) != 2 {
		t.Fatal(err, got.Err(), len(got.Streams))
	}
	b := &got.Streams[1]
	if b.Source.Grade != evenstand.GradeB || b.Source.Card == nil || b.Source.Card.Rows != 4 || len(b.Data.Left) > 0 {
		t.Errorf("grade %v, card %v, left out %+v", b.Source.Grade, b.Source.Card, b.Data.Left)
	}
	if !strings.Contains(strings.Join(b.Source.Notes, " "), "taken from candump-2026-05-02_110000.log") {
		t.Errorf("notes %q", b.Source.Notes)
	}
}

// Without times frames lie between the receiver's times.
func TestNoTimes(t *testing.T) {
	opt := bus.WriterOptions{Card: card(4), Log: everything, NoTimes: true}
	s := read(t, bus.Format{}, file(write(t, opt, 60, evenstand.Second, 0)))
	if s.Source.Grade != evenstand.GradeB || s.Source.ClockOffset != 0 || len(s.Data.Fix) < 58 {
		t.Fatalf("grade %v, clock %g, %d fixes, left out %+v", s.Source.Grade, s.Source.ClockOffset, len(s.Data.Fix), s.Data.Left)
	}
	for _, f := range s.Data.Fix {
		i := int(math.Round((f.T - start).Seconds()))
		if w := record(i, 1, evenstand.Second, 0).Fix; math.Abs((f.T-w.T).Seconds()) > 0.3 || math.Abs(f.Lon-w.Lon) > 1e-7 {
			t.Fatalf("fix %+v, want %+v", f, w)
		}
	}
	w := values(&s, evenstand.RowWorking, evenstand.RowElement(2))
	if len(w) != 2 || math.Abs((w[1].T-start).Seconds()-20) > 1 { // frames come in bursts, once a second
		t.Errorf("row 2 works %v, want off after 20 s", w)
	}
}
