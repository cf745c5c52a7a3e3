package bus_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

var stampOf = regexp.MustCompile(`(?m)^\((\d+)\.(\d{6})\) (\S+) ([0-9A-F]{8})#([0-9A-F]*)$`)

// restamp writes the times of a log anew.
func restamp(log []byte, form func(t evenstand.Micros) string) []byte {
	return stampOf.ReplaceAllFunc(log, func(b []byte) []byte {
		m := stampOf.FindSubmatch(b)
		var sec, us int64
		fmt.Sscan(string(m[1]), &sec)
		fmt.Sscan(string(bytes.TrimLeft(m[2], "0"))+" 0", &us)
		id, data := string(m[4]), string(m[5])
		var bytes strings.Builder
		for i := 0; i < len(data); i += 2 {
			bytes.WriteString(" " + data[i:i+2])
		}
		return fmt.Appendf(nil, " (%s)  %s  %s   [%d] %s", form(evenstand.Micros(sec*1_000_000+us)), m[3], id, len(data)/2, bytes.String())
	})
}

func noted(s *formattest.Stream, what string) bool {
	return strings.Contains(strings.Join(s.Source.Notes, " "), what)
}

// The same capture with all the times that candump can write, and clocks that
// are set, drift or have another zone: places come out at the receiver's times
// and the row stops when it did.
func TestClocks(t *testing.T) {
	opt := bus.WriterOptions{Card: card(4), Log: everything}
	const n = 600
	log := write(t, opt, n, evenstand.Second, 0)
	first := evenstand.NoTime
	for _, tt := range []struct {
		name   string
		form   func(evenstand.Micros) string
		offset float64
		zone   string
		note   string
	}{
		{"absolute", func(t evenstand.Micros) string { return fmt.Sprintf("%010d.%06d", t/1_000_000, t%1_000_000) }, 0, "", "agrees"},
		{"40 s behind", func(t evenstand.Micros) string {
			t -= 40_000_000
			return fmt.Sprintf("%010d.%06d", t/1_000_000, t%1_000_000)
		}, -40, "", "40.00 s behind"},
		{"from zero", func(t evenstand.Micros) string {
			if first == evenstand.NoTime {
				first = t
			}
			t -= first
			return fmt.Sprintf("%03d.%06d", t/1_000_000, t%1_000_000)
		}, 0, "", "counts from when the capture began"},
		{"from the line before", func(t evenstand.Micros) string {
			d := t - first
			if d < 0 {
				d = 0
			}
			first = t
			return fmt.Sprintf("%03d.%06d", d/1_000_000, d%1_000_000)
		}, 0, "", "counts from the line before"},
		{"dated, of a zone two hours ahead", func(t evenstand.Micros) string {
			return (t + 7200_000_000 + 3_000_000).Time().Format("2006-01-02 15:04:05.000000")
		}, 3, "", "3.00 s ahead"},
		{"set on the way", func(x evenstand.Micros) string {
			if x < start+300*evenstand.Second {
				x -= 20 * 86_400 * evenstand.Second
			}
			return fmt.Sprintf("%010d.%06d", x/1_000_000, x%1_000_000)
		}, 0, "", "does not keep its time"},
		{"set from nothing on the way", func(x evenstand.Micros) string {
			if x < start+100*evenstand.Second {
				x -= start - 60*evenstand.Second
			}
			return fmt.Sprintf("%010d.%06d", x/1_000_000, x%1_000_000)
		}, 0, "", "does not keep its time"},
		{"drifts by a thousandth", func(x evenstand.Micros) string {
			x += (x - start) / 1000
			return fmt.Sprintf("%010d.%06d", x/1_000_000, x%1_000_000)
		}, 0, "", "does not keep its time"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			first = evenstand.NoTime
			if tt.name == "from the line before" {
				first = start - evenstand.Second
			}
			s := read(t, bus.Format{Zone: tt.zone}, file(restamp(log, tt.form)))
			if s.Err != nil || math.Abs(s.Source.ClockOffset-tt.offset) > 0.03 || s.Source.ClockError > 0.2 {
				t.Fatalf("%v, clock %g +- %g, want %g; %q", s.Err, s.Source.ClockOffset, s.Source.ClockError, tt.offset, s.Source.Notes)
			}
			if tt.note != "" && !noted(&s, tt.note) {
				t.Errorf("notes %q", s.Source.Notes)
			}
			if len(s.Data.Fix) != n {
				t.Fatalf("%d fixes; %+v", len(s.Data.Fix), s.Data.Left)
			}
			for _, f := range s.Data.Fix {
				at := f.T - evenstand.FromSeconds(s.Source.ClockOffset)
				i := int(math.Round((at - start).Seconds()))
				if w := record(i, 1, evenstand.Second, 0).Fix; math.Abs((at-w.T).Seconds()) > 0.05 || math.Abs(f.Lon-w.Lon) > 2e-7 {
					t.Fatalf("fix %+v, want %+v", f, w)
				}
			}
			w := values(&s, evenstand.RowWorking, evenstand.RowElement(2))
			if len(w) != 2 || math.Abs((w[1].T-start).Seconds()-20-s.Source.ClockOffset) > 0.2 {
				t.Errorf("row 2 works %v", w)
			}
		})
	}
}

