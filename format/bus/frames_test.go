package bus_test

import (
	"math"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/bus"
)

// frame reads one line.
func frame(t *testing.T, line string) *bus.Frame {
	t.Helper()
	sc := bus.NewScanner(strings.NewReader(line + "\n"))
	if !sc.Next() {
		t.Fatalf("%q is no frame: %v", line, sc.Left())
	}
	return sc.Frame()
}

// The forms of the reference, live.md section 6, after can-utils.
func TestLines(t *testing.T) {
	const at evenstand.Micros = 1_502_984_866_421_964
	data := [8]byte{0xf1, 0x2b, 0x6b, 0x1b, 0x8e, 0x5e, 0x36, 0xff}
	for _, tt := range []struct {
		name, line string
		id         uint32
		len        uint8
		t          evenstand.Micros
		times      bus.Times
	}{
		{"log", "(1502984866.421964) slcan0 09F8012B#F12B6B1B8E5E36FF", 0x09F8012B, 8, at, bus.Absolute},
		{"log, nine digits", "(1502984866.421964999) can0 09F8012B#F12B6B1B8E5E36FF", 0x09F8012B, 8, at, bus.Absolute},
		{"log, lower case, CR", "(1502984866.421964) can0 09f8012b#f12b6b1b8e5e36ff\r", 0x09F8012B, 8, at, bus.Absolute},
		{"log with dots", "(1502984866.421964) can0 09F8012B#F1.2B.6B.1B.8E.5E.36.FF", 0x09F8012B, 8, at, bus.Absolute},
		{"log with direction", "(1502984866.421964) can0 09F8012B#F12B6B1B8E5E36FF R", 0x09F8012B, 8, at, bus.Absolute},
		{"log with raw length", "(1502984866.421964) can0 09F8012B#F12B6B1B8E5E36FF_9", 0x09F8012B, 8, at, bus.Absolute},
		{"log, three bytes", "(1502984866.421964) can0 09F8012B#F12B6B", 0x09F8012B, 3, at, bus.Absolute},
		{"log, no bytes", "(1502984866.421964) can0 09F8012B#", 0x09F8012B, 0, at, bus.Absolute},
		{"log from the beginning", "(0000000012.421964) can0 09F8012B#F12B6B1B8E5E36FF", 0x09F8012B, 8, 12_421_964, bus.Relative},
		{"screen", "  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF", 0x09F8012B, 8, evenstand.NoTime, bus.NoTimes},
		{"screen, absolute", " (1502984866.421964)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF", 0x09F8012B, 8, at, bus.Absolute},
		{"screen, dated", " (2017-08-17 15:47:46.421964)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF", 0x09F8012B, 8, at, bus.Dated},
		{"screen, zero or delta", " (000.421964)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF", 0x09F8012B, 8, 421_964, bus.Relative},
		{"screen with text", "  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF   '.+k..^6.'", 0x09F8012B, 8, evenstand.NoTime, bus.NoTimes},
		{"screen, extra", "  can0  RX - -  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF", 0x09F8012B, 8, evenstand.NoTime, bus.NoTimes},
		{"old", "<0x09f8012b> [8] f1 2b 6b 1b 8e 5e 36 ff ", 0x09F8012B, 8, evenstand.NoTime, bus.NoTimes},
	} {
		t.Run(tt.name, func(t *testing.T) {
			sc := bus.NewScanner(strings.NewReader("# a remark\n\n" + tt.line + "\n"))
			if !sc.Next() {
				t.Fatal(sc.Left())
			}
			f := sc.Frame()
			want := [8]byte{}
			copy(want[:tt.len], data[:])
			if f.ID != tt.id || f.Len != tt.len || f.Data != want || f.T != tt.t || sc.Times() != tt.times {
				t.Errorf("%+v, times %v", *f, sc.Times())
			}
			if line, offset := sc.Line(); line != 3 || offset != 12 {
				t.Errorf("line %d at byte %d", line, offset)
			}
		})
	}
}

func TestOtherLines(t *testing.T) {
	for _, tt := range []struct{ line, what string }{
		{"(1502984866.421964) can0 123#0102", "11-bit"},
		{"  can0  123   [2]  01 02", "11-bit"},
		{"<0x123> [2] 01 02", "11-bit"},
		{"(1502984866.421964) can0 09F8012B#R", "remote"},
		{"(1502984866.421964) can0 09F8012B#R4", "remote"},
		{"  can0  09F8012B   [0]  remote request", "remote"},
		{"(1502984866.421964) can0 20000004#0010000000000000", "error"},
		{"  can0  20000004   [8]  00 10 00 00 00 00 00 00   ERRORFRAME", "error"},
		{"(1502984866.421964) can0 09F8012B##1112233", "FD"},
		{"  can0  09F8012B  [16]  01 02", "FD"},
		{"# remark", "nothing"},
		{"   ", "nothing"},
		{"interface = can0, family = 29, type = 3, proto = 1", "nothing"},
		{"(1502984866.421964) can0 09F8012B#0102030405060708FF", "bad"},
		{"(1502984866.421964) can0 09F8012B#010", "bad"},
		{"(1502984866.421964 can0 09F8012B#01", "bad"},
		{"(9999999999.421964) can0 09F8012B#01", "bad"},
		{"(2017-13-17 15:47:46.421964)  can0  09F8012B   [1]  01", "bad"},
		{"(1502984866.421964) can0 09F8012B", "bad"},
		{"<09f8012b> [1] 01", "bad"},
		{"  can0  09F8012B   [8]  F1 2B", "bad"},
		{"  can0  09F8012B   [9]  F1 2B", "bad"},
		{"(1502984866.421964) can0 " + strings.Repeat("0", 10_000), "bad"},
	} {
		sc := bus.NewScanner(strings.NewReader(tt.line + "\n"))
		if sc.Next() || sc.Left()[tt.what] != 1 {
			t.Errorf("%.60q: %v, want %s", tt.line, sc.Left(), tt.what)
		}
	}
}

