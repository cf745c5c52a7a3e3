package plain

import (
	"math"
	"strconv"
	"time"

	"evenstand"
)

// clock reads times. It remembers the last date, because a log stays on one
// for hours.
type clock struct {
	zone *time.Location
	gps  bool // seconds count from the GPS epoch, without leap seconds
	date [10]byte
	day  int64 // seconds since 1970 at which date began, UTC
}

// parse gives the instant of a field: the two spellings of the layout without
// allocating, everything else as evenstand.ParseTime does.
func (c *clock) parse(b []byte) (evenstand.Micros, error) {
	if t, ok := parseEpoch(b); ok {
		if c.gps {
			t = FromGPS(t)
		}
		return t, nil
	}
	if t, ok := c.parseRFC3339(b); ok {
		return t, nil
	}
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		return evenstand.NoTime, strconv.ErrSyntax
	}
	return evenstand.ParseTime(string(b), c.zone)
}

// parseEpoch reads seconds since 1970 with decimals; what is finer than a
// microsecond is cut.
func parseEpoch(b []byte) (evenstand.Micros, bool) {
	var sec int64
	i := 0
	for ; i < len(b) && i < 11; i++ {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		sec = sec*10 + int64(d)
	}
	if i == 0 || sec > int64(lastTime)/1e6 {
		return 0, false
	}
	if i == len(b) {
		return evenstand.Micros(sec * 1e6), true
	}
	us, ok := parseFraction(b[i:])
	return evenstand.Micros(sec*1e6 + us), ok && sec*1e6+us <= int64(lastTime)
}

// parseFraction reads ".123" in microseconds.
func parseFraction(b []byte) (int64, bool) {
	if len(b) < 1 || b[0] != '.' {
		return 0, false
	}
	us, n := int64(0), 0
	for _, c := range b[1:] {
		d := c - '0'
		if d > 9 {
			return 0, false
		}
		if n < 6 {
			us = us*10 + int64(d)
			n++
		}
	}
	for ; n < 6; n++ {
		us *= 10
	}
	return us, true
}

// parseRFC3339 reads 2026-05-02T19:12:08.120Z or one with +02:00.
func (c *clock) parseRFC3339(b []byte) (evenstand.Micros, bool) {
	if len(b) < 20 || b[0] < '0' || b[10] != 'T' || b[13] != ':' || b[16] != ':' {
		return 0, false
	}
	if [10]byte(b[:10]) != c.date {
		y1, ok1 := two(b[0:])
		y2, ok2 := two(b[2:])
		m, ok3 := two(b[5:])
		d, ok4 := two(b[8:])
		year := y1*100 + y2
		if !ok1 || !ok2 || !ok3 || !ok4 || b[4] != '-' || b[7] != '-' || m < 1 || m > 12 || d < 1 {
			return 0, false
		}
		day := time.Date(int(year), time.Month(m), int(d), 0, 0, 0, 0, time.UTC)
		if day.Day() != int(d) { // the 31st of a short month
			return 0, false
		}
		c.date, c.day = [10]byte(b[:10]), day.Unix()
	}
	h, ok1 := two(b[11:])
	m, ok2 := two(b[14:])
	s, ok3 := two(b[17:])
	if !ok1 || !ok2 || !ok3 || h > 23 || m > 59 || s > 59 {
		return 0, false
	}
	sec := c.day + h*3600 + m*60 + s
	rest := b[19:]
	switch {
	case rest[len(rest)-1] == 'Z':
		rest = rest[:len(rest)-1]
	case len(rest) >= 6 && rest[len(rest)-3] == ':':
		z := rest[len(rest)-6:]
		oh, ok1 := two(z[1:])
		om, ok2 := two(z[4:])
		if !ok1 || !ok2 || oh > 23 || om > 59 {
			return 0, false
		}
		switch z[0] {
		case '+':
			sec -= oh*3600 + om*60
		case '-':
			sec += oh*3600 + om*60
		default:
			return 0, false
		}
		rest = rest[:len(rest)-6]
	default:
		return 0, false
	}
	us := int64(0)
	if len(rest) > 0 {
		if len(rest) == 1 || len(rest) > 10 {
			return 0, false
		}
		var ok bool
		if us, ok = parseFraction(rest); !ok {
			return 0, false
		}
	}
	t := evenstand.Micros(sec*1e6 + us)
	return t, t >= 0 && t <= lastTime
}

// two reads two digits.
func two(b []byte) (int64, bool) {
	h, l := b[0]-'0', b[1]-'0'
	return int64(h)*10 + int64(l), h <= 9 && l <= 9
}

// ParseNumber reads a finite decimal number. Up to 15 digits and 22 decimals
// one division of two exact numbers gives the nearest float64 (Clinger 1990,
// How to read floating point numbers accurately); the rest goes to strconv.
func ParseNumber(b []byte) (float64, bool) {
	i, neg := 0, false
	if i < len(b) && b[i] == '-' {
		neg = true
		i++
	}
	var mant uint64
	digits, point := 0, -1
	for ; i < len(b); i++ {
		d := b[i] - '0'
		if d <= 9 {
			mant = mant*10 + uint64(d)
			digits++
		} else if b[i] == '.' && point < 0 {
			point = digits
		} else {
			return parseSlowly(b)
		}
		if digits > 15 {
			return parseSlowly(b)
		}
	}
	if digits == 0 {
		return math.NaN(), false
	}
	v := float64(mant)
	if point >= 0 {
		v /= powers[digits-point]
	}
	if neg {
		v = -v
	}
	return v, true
}

func parseSlowly(b []byte) (float64, bool) {
	if len(b) > 400 {
		return math.NaN(), false
	}
	for _, c := range b {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return math.NaN(), false // strconv would take NaN, Inf, hexadecimal
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || math.IsInf(v, 0) {
		return math.NaN(), false
	}
	return v, true
}

// parseWhole reads a whole number from 0 to 99999; false for anything else.
func parseWhole(b []byte) (int, bool) {
	if len(b) == 0 || len(b) > 5 {
		return 0, false
	}
	n := 0
	for _, c := range b {
		d := c - '0'
		if d > 9 {
			return 0, false
		}
		n = n*10 + int(d)
	}
	return n, true
}