// Relative times count from the beginning or from the line before, and frames
// that overtake one another on their way into the log do not hide which.
func TestDeltas(t *testing.T) {
	lines := func(n int, time func(i int) float64) []byte {
		var b []byte
		for i := range n {
			b = fmt.Appendf(b, " (%010.6f)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF\n", time(i))
		}
		return b
	}
	r := rand.New(rand.NewPCG(7, 1))
	for _, tt := range []struct {
		name string
		time func(i int) float64
		want bool
	}{
		{"steady, from zero", func(i int) float64 { return float64(i) * 0.0014 }, false},
		{"steady, from the line before", func(i int) float64 { return 0.0014 * min(float64(i), 1) }, true},
		{"one frame overtaken", func(i int) float64 {
			if i == 7 {
				return 8 * 0.0014
			} else if i == 8 {
				return 7 * 0.0014
			}
			return float64(i) * 0.0014
		}, false},
		{"every second frame overtaken", func(i int) float64 { return float64(i^1) * 0.0014 }, false},
		{"two interfaces, each emptied ten frames at a time", func(i int) float64 { return float64(i/20*10+i%10) * 0.0028 }, false},
		{"times in hundredths", func(i int) float64 { return math.Floor(float64(i)*0.14) / 100 }, false},
		{"by chance, from zero", func(i int) float64 { return float64(i)*0.0014 + 0.001*r.Float64() }, false},
		{"by chance, from the line before", func(int) float64 { return 0.0014 * r.ExpFloat64() }, true},
		{"bursts, from the line before", func(i int) float64 {
			if i%60 == 0 {
				return 0.08
			}
			return 0.0006
		}, true},
		{"a silence at the end, from the line before", func(i int) float64 {
			if i%100 == 99 {
				return 30
			}
			return 0.0006 + 0.0001*float64(i%3)
		}, true},
		{"slower and slower, from the line before", func(i int) float64 { return (0.001 + 1e-6*float64(i)) * r.ExpFloat64() }, true},
	} {
		for _, n := range []int{60, 300, 1400} {
			if got := bus.Deltas(lines(n, tt.time)); got != tt.want {
				t.Errorf("%s, %d lines: from the line before: %t", tt.name, n, got)
			}
		}
	}
	// and of a whole capture the times come out as those without the one swap
	log := write(t, bus.WriterOptions{Card: card(4), Log: everything}, 100, evenstand.Second, 0)
	first := evenstand.NoTime
	out := bytes.SplitAfter(restamp(log, func(t evenstand.Micros) string {
		if first == evenstand.NoTime {
			first = t
		}
		return fmt.Sprintf("%03d.%06d", (t-first)/1_000_000, (t-first)%1_000_000)
	}), []byte("\n"))
	for i := 400; ; i++ {
		if !bytes.Equal(out[i][:13], out[i+1][:13]) {
			out[i], out[i+1] = out[i+1], out[i]
			break
		}
	}
	s := read(t, bus.Format{}, file(bytes.Join(out, nil)))
	if s.Err != nil || len(s.Data.Fix) != 100 || !noted(&s, "counts from when the capture began") {
		t.Fatalf("%v, %d fixes, %q", s.Err, len(s.Data.Fix), s.Source.Notes)
	}
	for i, f := range s.Data.Fix {
		if w := record(i, 1, evenstand.Second, 0).Fix; math.Abs((f.T - w.T).Seconds()) > 0.05 {
			t.Fatalf("fix %d at %v, want %v", i, f.T, w.T)
		}
	}
}