// A last line without its end is used when it is whole all the same.
func TestCutLine(t *testing.T) {
	const line = "(1502984866.421964) can0 09F8012B#F12B6B1B8E5E36FF"
	for n := 1; n <= len(line); n++ {
		sc := bus.NewScanner(strings.NewReader(line[:n]))
		frames := 0
		for sc.Next() {
			frames++
		}
		if full := n == len(line); full != (frames == 1) || full == (sc.Left()["cut"] == 1) {
			t.Errorf("%d bytes: %d frames, %v", n, frames, sc.Left())
		}
	}
}

// Check vectors of the reference, live.md sections 2 and 3, computed there.
func TestVectors(t *testing.T) {
	f := frame(t, "(1600000000.0) can0 09F8011C#00A8CB1800C635C8")
	if pgn, from, to := f.Group(); pgn != 129025 || from != 0x1c || to != 0xff {
		t.Errorf("%d from %x to %x", pgn, from, to)
	}
	if lat, lon, ok := bus.Position(&f.Data); !ok || lat != 41.6 || lon != -93.6 {
		t.Errorf("129025: %g, %g, %v", lat, lon, ok)
	}
	// not available: the most positive number
	f = frame(t, "(1600000000.0) can0 09F8011C#FFFFFF7FFFFFFF7F")
	if _, _, ok := bus.Position(&f.Data); ok {
		t.Error("129025: not available is a place")
	}

	f = frame(t, "(1600000000.0) can0 09F8021C#36FC3339DE00FFFF")
	if h, v := bus.Course(&f.Data); math.Abs(h-83.9) > 0.01 || v != 2.22 {
		t.Errorf("129026: %g degrees, %g m/s", h, v)
	}
	f = frame(t, "(1600000000.0) can0 09F8021C#36FDFFFFFFFFFFFF")
	if h, v := bus.Course(&f.Data); !math.IsNaN(h) || !math.IsNaN(v) {
		t.Errorf("129026: not available is %g degrees, %g m/s", h, v)
	}

	for _, tt := range []struct {
		line      string
		pgn       uint32
		raw       int32
		simulated bool
		ok        bool
	}{
		{"0CFE48F0#BB0840E20100FF15", 65096, 2235, false, true},
		{"0CFE49F0#C00844E20100FFFD", 65097, 2240, false, true},
		{"0CF022F0#C00844E20100C085", 61474, 2240, false, true},
		{"0CF022F0#C00844E20100C091", 61474, 2240, true, true},   // source 4: bits 3-5 of the last byte
		{"0CF022F0#C00844E20100C084", 61474, -2240, false, true}, // direction 0: reverse
		{"0CF022F0#FFFF44E20100C085", 61474, 0, false, false},
		{"0CF022F0#00FE44E20100C085", 61474, 0, false, false}, // FE00 and up: error
	} {
		f := frame(t, "(1600000000.0) can0 "+tt.line)
		pgn, _, _ := f.Group()
		raw, simulated, ok := bus.Speed(&f.Data, pgn)
		if pgn != tt.pgn || raw != tt.raw || simulated != tt.simulated || ok != tt.ok {
			t.Errorf("%s: %d: %d, simulated %v, %v", tt.line, pgn, raw, simulated, ok)
		}
	}

	f = frame(t, "(1600000000.0) can0 18FEE6F0#D11E070A4A257D7F")
	if got := bus.TimeDate(&f.Data).String(); got != "2022-10-19T07:30:52.25Z" {
		t.Errorf("65254: %s", got)
	}
	if f.Data[4] = 0; bus.TimeDate(&f.Data) != evenstand.NoTime {
		t.Error("65254: day 0 is a day")
	}

	// element 369, DDI 415 = 985000 ppm, from 0x81 to 0xF7
	f = frame(t, "(1600000000.0) can0 0CCBF781#13179F01A8070F00")
	pgn, from, to := f.Group()
	p := bus.ProcessData(&f.Data)
	if pgn != 51968 || from != 0x81 || to != 0xf7 || p.Command() != 3 || p.Element() != 369 || p.DDI() != 415 || p.Value() != 985000 {
		t.Errorf("51968: %d from %x to %x: %+v", pgn, from, to, p)
	}

	// 2022-09-10 12:06:57, same day and time as the fast packet below
	f = frame(t, "(1600000000.0) can0 09F0101C#00F02D4B106DFF19")
	if got := bus.SystemTime(&f.Data).String(); got != "2022-09-10T12:06:57Z" {
		t.Errorf("126992: %s", got)
	}
	if f.Data[1] = 0xf5; bus.SystemTime(&f.Data) != evenstand.NoTime {
		t.Error("126992: a quartz's time is taken for GNSS time")
	}

	// heading 1.4643 rad true; the same magnetic with a variation of 0.01 rad
	f = frame(t, "(1600000000.0) can0 09F1121C#003339FF7FFF7FFC")
	if raw, ok := bus.TrueHeading(&f.Data); !ok || raw != 14643 {
		t.Errorf("127250: %d, %v", raw, ok)
	}
	f = frame(t, "(1600000000.0) can0 09F1121C#003339FF7F6400FD")
	if raw, ok := bus.TrueHeading(&f.Data); !ok || raw != 14743 {
		t.Errorf("127250, magnetic: %d, %v", raw, ok)
	}
	f = frame(t, "(1600000000.0) can0 09F1121C#003339FF7FFF7FFD")
	if _, ok := bus.TrueHeading(&f.Data); ok {
		t.Error("127250: magnetic without variation is true")
	}
}

