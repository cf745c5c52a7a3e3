package bus_test

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

// FuzzCapture reads any bytes as a capture.
func FuzzCapture(f *testing.F) {
	opt := bus.WriterOptions{Version: 3, Card: card(2), Log: iso11783.LogSeedRate | iso11783.LogWorking | iso11783.LogWorkState | iso11783.LogSpeed}
	f.Add(write(f, opt, 3, evenstand.Second, 0))
	opt.NoTimes, opt.Version = true, 4
	f.Add(write(f, opt, 3, evenstand.Second, 0))
	f.Add([]byte(gnssFrames))
	f.Add([]byte("<0x09f80100> [8] 04 7e 54 19 24 33 55 d5 \n# x\n (2017-08-17 15:47:46.421964)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF\r\n"))
	f.Add([]byte(" (000.421964)  can0  09F8012B   [8]  F1 2B 6B 1B 8E 5E 36 FF\n (000.000964)  can0  18EEFF81   [8]  D2 04 E0 FF 00 82 08 A0\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		in := fstest.MapFS{"a.log": {Data: data}, "b.log": {Data: []byte(gnssFrames)}}
		got, err := formattest.ReadAll(t.Context(), bus.Format{Zone: "America/Chicago"}, in)
		if err != nil {
			t.Fatal(err)
		}
		if why := formattest.Sound(got); why != "" {
			t.Fatal(why)
		}
		for _, s := range got.Streams {
			rows := 0
			if s.Source.Card != nil {
				rows = s.Source.Card.Rows
			}
			if s.Source.Name == "a.log" && s.Data.Bytes != int64(len(data)) {
				t.Fatalf("progress adds up to %d of %d bytes", s.Data.Bytes, len(data))
			}
			for _, r := range s.Data.Reading {
				if r.Element.Scope == evenstand.ScopeRow && rows == 0 {
					t.Fatalf("%+v without a planter", r)
				}
			}
			if c := s.Source.ClockOffset; math.IsInf(c, 0) || math.IsNaN(c) != math.IsNaN(s.Source.ClockError) {
				t.Fatalf("clock %g +- %g", c, s.Source.ClockError)
			}
		}
	})
}

// FuzzPool reads any bytes as a description, and what it tells once more.
func FuzzPool(f *testing.F) {
	for _, version := range []int{3, 4} {
		ms, _ := bus.Transfers(bus.NewScanner(bytes.NewReader(write(f, bus.WriterOptions{Version: version, Card: card(4), Log: everything}, 1, evenstand.Second, 0))))
		for _, m := range ms {
			f.Add(m.Data[1:])
		}
	}
	f.Add([]byte("DVC"))
	f.Add([]byte("DET\x01\x00\x05\x02ab\x07\x00\x00\x00\xff\xff"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, rest := bus.ParsePool(data)
		if rest < 0 || rest > len(data) || p.Objects() > (len(data)-rest)/12 {
			t.Fatalf("%d objects in %d of %d bytes", p.Objects(), len(data)-rest, len(data))
		}
		again, left := bus.ParsePool(data[:len(data)-rest])
		if left != 0 || !p.Same(again) {
			t.Fatalf("what was read reads differently alone: %d bytes left", left)
		}
		set := iso11783.NewSet()
		set.Add(p.Describe())
		set.NewLayout(&iso11783.Task{}, nil, iso11783.Told{}.Value).Card()
	})
}

// FuzzTransport takes any frames of the transport protocols and fast packets:
// each message is at least as long as what came for it allows, and no longer.
func FuzzTransport(f *testing.F) {
	long := write(f, bus.WriterOptions{Card: card(16), Log: everything}, 1, evenstand.Second, 0)
	seed := func(lines []byte) {
		var b []byte
		for sc := bus.NewScanner(bytes.NewReader(lines)); sc.Next(); {
			x := sc.Frame()
			if pgn, _, _ := x.Group(); pgn == 129029 {
				b = append(b, 0)
			} else {
				b = append(b, byte(1+pgn>>8&3|pgn>>11&4))
			}
			b = append(append(b, byte(x.ID)), x.Data[:]...)
		}
		f.Add(b)
	}
	seed(long)
	seed([]byte(gnssFrames))
	groups := []uint32{129029, 0xEC00, 0xEB00, 0xC800, 0xC700, 0xEC00, 0xEB00, 0xEB00}
	f.Fuzz(func(t *testing.T, data []byte) {
		var lines strings.Builder
		n := 0
		for ; len(data) >= 10; data = data[10:] {
			pgn := groups[data[0]%8]
			id := bus.Identifier(6, pgn, data[1]>>1&1, data[1]&1)
			lines.WriteString(bus.Line(start+evenstand.Micros(n)*evenstand.Second/1000, id, data[2:10]))
			n++
		}
		ms, lost := bus.Transfers(bus.NewScanner(strings.NewReader(lines.String())))
		total := 0
		for _, m := range ms {
			total += len(m.Data)
		}
		if total > 7*n || int64(len(ms))+lost > int64(n) {
			t.Fatalf("%d messages of %d bytes, %d lost, from %d frames", len(ms), total, lost, n)
		}
		fast, lost := bus.FastPackets(bus.NewScanner(strings.NewReader(lines.String())), 129029)
		total = 0
		for _, m := range fast {
			if total += len(m.Data); len(m.Data) > 223 {
				t.Fatalf("a fast packet of %d bytes", len(m.Data))
			}
		}
		if total > 7*n || int64(len(fast))+lost > int64(n) {
			t.Fatalf("%d fast packets of %d bytes, %d lost, from %d frames", len(fast), total, lost, n)
		}
	})
}