// Without a receiver nobody tells the time: absolute times stand, dated ones
// need a zone, and of relative ones nothing can be used.
func TestClocksAlone(t *testing.T) {
	var log []byte
	for line := range bytes.Lines(write(t, bus.WriterOptions{Card: card(4), Log: everything}, 30, evenstand.Second, 0)) {
		if !bytes.Contains(line, []byte("1C#")) {
			log = append(log, line...)
		}
	}
	s := read(t, bus.Format{}, file(log))
	if !math.IsNaN(s.Source.ClockOffset) || s.Source.Grade != evenstand.GradeB || !noted(&s, "nobody knows whether the capture's clock was right") {
		t.Errorf("clock %g, grade %v, %q", s.Source.ClockOffset, s.Source.Grade, s.Source.Notes)
	}
	dated := file(restamp(log, func(t evenstand.Micros) string { return t.Time().Format("2006-01-02 15:04:05.000000") }))
	got, err := formattest.ReadAll(t.Context(), bus.Format{}, dated)
	if err != nil || !errors.Is(got.Err(), evenstand.ErrNoZone) {
		t.Errorf("without a zone: %v", got.Err())
	}
	s = read(t, bus.Format{Zone: "America/Chicago", Whose: "the logbook's"}, dated)
	if w := values(&s, evenstand.RowWorking, evenstand.RowElement(2)); len(w) != 2 || math.Abs((w[1].T-start).Seconds()-20-5*3600) > 0.2 || s.Source.Zone != "America/Chicago" {
		t.Errorf("in Chicago in May, five hours behind: %v, zone %q", w, s.Source.Zone)
	}
	s = read(t, bus.Format{}, file(restamp(log, func(t evenstand.Micros) string {
		t -= start - 10*evenstand.Second
		return fmt.Sprintf("%03d.%06d", t/1_000_000, t%1_000_000)
	})))
	told := slices.ContainsFunc(s.Data.Left, func(u evenstand.Unused) bool {
		return u.Count > 400 && strings.Contains(u.Why, "nobody knows what time it was") && strings.Contains(u.Do, "candump -l")
	})
	if s.Err != nil || s.Data.Counts().Total() != 0 || !told {
		t.Errorf("%v, %+v, left out %+v", s.Err, s.Data.Counts(), s.Data.Left)
	}
}

// A receiver whose week counter began anew gives dates 1024 weeks early.
func TestRollover(t *testing.T) {
	var k talk
	for i := range 30 {
		at := start + evenstand.Micros(i)*evenstand.Second
		d := le.AppendUint16([]byte{0, 0xf0}, uint16(int64(at)/86_400_000_000-7168))
		k.t = at - start + evenstand.Second/10
		k.frame(126992, 0xff, 0x1c, le.AppendUint32(d, uint32(int64(at)%86_400_000_000/100))...)
		k.frame(61474, 0xff, 0xf0, 0xd0, 7, 0, 0, 0, 0, 0xff, 0x85)
	}
	s := read(t, bus.Format{}, file([]byte(k.b.String())))
	if math.Abs(s.Source.ClockOffset) > 0.01 || !noted(&s, "1024 weeks early") || len(s.Data.Reading) != 30 {
		t.Errorf("clock %g, %d speeds, %q", s.Source.ClockOffset, len(s.Data.Reading), s.Source.Notes)
	}
}

// Where no other clock shows that dates are 1024 weeks early, they are told.
func TestRolloverUnseen(t *testing.T) {
	var k talk
	for i := range 30 {
		at := start + evenstand.Micros(i)*evenstand.Second
		d := le.AppendUint16([]byte{0, 0xf0}, uint16(int64(at)/86_400_000_000-7168))
		k.t = at - start + evenstand.Second/10
		k.frame(126992, 0xff, 0x1c, le.AppendUint32(d, uint32(int64(at)%86_400_000_000/100))...)
		k.frame(61474, 0xff, 0xf0, 0xd0, 7, 0, 0, 0, 0, 0xff, 0x85)
	}
	for name, form := range map[string]func(x evenstand.Micros) string{
		"from zero": func(x evenstand.Micros) string {
			x -= start
			return fmt.Sprintf("%03d.%06d", x/1_000_000, x%1_000_000)
		},
		"a logger whose clock stands elsewhere": func(x evenstand.Micros) string {
			x -= start - 1_500_000_000*evenstand.Second
			return fmt.Sprintf("%010d.%06d", x/1_000_000, x%1_000_000)
		},
	} {
		s := read(t, bus.Format{}, file(restamp([]byte(k.b.String()), form)))
		if s.Err != nil || len(s.Data.Reading) != 30 || !noted(&s, "goes back to 2006-09-16") || !noted(&s, "1024 weeks") {
			t.Errorf("%s: %v, %d speeds, %q", name, s.Err, len(s.Data.Reading), s.Source.Notes)
		}
	}
}