// 129029 in seven frames: live.md section 4, computed from a sample of canboat
// and decoded there too.
const gnssFrames = `(1662811617.100000) can0 0DF8051C#602B372D4B106DFF
(1662811617.100500) can0 0DF8051C#6119007A5B649D56
(1662811617.101000) can0 0DF8051C#626107B07CB2CA79
(1662811617.101500) can0 0DF8051C#63DBC000206EBF02
(1662811617.102000) can0 0DF8051C#640000000010FC0C
(1662811617.102500) can0 0DF8051C#6546008200341200
(1662811617.103000) can0 0DF8051C#6600FFFFFFFFFFFF
`

func TestGNSSVector(t *testing.T) {
	ms, lost := bus.FastPackets(bus.NewScanner(strings.NewReader(gnssFrames)), 129029)
	if len(ms) != 1 || lost != 0 || len(ms[0].Data) != 43 || ms[0].From != 0x1c {
		t.Fatalf("%+v, %d lost", ms, lost)
	}
	g, ok := bus.GNSSPosition(ms[0].Data)
	if !ok || g.Time().String() != "2022-09-10T12:06:57Z" {
		t.Errorf("time %v", g.Time())
	}
	lat, lon, alt := g.Place()
	if math.Abs(lat-53.1801465) > 1e-9 || math.Abs(lon-5.42845117) > 5e-9 || math.Abs(alt-46.1) > 1e-9 {
		t.Errorf("at %g, %g, %g", lat, lon, alt)
	}
	kind, sats, hdop := g.Quality()
	if kind != evenstand.FixGNSS || sats != 12 || math.Abs(hdop-0.7) > 1e-9 {
		t.Errorf("kind %v, %d satellites, HDOP %g", kind, sats, hdop)
	}
}

// What the reference asks of fast packets: a missing frame, another message of
// the same sequence and a silence of more than 750 ms cost that message.
func TestFastPackets(t *testing.T) {
	lines := strings.SplitAfter(strings.TrimSuffix(gnssFrames, "\n"), "\n")
	lines[6] += "\n"
	join := func(is ...int) string {
		var b strings.Builder
		for _, i := range is {
			b.WriteString(lines[i])
		}
		return b.String()
	}
	for _, tt := range []struct {
		name, in string
		whole    int
		lost     int64
	}{
		{"whole", join(0, 1, 2, 3, 4, 5, 6), 1, 0},
		{"twice", join(0, 1, 2, 3, 4, 5, 6, 0, 1, 2, 3, 4, 5, 6), 2, 0},
		{"one frame twice", join(0, 1, 1, 2, 3, 4, 4, 5, 6, 6), 1, 0},
		{"without the first", join(1, 2, 3, 4, 5, 6), 0, 1},
		{"without one in the middle", join(0, 1, 2, 4, 5, 6), 0, 1},
		{"begun anew", join(0, 1, 2, 0, 1, 2, 3, 4, 5, 6), 1, 1},
		{"cut", join(0, 1, 2), 0, 1},
		{"silent", join(0, 1, 2) + strings.ReplaceAll(join(3, 4, 5, 6), "617.10", "618.10"), 0, 1},
		{"of another sender", join(0, 1, 2, 3) + strings.ReplaceAll(join(0, 1, 2), "051C", "051D") + join(4, 5, 6), 1, 1},
		{"on another bus", join(0, 1, 2, 3) + strings.ReplaceAll(join(0, 1, 2), "can0", "can1") + join(4, 5, 6), 1, 1},
	} {
		if ms, lost := bus.FastPackets(bus.NewScanner(strings.NewReader(tt.in)), 129029); len(ms) != tt.whole || lost != tt.lost {
			t.Errorf("%s: %d whole, %d lost, want %d, %d", tt.name, len(ms), lost, tt.whole, tt.lost)
		}
	}
}
