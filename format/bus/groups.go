package bus

import (
	"encoding/binary"
	"math"

	"evenstand"
)

// Numbers of the parameter groups that are read. Sources: the project's
// reference, live.md section 2, after the message database of canboat and
// AgIsoStack.
const (
	pgnClaim    = 60928
	pgnProcess  = 51968
	pgnMachine  = 61474 // speed selected by the machine
	pgnWheel    = 65096
	pgnGround   = 65097
	pgnTimeDate = 65254
	pgnTime     = 126992
	pgnHeading  = 127250
	pgnPosition = 129025
	pgnCourse   = 129026
	pgnGNSS     = 129029
	gnssBytes   = 43
	daysTo2000  = 10957
	daysTo2100  = 47482
)

// speed reads the speed of the three groups in m/s, negative in reverse;
// false when it is not available. simulated says that the machine made it up.
func speed(d *[8]byte, pgn uint32) (raw int32, simulated, ok bool) {
	v := binary.LittleEndian.Uint16(d[:])
	if v > 0xfaff {
		return 0, false, false
	}
	raw = int32(v)
	switch d[7] & 3 {
	case 0: // reverse
		raw = -raw
	case 2: // the direction is an error: the speed may still be right
	}
	return raw, pgn == pgnMachine && d[7]>>2&7 == 4, true
}

// position reads 129025.
func position(d *[8]byte) (lat, lon float64, ok bool) {
	a, b := int32(binary.LittleEndian.Uint32(d[:])), int32(binary.LittleEndian.Uint32(d[4:]))
	if a >= math.MaxInt32-1 || b >= math.MaxInt32-1 { // not available, error
		return 0, 0, false
	}
	return float64(a) / 1e7, float64(b) / 1e7, true
}

const radian = 180 / math.Pi

// course reads 129026: degrees from true north and m/s, NaN unknown.
func course(d *[8]byte) (heading, v float64) {
	heading, v = math.NaN(), math.NaN()
	if c := binary.LittleEndian.Uint16(d[2:]); c <= 0xfffc && d[1]&3 == 0 {
		heading = math.Mod(float64(c)*1e-4*radian, 360)
	}
	if s := binary.LittleEndian.Uint16(d[4:]); s <= 0xfffc {
		v = float64(s) * 0.01
	}
	return heading, v
}

// trueHeading reads 127250: 1e-4 rad from true north; a magnetic heading is
// put right by the variation when that is known.
func trueHeading(d *[8]byte) (raw int32, ok bool) {
	h := binary.LittleEndian.Uint16(d[1:])
	if h > 0xfffc {
		return 0, false
	}
	raw = int32(h)
	switch d[7] & 3 {
	case 0:
		return raw, true
	case 1:
		v := int16(binary.LittleEndian.Uint16(d[5:]))
		if v >= math.MaxInt16-1 {
			return 0, false
		}
		const turn = 62832 // 2 pi in 1e-4
		return (raw + int32(v) + turn) % turn, true
	}
	return 0, false
}

// dayTime turns days since 1970 and 1e-4 s since midnight into an instant;
// NoTime when they are not available or no date at which a planter is logged.
func dayTime(day uint16, t uint32) evenstand.Micros {
	d := int64(day)
	if d < daysTo2000 || d > daysTo2100 || t > 86_401*10_000 {
		return evenstand.NoTime
	}
	return evenstand.Micros(d*86_400_000_000 + int64(t)*100)
}

// systemTime reads 126992. A receiver's own quartz is no GNSS time.
func systemTime(d *[8]byte) evenstand.Micros {
	if d[1]&15 == 5 {
		return evenstand.NoTime
	}
	return dayTime(binary.LittleEndian.Uint16(d[2:]), binary.LittleEndian.Uint32(d[4:]))
}

// timeDate reads 65254.
func timeDate(d *[8]byte) evenstand.Micros {
	if d[0] > 0xfa || d[1] > 0xfa || d[2] > 0xfa || d[3] > 0xfa || d[4] > 0xfa || d[5] > 0xfa || d[4] == 0 || d[1] > 59 || d[2] > 23 {
		return evenstand.NoTime
	}
	day, ok := dayNumber(1985+int64(d[5]), int64(d[3]), int64(d[4]-1)/4+1)
	if !ok {
		return evenstand.NoTime
	}
	return evenstand.Micros(day*86400+int64(d[2])*3600+int64(d[1])*60)*evenstand.Second + evenstand.Micros(d[0])*evenstand.Second/4
}

// gnss is what 129029 says.
type gnss struct {
	t              evenstand.Micros // NoTime unknown
	lat, lon, alt  float64          // NaN unknown
	kind           evenstand.FixKind
	sats           int16
	hdop           float64
	placed, solved bool // it has a place; the method says that it found one
}

// gnssPosition reads 129029.
func gnssPosition(b []byte) (g gnss, ok bool) {
	if len(b) < gnssBytes-1 {
		return g, false
	}
	le := binary.LittleEndian
	nan := math.NaN()
	g = gnss{t: dayTime(le.Uint16(b[1:]), le.Uint32(b[3:])), lat: nan, lon: nan, alt: nan, hdop: nan, sats: -1}
	lat, lon, alt := int64(le.Uint64(b[7:])), int64(le.Uint64(b[15:])), int64(le.Uint64(b[23:]))
	if lat < math.MaxInt64-1 && lon < math.MaxInt64-1 {
		g.lat, g.lon, g.placed = float64(lat)*1e-16, float64(lon)*1e-16, true
	}
	if alt > -1_000_000_000 && alt < 10_000_000_000 { // -1 to 10 km
		g.alt = float64(alt) * 1e-6
	}
	if method := b[31] >> 4; method <= 8 {
		g.kind = evenstand.FixNone + evenstand.FixKind(method)
		g.solved = method > 0
	}
	if b[33] < 0xfd {
		g.sats = int16(b[33])
	}
	if v := int16(le.Uint16(b[34:])); v > 0 && v < 10000 {
		g.hdop = float64(v) * 0.01
	}
	return g, true
}

// process is what a process data message says.
type process struct {
	command uint8
	element uint16 // a sub-command for the commands without an element
	ddi     uint16
	value   int32
}

// The commands that are read.
const (
	cmdValue      = 3
	cmdSet        = 10
	cmdController = 14
	cmdClient     = 15
)

func processData(d *[8]byte) process {
	return process{
		command: d[0] & 15, element: uint16(d[0])>>4 | uint16(d[1])<<4,
		ddi: binary.LittleEndian.Uint16(d[2:]), value: int32(binary.LittleEndian.Uint32(d[4:])),
	}
}
