package bus_test

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/bus"
)

// talk writes frames of the transport protocols between 0x81 and 0xF7, one
// each millisecond.
type talk struct {
	b strings.Builder
	t evenstand.Micros
}

func (k *talk) frame(pgn uint32, to, from uint8, data ...byte) *talk {
	var d [8]byte
	for i := copy(d[:], data); i < 8; i++ {
		d[i] = 0xff
	}
	k.b.WriteString(bus.Line(start+k.t, bus.Identifier(7, pgn, to, from), d[:]))
	k.t += evenstand.Second / 1000
	return k
}

const (
	device     = 0x81
	controller = 0xf7
)

var group = []byte{0x00, 0xcb, 0x00} // 51968

// there is from the device to the controller, back the other way.
func (k *talk) there(pgn uint32, data ...byte) *talk {
	return k.frame(pgn, controller, device, data...)
}

func (k *talk) back(pgn uint32, data ...byte) *talk {
	return k.frame(pgn, device, controller, data...)
}

func (k *talk) pause(ms evenstand.Micros) *talk { k.t += ms * evenstand.Second / 1000; return k }

func (k *talk) rts(size, packets int) *talk {
	return k.there(0xEC00, append([]byte{16, byte(size), byte(size >> 8), byte(packets), 0xff}, group...)...)
}

func (k *talk) cts(n, next int) *talk {
	return k.back(0xEC00, append([]byte{17, byte(n), byte(next), 0xff, 0xff}, group...)...)
}

// abort names the group whose message is given up.
func abort(group ...byte) []byte { return append([]byte{255, 1, 0xff, 0xff, 0xff}, group...) }

func (k *talk) eom() *talk { return k.back(0xEC00, append([]byte{19, 20, 0, 3, 0xff}, group...)...) }

// packets sends some of the packets of a message whose byte i is i.
func (k *talk) packets(ns ...int) *talk {
	for _, n := range ns {
		k.there(0xEB00, packet(n)...)
	}
	return k
}

func packet(n int) []byte {
	d := []byte{byte(n)}
	for i := range 7 {
		d = append(d, byte(7*(n-1)+i))
	}
	return d
}

// Messages of 20 bytes in three packets; live.md section 4.
func TestTransport(t *testing.T) {
	for _, tt := range []struct {
		name  string
		say   func(k *talk)
		whole int
		lost  int64
	}{
		{"plain", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 2, 3).eom() }, 1, 0},
		{"two windows", func(k *talk) { k.rts(20, 3).cts(2, 1).packets(1, 2).cts(1, 3).packets(3).eom() }, 1, 0},
		{"asked again", func(k *talk) { k.rts(20, 3).cts(2, 1).packets(1, 2).cts(2, 2).packets(2, 3).eom() }, 1, 0},
		{"a packet was missing and asked for", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 3).cts(2, 2).packets(2, 3).eom() }, 1, 0},
		{"a packet is missing here only", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 3).eom() }, 0, 1},
		{"held with a window of none", func(k *talk) {
			k.rts(20, 3).cts(0, 255).pause(1000).cts(0, 255).pause(1000).cts(3, 1).packets(1, 2, 3).eom()
		}, 1, 0},
		{"silent for 1250 ms", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1).pause(1300).packets(2, 3) }, 0, 1},
		{"aborted by the sender", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 2).there(0xEC00, abort(group...)...).packets(3) }, 0, 1},
		{"aborted by the receiver", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 2).back(0xEC00, abort(group...)...).packets(3) }, 0, 1},
		{"another message between the two is aborted", func(k *talk) {
			k.rts(20, 3).cts(3, 1).packets(1, 2)
			k.back(0xEC00, 16, 20, 0, 3, 0xff, 0x00, 0xef, 0x00).there(0xEC00, abort(0x00, 0xef, 0x00)...)
			k.packets(3).eom()
		}, 1, 1},
		{"begun anew", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 2).rts(20, 3).cts(3, 1).packets(1, 2, 3).eom() }, 1, 1},
		{"cut", func(k *talk) { k.rts(20, 3).cts(3, 1).packets(1, 2) }, 0, 1},
		{"without its beginning", func(k *talk) { k.packets(1, 2, 3).eom() }, 0, 0},
		{"a count of packets that does not fit", func(k *talk) { k.rts(20, 2).cts(2, 1).packets(1, 2) }, 0, 0},
		{"announced to all", func(k *talk) {
			k.frame(0xEC00, 0xff, device, append([]byte{32, 20, 0, 3, 0xff}, group...)...)
			for n := range 3 {
				k.frame(0xEB00, 0xff, device, packet(n+1)...)
			}
		}, 1, 0},
		{"between two pairs at a time", func(k *talk) {
			k.rts(20, 3).cts(3, 1).packets(1)
			k.frame(0xEC00, controller, 0x82, append([]byte{16, 20, 0, 3, 0xff}, group...)...)
			k.packets(2)
			for n := range 3 {
				k.frame(0xEB00, controller, 0x82, packet(n+1)...)
			}
			k.packets(3).eom()
		}, 2, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var k talk
			tt.say(&k)
			ms, lost := bus.Transfers(bus.NewScanner(strings.NewReader(k.b.String())))
			if len(ms) != tt.whole || lost != tt.lost {
				t.Fatalf("%d whole, %d lost, want %d, %d", len(ms), lost, tt.whole, tt.lost)
			}
			for _, m := range ms {
				if len(m.Data) != 20 || m.PGN != 51968 {
					t.Errorf("%d bytes of %d", len(m.Data), m.PGN)
				}
				for i, b := range m.Data {
					if int(b) != i {
						t.Fatalf("byte %d is %d", i, b)
					}
				}
			}
		})
	}
}