// The end of a description that cannot be read is told.
func TestDescriptionsEnd(t *testing.T) {
	for _, tail := range []string{"", "XYZ and more", "DPD\x05\x00"} {
		var k talk
		k.describe(device, append(tworow(nil), tail...)).say(device, controller, 3, 12, 7000)
		s := read(t, bus.Format{}, file([]byte(k.b.String())))
		told := slices.ContainsFunc(s.Data.Left, func(u evenstand.Unused) bool {
			return strings.Contains(u.Why, "end cannot be read") && u.Count == 1 && u.Line > 1
		})
		if s.Err != nil || len(s.Data.Reading) != 1 || told != (tail != "") {
			t.Errorf("%q: %v, %d readings, left out %+v", tail, s.Err, len(s.Data.Reading), s.Data.Left)
		}
	}
}

// place says 129025 of an address.
func (k *talk) place(at uint8, lat, lon float64) *talk {
	d := le.AppendUint32(nil, uint32(int32(math.Round(lat*1e7))))
	return k.frame(129025, 0xff, at, le.AppendUint32(d, uint32(int32(math.Round(lon*1e7))))...)
}

// Of several receivers one is used, and which is said.
func TestReceivers(t *testing.T) {
	var k talk
	for i := range 100 {
		k.place(0x20, 41.6, -93.6+float64(i)*1e-6).place(0x1c, 41.7, -93.6+float64(i)*1e-6).pause(50)
		if i%2 == 0 {
			k.place(0x1c, 41.7, -93.6+float64(i)*1e-6)
		}
	}
	s := read(t, bus.Format{}, file([]byte(k.b.String())))
	if len(s.Data.Fix) != 150 || s.Data.Fix[0].Lat != 41.7 || !noted(&s, "2 receivers tell where they are; that at address 1C is used, which tells most, and not 20") {
		t.Errorf("%d fixes, %q", len(s.Data.Fix), s.Source.Notes)
	}
	// one that says how it found its place goes before one that says it oftener
	k.b.WriteString(strings.ReplaceAll(gnssFrames, "1662811617", "1777723210"))
	s = read(t, bus.Format{}, file([]byte(strings.ReplaceAll(k.b.String(), "051C", "0520"))))
	if !noted(&s, "that at address 20 is used") {
		t.Errorf("notes %q", s.Source.Notes)
	}
	// 0/0 and not available are no places
	var z talk
	z.place(0x1c, 0, 0).frame(129025, 0xff, 0x1c, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff, 0x7f).place(0x1c, 41.6, -93.6)
	s = read(t, bus.Format{}, file([]byte(z.b.String())))
	if len(s.Data.Fix) != 1 || len(s.Data.Left) != 1 || s.Data.Left[0].Count != 2 {
		t.Errorf("%d fixes, left out %+v", len(s.Data.Fix), s.Data.Left)
	}
}

func speedFrame(mm uint16, last byte) []byte {
	return append(le.AppendUint16(nil, mm), 0, 0, 0, 0, 0xff, last)
}

// The machine's own choice of speed goes before that over ground, and that
// before the wheels'; one that is not available does not count.
func TestSpeeds(t *testing.T) {
	for _, tt := range []struct {
		name               string
		machine, ground    bool
		machineMM, last    uint16
		want               float64
		note               string
		simulated, reverse bool
	}{
		{name: "machine", machine: true, ground: true, machineMM: 2000, want: 2},
		{name: "reverse", machine: true, ground: true, machineMM: 2000, want: -2, reverse: true},
		{name: "simulated", machine: true, machineMM: 2000, want: 2, simulated: true, note: "simulated"},
		{name: "machine not available", machine: true, ground: true, machineMM: 0xffff, want: 1.9, note: "65097"},
		{name: "wheels", want: 2.2, note: "wheels"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var k talk
			for range 20 {
				last := byte(0x85)
				if tt.simulated {
					last = 0x91
				}
				if tt.reverse {
					last &^= 1
				}
				if tt.machine {
					k.frame(61474, 0xff, 0xf0, speedFrame(tt.machineMM, last)...)
				}
				if tt.ground {
					k.frame(65097, 0xff, 0xf0, speedFrame(1900, 0xfd)...)
				}
				k.frame(65096, 0xff, 0xf0, speedFrame(2200, 0x15)...).pause(97)
			}
			s := read(t, bus.Format{}, file([]byte(k.b.String())))
			v := values(&s, evenstand.GroundSpeed, evenstand.Element{})
			if len(v) != 20 || slices.ContainsFunc(v, func(r evenstand.Reading) bool { return math.Abs(r.Value-tt.want) > 1e-9 }) || !noted(&s, tt.note) {
				t.Errorf("%v, want %g; %q", v, tt.want, s.Source.Notes)
			}
		})
	}
}

