package nmea0183

import (
	"bytes"
	"math"
	"time"

	"evenstand"
)

const day = 86400 * evenstand.Second

// kind is a sentence that is read.
type kind uint8

const (
	other kind = iota
	gga
	rmc
	vtg
	zda
	hdt
)

// kindOf tells the sentence by the three letters behind the talker's two. Behind
// a P stand a maker and what he likes.
func kindOf(head []byte) kind {
	if len(head) != 5 || head[0] == 'P' {
		return other
	}
	switch string(head[2:]) {
	case "GGA":
		return gga
	case "RMC":
		return rmc
	case "VTG":
		return vtg
	case "ZDA":
		return zda
	case "HDT":
		return hdt
	}
	return other
}

// framing is what is wrong around a sentence.
type framing uint8

const (
	whole framing = iota
	unsummed
	badSum
	noSentence
)

// frame finds the last sentence on a line and gives what stands between $ and
// *.
func frame(line []byte) (body []byte, how framing) {
	i := bytes.LastIndexByte(line, '$')
	if i < 0 {
		return nil, noSentence
	}
	body = bytes.TrimRight(line[i+1:], "\r\n \x00")
	star := bytes.LastIndexByte(body, '*')
	if star < 0 {
		return body, unsummed
	}
	sum := byte(0)
	for _, c := range body[:star] {
		sum ^= c
	}
	digits := body[star+1:]
	if len(digits) != 2 {
		return body[:star], badSum
	}
	h, ok1 := hex(digits[0])
	l, ok2 := hex(digits[1])
	if !ok1 || !ok2 || h<<4|l != sum {
		return body[:star], badSum
	}
	return body[:star], whole
}

func hex(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}

// fields cuts a sentence at its commas.
func fields(body []byte, into [][]byte) [][]byte {
	into = into[:0]
	from := 0
	for i, c := range body {
		if c == ',' {
			into = append(into, body[from:i])
			from = i + 1
		}
	}
	return append(into, body[from:])
}

// decimal reads a number without sign or exponent; NaN when it is none.
func decimal(b []byte) float64 {
	neg := len(b) > 0 && b[0] == '-'
	if neg {
		b = b[1:]
	}
	if len(b) == 0 || len(b) > 18 {
		return math.NaN()
	}
	mant, scale, point := int64(0), 1.0, false
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			mant = mant*10 + int64(c-'0')
			if point {
				scale *= 10
			}
		case c == '.' && !point:
			point = true
		default:
			return math.NaN()
		}
	}
	v := float64(mant) / scale
	if neg {
		return -v
	}
	return v
}

func digits2(b []byte) (int64, bool) {
	if len(b) < 2 {
		return 0, false
	}
	h, l := b[0]-'0', b[1]-'0'
	return int64(h)*10 + int64(l), h <= 9 && l <= 9
}

// timeOfDay reads hhmmss.sss.
func timeOfDay(b []byte) (evenstand.Micros, bool) {
	if len(b) < 6 {
		return 0, false
	}
	h, ok1 := digits2(b)
	m, ok2 := digits2(b[2:])
	s, ok3 := digits2(b[4:])
	if !ok1 || !ok2 || !ok3 || h > 23 || m > 59 || s > 60 { // 60 is a leap second
		return 0, false
	}
	us := int64(0)
	if rest := b[6:]; len(rest) > 0 {
		if rest[0] != '.' {
			return 0, false
		}
		scale := int64(100_000)
		for _, c := range rest[1:] {
			if c < '0' || c > '9' {
				return 0, false
			}
			us += int64(c-'0') * scale
			scale /= 10
		}
	}
	return evenstand.Micros((h*3600+m*60+s)*1e6 + us), true
}

// angle reads ddmm.mmmm or dddmm.mmmm and the letter of the half.
func angle(b, half []byte, plus, minus byte, most float64) (float64, bool) {
	v := decimal(b)
	if math.IsNaN(v) || v < 0 || len(half) != 1 || half[0] != plus && half[0] != minus {
		return math.NaN(), false
	}
	deg := math.Floor(v / 100)
	minutes := v - deg*100
	if minutes >= 60 {
		return math.NaN(), false
	}
	v = deg + minutes/60
	if half[0] == minus {
		v = -v
	}
	return v, math.Abs(v) <= most
}

// date gives midnight of a day.
func date(y, m, d int64) (evenstand.Micros, bool) {
	if m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, false
	}
	t := time.Date(int(y), time.Month(m), int(d), 0, 0, 0, 0, time.UTC)
	return evenstand.FromTime(t), t.Day() == int(d)
}

// shortDate reads ddmmyy; years from 80 are of the last century.
func shortDate(b []byte) (evenstand.Micros, bool) {
	if len(b) != 6 {
		return 0, false
	}
	d, ok1 := digits2(b)
	m, ok2 := digits2(b[2:])
	y, ok3 := digits2(b[4:])
	if !ok1 || !ok2 || !ok3 {
		return 0, false
	}
	if y += 2000; y >= 2080 {
		y -= 100
	}
	return date(y, m, d)
}

// quality turns GGA's indicator into a kind of fix.
func quality(b []byte) evenstand.FixKind {
	if len(b) != 1 {
		return evenstand.FixUnknown
	}
	switch b[0] {
	case '0':
		return evenstand.FixNone
	case '1':
		return evenstand.FixGNSS
	case '2':
		return evenstand.FixDGNSS
	case '3':
		return evenstand.FixPrecise
	case '4':
		return evenstand.FixRTK
	case '5':
		return evenstand.FixRTKFloat
	case '6':
		return evenstand.FixEstimated
	case '7':
		return evenstand.FixManual
	case '8':
		return evenstand.FixSimulated
	}
	return evenstand.FixUnknown
}

// warns tells whether RMC says that what it tells is not to be used.
func warns(rmc [][]byte) bool { return len(rmc[2]) == 1 && rmc[2][0] == 'V' }

// knot is a nautical mile of 1852 m an hour, in m/s.
const knot = 1852.0 / 3600

// dated gives time and date of a sentence that tells both. A date of which RMC
// warns is none: before their first fix receivers tell that of their making.
func dated(k kind, f [][]byte) (of, midnight evenstand.Micros, ok bool) {
	switch k {
	case rmc:
		if len(f) < 10 || warns(f) {
			return 0, 0, false
		}
		of, ok = timeOfDay(f[1])
		midnight, ok2 := shortDate(f[9])
		return of, midnight, ok && ok2
	case zda:
		if len(f) < 5 || len(f[4]) != 4 {
			return 0, 0, false
		}
		of, ok = timeOfDay(f[1])
		d, ok1 := digits2(f[2])
		m, ok2 := digits2(f[3])
		y := decimal(f[4])
		if !ok || !ok1 || !ok2 || math.IsNaN(y) || len(f[2]) != 2 || len(f[3]) != 2 {
			return 0, 0, false
		}
		midnight, ok = date(int64(y), m, d)
		return of, midnight, ok
	}
	return 0, 0, false
}