// Extended: 2000 bytes in 286 packets, in windows of 200 by data packet offsets.
func TestExtendedTransport(t *testing.T) {
	size := binary.LittleEndian.AppendUint32(nil, 2000)
	message := make([]byte, 2000)
	for i := range message {
		message[i] = byte(i * 7)
	}
	begin := func(k *talk) { k.there(0xC800, append(append([]byte{20}, size...), group...)...) }
	window := func(k *talk, offset, n int) {
		k.back(0xC800, append([]byte{21, byte(n), byte(offset + 1), byte((offset + 1) >> 8), 0}, group...)...)
		k.there(0xC800, append([]byte{22, byte(n), byte(offset), byte(offset >> 8), 0}, group...)...)
		for i := range n {
			at := 7 * (offset + i)
			k.there(0xC700, append([]byte{byte(i + 1)}, message[at:min(at+7, 2000)]...)...)
		}
	}
	for _, tt := range []struct {
		name  string
		say   func(k *talk)
		whole int
		lost  int64
	}{
		{"plain", func(k *talk) { window(k, 0, 200); window(k, 200, 86) }, 1, 0},
		{"asked again", func(k *talk) { window(k, 0, 200); window(k, 150, 100); window(k, 250, 36) }, 1, 0},
		{"a window is missing", func(k *talk) {
			window(k, 0, 100)
			window(k, 200, 86)
			k.back(0xC800, append(append([]byte{23}, size...), group...)...)
		}, 0, 1},
		{"aborted", func(k *talk) { window(k, 0, 200); k.back(0xC800, abort(group...)...); window(k, 200, 86) }, 0, 1},
		{"silent", func(k *talk) { window(k, 0, 200); k.pause(1300); window(k, 200, 86) }, 0, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var k talk
			begin(&k)
			tt.say(&k)
			ms, lost := bus.Transfers(bus.NewScanner(strings.NewReader(k.b.String())))
			if len(ms) != tt.whole || lost != tt.lost || tt.whole > 0 && !bytes.Equal(ms[0].Data, message) {
				t.Errorf("%d whole, %d lost, want %d, %d", len(ms), lost, tt.whole, tt.lost)
			}
		})
	}
}