// What a device says is measured, what the controller says is asked for, also
// where the controller uses the number of what is measured, as old section
// control does; totals that it hands back are no counts.
func TestDirections(t *testing.T) {
	var k talk
	k.describe(device, slices.Concat(tworow(nil), dpd(21, 161, "State"), dpd(22, 82, "Total")))
	k.frame(51968, 0xff, controller, 0xfe, 0xff, 0xff, 0xff, 1, 0, 0, 0)
	k.say(controller, device, 1, 11, 7900)
	k.say(controller, device, 1, 161, -4)  // row 1 off, row 2 not there, rest not there
	k.say(controller, device, 1, 161, -12) // 0xFFFFFFF4: row 1 off, row 2 on
	k.say(controller, device, 2, 82, 50_000)
	k.say(device, controller, 2, 12, 8000).say(device, controller, 3, 12, 7000)
	k.say(device, controller, 1, 161, -11) // 0xFFFFFFF5: both at work
	k.frame(51968, 0xff, controller, 0xfe, 0xff, 0xff, 0xff, 0, 0, 0, 0)
	s := read(t, bus.Format{}, file([]byte(k.b.String())))
	want := []struct {
		q  evenstand.Quantity
		el evenstand.Element
		v  []float64
	}{
		{evenstand.SeedRateTarget, evenstand.Element{}, []float64{7.9}},
		{evenstand.SeedRate, evenstand.RowElement(1), []float64{8}},
		{evenstand.SeedRate, evenstand.RowElement(2), []float64{7}},
		{evenstand.RowEnabled, evenstand.RowElement(1), []float64{0}},
		{evenstand.RowEnabled, evenstand.RowElement(2), []float64{1}},
		{evenstand.RowWorking, evenstand.RowElement(1), []float64{1}},
		{evenstand.RowWorking, evenstand.RowElement(2), []float64{1}},
		{evenstand.SeedCount, evenstand.RowElement(1), nil},
	}
	n := 0
	for _, w := range want {
		var got []float64
		for _, r := range values(&s, w.q, w.el) {
			got = append(got, r.Value)
		}
		if n += len(got); !slices.Equal(got, w.v) {
			t.Errorf("%s of %s: %v, want %v", w.q, w.el, got, w.v)
		}
	}
	if n != len(s.Data.Reading) || !noted(&s, "1 values that the controller sent") || !noted(&s, "task was begun once") {
		t.Errorf("%v; %q", s.Data.Reading, s.Source.Notes)
	}
}

// Two buses in one capture share addresses and nothing else.
func TestTwoBuses(t *testing.T) {
	var a, b talk
	a.describe(device, tworow(nil)).say(device, controller, 3, 12, 8000)
	b.say(device, controller, 3, 12, 5000)
	s := read(t, bus.Format{}, file([]byte(a.b.String()+strings.ReplaceAll(b.b.String(), "can0", "can1"))))
	if v := values(&s, evenstand.SeedRate, evenstand.RowElement(2)); len(v) != 1 || v[0].Value != 8 {
		t.Errorf("row 2: %v", v)
	}
}

// Frames of other kinds and damaged lines are counted, with where they began.
func TestLeftOut(t *testing.T) {
	var k talk
	k.place(0x1c, 41.6, -93.6)
	log := k.b.String() + "(1777723200.5) can0 20000004#0010000000000000\nrubbish\n(1777723200.5) can0 09F8012B##1112233\n(1777723200.5) can0 123#00\nmore rubbish\n(1777723200.6) can0 09F8"
	s := read(t, bus.Format{}, file([]byte(log)))
	got := map[string]evenstand.Unused{}
	for _, u := range s.Data.Left {
		for _, word := range []string{"no lines", "error", "FD", "11-bit", "cut"} {
			if strings.Contains(u.Why, word) {
				got[word] = u
			}
		}
	}
	if len(s.Data.Fix) != 1 || len(got) != 5 || got["no lines"].Count != 2 || got["no lines"].Line != 3 || got["error"].Line != 2 || got["FD"].Line != 4 || got["11-bit"].Line != 5 || got["cut"].Line != 7 {
		t.Errorf("%d fixes, %+v", len(s.Data.Fix), s.Data.Left)
	}
}

// A capture is known by what stands in it, whatever its name.
func TestFind(t *testing.T) {
	log := string(write(t, bus.WriterOptions{Card: card(4), Log: iso11783.LogSpeed}, 2, evenstand.Second, 0))
	for _, tt := range []struct {
		name, data      string
		capture, unused bool
	}{
		{"log.txt", log, true, false},
		{"no-name", log, true, false},
		{"x.log", "\xef\xbb\xbf# remark\r\n\r\n" + strings.ReplaceAll(log, "\n", "\r\n"), true, false},
		{"x.log", strings.ToLower(log), true, false},
		{"x.log", "Jan 1 00:00:00 host kernel: can0: bus-off\n", false, false},
		{"x.csv", "time,row\n1777723200.0,3\n", false, false},
		{"candump-2026-05-02_120000.log", "", false, true},
		{"candump-2026-05-02_120000.log", "garbage\n", false, true},
		{"x.bin", log[:2000] + "\x00", false, false},
	} {
		sources, claimed, unused, err := bus.Format{}.Find(t.Context(), file1(tt.name, tt.data))
		if err != nil || (len(sources) == 1) != tt.capture || (len(claimed) == 1) != (tt.capture || tt.unused) || (len(unused) == 1) != tt.unused {
			t.Errorf("%s %.20q: %v, %v, %v, %v", tt.name, tt.data, sources, claimed, unused, err)
		}
	}
}

func file1(name, data string) fstest.MapFS { return fstest.MapFS{name: {Data: []byte(data)}} }

// A boom and its rows that are switched at once say so in two messages: what
// stands between them is no state of the planter.
func TestStatesOfABurst(t *testing.T) {
	var k talk
	k.describe(device, slices.Concat(tworow(nil), dpd(21, 161, "State"), dpd(22, 141, "Boom")))
	k.say(device, controller, 1, 141, 1).say(device, controller, 1, 161, -16).pause(1000) // at work, rows off
	k.say(device, controller, 1, 141, 0).say(device, controller, 1, 161, -11).pause(1000) // off, rows on: not lifted
	k.say(device, controller, 1, 161, -16).pause(1000)                                    // rows off: lifted
	s := read(t, bus.Format{}, file([]byte(k.b.String())))
	var got []float64
	for _, r := range values(&s, evenstand.ImplementLifted, evenstand.Element{}) {
		got = append(got, r.Value)
	}
	if !slices.Equal(got, []float64{0, 1}) {
		t.Errorf("lifted %v, want down and then up", got)
	}
}

// Where no receiver is on the bus, the tractor's time and date (65254) is good
// enough to place frames that have none, but not to tell a clock by.
func TestTractorsTime(t *testing.T) {
	var k talk
	k.describe(device, tworow(nil))
	for i := range 40 { // 2022-10-19, 07:30:00 on, in quarters of a second; live.md section 2
		k.frame(65254, 0xff, 0xf0, byte(4*i), 30, 7, 10, 74, 37, 125, 125).say(device, controller, 2, 12, 8000)
		for range 8 {
			k.frame(61444, 0xff, 0)
		}
	}
	log := regexp.MustCompile(`(?m)^\(\S+\) `).ReplaceAllString(k.b.String(), "")
	log = regexp.MustCompile(`(?m)^(\S+) (\S{8})#(..)(..)(..)(..)(..)(..)(..)(..)$`).ReplaceAllString(log, "  $1  $2   [8]  $3 $4 $5 $6 $7 $8 $9 ${10}")
	s := read(t, bus.Format{}, file([]byte(log)))
	v := values(&s, evenstand.SeedRate, evenstand.RowElement(1))
	if len(v) != 40 || math.Abs((v[20].T-1_666_164_620*evenstand.Second).Seconds()) > 0.3 || !math.IsNaN(s.Source.ClockOffset) || !noted(&s, "the tractor's times") {
		t.Errorf("%d rates, clock %g, %q", len(v), s.Source.ClockOffset, s.Source.Notes)
	}
}
