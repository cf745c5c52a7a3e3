package recipe

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/format/table"
)

// lastTime is the latest time taken for one: the start of the year 2100.
const lastTime = 4_102_444_800 * evenstand.Second

// when reads the times of a table.
type when struct {
	written Written
	decimal byte
	zone    *time.Location // nil: times carry their own

	day   []byte           // the date that was read last, as written
	start evenstand.Micros // its midnight as if in UTC
	part  int64            // the local quarter of an hour that was looked up last, since 1970
	shift evenstand.Micros // of the zone in it; of the first where it comes twice
	back  evenstand.Micros // by how much the clock is set back behind it: it comes twice
	never bool             // it does not come at all
	last  evenstand.Micros // the instant that was read last
	which int              // where that lay in an hour that comes twice: 1 the first, 2 the second

	hours   uint32 // of the wall clock that were met, a bit for each
	halfway int    // how often it went back within a day as from 12 to 1
	behind  colon
}

// colon is what is known of digits behind a third colon, as in 14:12:08:45.
// They may be a part of a second (.45), or a count of milliseconds by a box that
// does not fill it up (.045): the column tells.
type colon struct {
	look   func(*colon) // goes over the first rows with another; nil: nothing to look at
	looked bool         // look was called
	wide   [4]bool      // one digit was met, two, three, more
	nought bool         // and a nought in front of another digit
	millis bool         // they are milliseconds
	late   bool         // and only lines further on told
	such   string       // the first time that leaves it open
}

// micros gives what some digits stand for.
func (c *colon) micros(digits, of []byte) evenstand.Micros {
	n := len(digits)
	c.wide[min(n, 4)-1] = true
	c.nought = c.nought || n == 2 && digits[0] == '0'
	if !c.looked {
		c.looked = true
		if c.look != nil {
			first := colon{looked: true}
			c.look(&first)
			for i, w := range first.wide {
				c.wide[i] = c.wide[i] || w
			}
			c.nought = c.nought || first.nought
		}
		c.millis = c.wide[2] && !c.wide[3]
	}
	if !c.millis && n == 3 && !c.wide[3] && (c.wide[0] || c.wide[1]) {
		c.millis, c.late = true, true
	}
	if c.such == "" && n < 3 && !c.millis {
		c.such = string(of)
	}
	v, scale := int64(0), int64(1_000_000)
	for _, d := range digits[:min(n, 6)] {
		v = v*10 + int64(d-'0')
		scale /= 10
	}
	if c.millis && n <= 3 {
		scale = 1000
	}
	return evenstand.Micros(v * scale)
}

// notes says what a person should know of how times were read.
func (w *when) notes() (out []string) {
	c := &w.behind
	switch {
	case c.such == "":
	case c.late:
		out = append(out, fmt.Sprintf("Times such as %s were read as if what stands behind the last colon were a part of a second, up to the first with three digits; it counts milliseconds. Export the times with a point or a comma there.", strconv.Quote(c.such)))
	case !c.nought || c.wide[0]:
		out = append(out, fmt.Sprintf("In times such as %s what stands behind the last colon is read as a part of a second. If the box counts milliseconds there, export them with a point or a comma.", strconv.Quote(c.such)))
	}
	const twelve = 1<<13 - 2 // the hours from 1 to 12
	if w.halfway > 0 && w.hours&^twelve == 0 {
		out = append(out, "Its times go back within a day as from 12 to 1, and no hour is over 12: the clock seems to count twelve hours without am or pm, and the afternoon was read twelve hours early. Export the times with am or pm, or with 24 hours.")
	}
	return out
}

func newWhen(t Time, decimal byte) (*when, error) {
	w := &when{written: t.Written, decimal: decimal, part: math.MinInt64, last: evenstand.NoTime}
	if t.Zone != "" {
		z, err := loadZone(t.Zone)
		if err != nil {
			return nil, err
		}
		w.zone = z
	}
	return w, nil
}

// fault says why a time cannot be read.
type fault uint8

const (
	fine fault = iota
	noTime
	noZone
	badTime
	neverTime // the clock is set forward over it
)

// read gives the instant of a row; clock is nil when the time of day stands
// with the date.
func (w *when) read(date, clock *table.Cell) (evenstand.Micros, fault) {
	w.which = 0
	t, why := w.instant(date, clock)
	if why == fine {
		w.last = t
	}
	return t, why
}

func (w *when) instant(date, clock *table.Cell) (evenstand.Micros, fault) {
	var t, offset evenstand.Micros // of the wall's clock, where it is not the instant
	zoned, ok := false, true
	switch date.Type {
	case table.Empty:
		return evenstand.NoTime, noTime
	case table.Instant:
		if clock != nil {
			return evenstand.NoTime, badTime
		}
		return bounded(date.T)
	case table.Local:
		t = date.T
	case table.Number:
		t, ok = w.number(date.Num)
	case table.Words:
		switch w.written {
		case Seconds, Millis, Micros, GPSSeconds, SerialDays:
			t, ok = w.text(date.Text)
		default:
			t, offset, zoned, ok = w.dateTime(date.Text, clock == nil)
		}
	default:
		ok = false
	}
	if !ok {
		return evenstand.NoTime, badTime
	}
	switch w.written {
	case Seconds, Millis, Micros, GPSSeconds:
		if date.Type != table.Local {
			return bounded(t)
		}
	}
	if clock != nil {
		of, ok := w.ofDay(clock)
		if !ok {
			return evenstand.NoTime, badTime
		}
		t += of
	}
	if zoned {
		return bounded(t - offset)
	}
	return w.local(t)
}

func bounded(t evenstand.Micros) (evenstand.Micros, fault) {
	if t < 0 || t > lastTime {
		return evenstand.NoTime, badTime
	}
	return t, fine
}

// jitter is how far times may go back from line to line and still be rising.
// Judgement, no source.
const jitter = 5 * 60 * evenstand.Second

// local turns the time of a wall clock into the instant. Of the hour that comes
// twice in autumn the first is taken, and the second where only so the times go
// on rising; the times over which the clock is set forward in spring are none.
func (w *when) local(t evenstand.Micros) (evenstand.Micros, fault) {
	if w.zone == nil {
		return evenstand.NoTime, noZone
	}
	if t < 0 || t > lastTime {
		return evenstand.NoTime, badTime
	}
	const quarter = 900 * evenstand.Second // clocks are changed at none but these
	if p := int64(t / quarter); p != w.part {
		if h, last := p/4, w.part/4; h < last && h/24 == last/24 && last-h >= 9 {
			w.halfway++
		}
		w.hours |= 1 << (p / 4 % 24)
		w.part = p
		w.change(evenstand.Micros(p) * quarter)
	}
	switch {
	case w.never:
		return evenstand.NoTime, neverTime
	case w.back > 0:
		w.which = 1
		first := t - w.shift
		if second := first + w.back; w.last != evenstand.NoTime && first < w.last-jitter && second >= w.last-jitter {
			w.which = 2
			return bounded(second)
		}
	}
	return bounded(t - w.shift)
}

// change looks up how the zone's clock goes at a time that it shows.
func (w *when) change(t evenstand.Micros) {
	off := func(t evenstand.Micros) evenstand.Micros {
		_, s := t.Time().In(w.zone).Zone()
		return evenstand.Micros(s) * evenstand.Second
	}
	const day = 86400 * evenstand.Second
	// What holds a day before and a day behind is what can hold at t.
	before, behind := off(t-day), off(t+day)
	is, also := off(t-before) == before, off(t-behind) == behind
	w.shift, w.back, w.never = before, 0, !is && !also
	switch {
	case is && also && before > behind:
		w.back = before - behind
	case !is:
		w.shift = behind
	}
}

// standing names, of a zone, one whose clock is never changed and shows what it
// shows in winter; empty where none does.
func (w *when) standing(t evenstand.Micros) string {
	_, winter := time.Date(t.Time().Year(), time.January, 1, 0, 0, 0, 0, w.zone).Zone()
	if _, s := time.Date(t.Time().Year(), time.July, 1, 0, 0, 0, 0, w.zone).Zone(); s < winter {
		winter = s
	}
	if winter%3600 != 0 {
		return ""
	}
	return fmt.Sprintf("Etc/GMT%+d", -winter/3600) // signs are turned round in these names
}

// number reads a number of the recipe's kind; serial days are of a wall clock.
func (w *when) number(v float64) (evenstand.Micros, bool) {
	if !(v >= 0 && v < 1e17) {
		return evenstand.NoTime, false
	}
	switch w.written {
	case Seconds:
		v *= 1e6
	case Millis:
		v *= 1e3
	case Micros:
	case GPSSeconds:
		if v > float64(lastTime)/1e6 {
			return evenstand.NoTime, false
		}
		return plain.FromGPS(evenstand.FromSeconds(v)), true
	case SerialDays:
		v = (v - 25569) * 86400e6 // December 30, 1899 to January 1, 1970
	default:
		return evenstand.NoTime, false
	}
	if math.Abs(v) > float64(lastTime) {
		return evenstand.NoTime, false
	}
	return evenstand.Micros(math.Round(v)), true
}

// text reads a count of seconds and the like from text, exactly.
func (w *when) text(b []byte) (evenstand.Micros, bool) {
	whole, part, _ := bytes.Cut(b, []byte{w.point()})
	if len(whole) == 0 || len(whole) > 16 {
		return evenstand.NoTime, false
	}
	n := int64(0)
	for _, c := range whole {
		if c < '0' || c > '9' {
			return evenstand.NoTime, false
		}
		n = n*10 + int64(c-'0')
	}
	for _, c := range part {
		if c < '0' || c > '9' {
			return evenstand.NoTime, false
		}
	}
	if w.written == SerialDays {
		v, ok := number(b, w.decimal)
		if !ok {
			return evenstand.NoTime, false
		}
		return w.number(v)
	}
	us := int64(1)
	switch w.written {
	case Seconds, GPSSeconds:
		us = 1e6
	case Millis:
		us = 1e3
	}
	if n > int64(lastTime)/us {
		return evenstand.NoTime, false
	}
	t := n * us
	for scale, i := us/10, 0; scale > 0 && i < len(part); i++ {
		t += int64(part[i]-'0') * scale
		scale /= 10
	}
	if w.written == GPSSeconds {
		return plain.FromGPS(evenstand.Micros(t)), true
	}
	return evenstand.Micros(t), true
}

func (w *when) point() byte {
	if w.decimal == ',' {
		return ','
	}
	return '.'
}

// months are the names of months that logs write, by their first three
// letters without accents: English, German, French, Spanish, Dutch, Portuguese.
var months = map[string]int64{
	"jan": 1, "ene": 1, "feb": 2, "fev": 2, "mar": 3, "mrz": 3, "maa": 3, "mrt": 3, "apr": 4, "avr": 4, "abr": 4, "may": 5, "mai": 5, "mei": 5,
	"jun": 6, "jul": 7, "aug": 8, "aou": 8, "ago": 8, "sep": 9, "set": 9, "oct": 10, "okt": 10, "out": 10, "nov": 11, "dec": 12, "dez": 12, "dic": 12,
}

// dateTime reads a date and, when there is one, the time behind it; t is that
// of the wall clock as if in UTC, and offset that of the zone when it carries
// one.
func (w *when) dateTime(b []byte, clock bool) (t, offset evenstand.Micros, zoned, ok bool) {
	b = bytes.TrimSpace(b)
	// The date ends before the first blank or T that a colon follows, or is all
	// there is.
	end, day := len(w.day), w.start
	if end == 0 || len(b) <= end || !bytes.Equal(b[:end], w.day) || !parts(b[end]) {
		if end, day, ok = w.date(b); !ok {
			return 0, 0, false, false
		}
		if end < len(b) && parts(b[end]) {
			w.day, w.start = append(w.day[:0], b[:end]...), day
		}
	}
	rest := b[end:]
	for len(rest) > 0 && parts(rest[0]) {
		rest = rest[1:]
	}
	if len(rest) == 0 {
		return day, 0, false, true // midnight, or the clock stands elsewhere
	}
	of, off, z, ok := w.timeOfDay(rest)
	return day + of, off, z, ok && clock
}

// parts tells whether a sign parts the date from the time of day.
func parts(c byte) bool { return c == ' ' || c == 'T' || c == ',' || c == '_' || c == ';' }

// date reads the date at the front and gives where it ends.
func (w *when) date(b []byte) (end int, day evenstand.Micros, ok bool) {
	var part [3]int64
	var wide [3]int
	n, i := 0, 0
	month := -1 // part that was a name
	for n < 3 {
		from := i
		v := int64(0)
		for i < len(b) && b[i] >= '0' && b[i] <= '9' && i-from < 8 {
			v = v*10 + int64(b[i]-'0')
			i++
		}
		if i == from { // a month's name
			for i < len(b) && (b[i] >= 'a' && b[i] <= 'z' || b[i] >= 'A' && b[i] <= 'Z' || b[i] >= 0x80) {
				i++
			}
			if i-from < 3 || month >= 0 {
				return 0, 0, false
			}
			name := fold(string(b[from:i]))
			if len(name) < 3 {
				return 0, 0, false
			}
			m, ok := months[name[:3]]
			if !ok {
				return 0, 0, false
			}
			v, month = m, n
			if i < len(b) && b[i] == '.' {
				i++
			}
		}
		if n == 0 && i-from == 8 { // 20260502, or 02052026 as the recipe says
			switch w.written {
			case YearFirst:
				part, wide = [3]int64{v / 10000, v / 100 % 100, v % 100}, [3]int{4, 2, 2}
			default:
				part, wide = [3]int64{v / 1000000, v / 10000 % 100, v % 10000}, [3]int{2, 2, 4}
			}
			n = 3
			break
		}
		part[n], wide[n] = v, i-from
		n++
		if n < 3 {
			if i >= len(b) || !strings.ContainsRune("-/. ", rune(b[i])) {
				return 0, 0, false
			}
			for i < len(b) && strings.ContainsRune("-/. ", rune(b[i])) {
				i++
			}
		}
	}
	var y, m, d int64
	var yw int
	switch w.written {
	case YearFirst:
		y, m, d, yw = part[0], part[1], part[2], wide[0]
	case DayFirst:
		d, m, y, yw = part[0], part[1], part[2], wide[2]
	case MonthFirst:
		m, d, y, yw = part[0], part[1], part[2], wide[2]
		if month == 1 { // a name says what it is, wherever it stands
			m, d = part[1], part[0]
		}
	default:
		return 0, 0, false
	}
	if yw == 2 {
		y += 2000
	}
	if y < 1970 || y > 2099 || m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, 0, false
	}
	at := time.Date(int(y), time.Month(m), int(d), 0, 0, 0, 0, time.UTC)
	if at.Day() != int(d) {
		return 0, 0, false
	}
	return i, evenstand.FromTime(at), true
}

// ofDay reads a time of day that has a column of its own.
func (w *when) ofDay(c *table.Cell) (evenstand.Micros, bool) {
	const day = 86400 * evenstand.Second
	switch c.Type {
	case table.Local, table.Instant:
		return c.T % day, true
	case table.Number: // a part of a day, as spreadsheets have it
		if c.Num >= 0 && c.Num < 1 {
			return evenstand.Micros(math.Round(c.Num * float64(day))), true
		}
	case table.Words:
		of, _, zoned, ok := w.timeOfDay(bytes.TrimSpace(c.Text))
		return of, ok && !zoned
	}
	return 0, false
}

// timeOfDay reads a time of day by itself, without the column that it stands in.
func timeOfDay(b []byte, decimal byte) (t, offset evenstand.Micros, zoned, ok bool) {
	return (&when{decimal: decimal}).timeOfDay(b)
}

// timeOfDay reads 14:12:08.120, 2:12 PM, 141208 and the offset of a zone
// behind it.
func (w *when) timeOfDay(b []byte) (t, offset evenstand.Micros, zoned, ok bool) {
	var part [3]int64
	n, i := 0, 0
	for n < 3 {
		from := i
		v := int64(0)
		for i < len(b) && b[i] >= '0' && b[i] <= '9' && i-from < 6 {
			v = v*10 + int64(b[i]-'0')
			i++
		}
		switch wide := i - from; {
		case wide == 6 && n == 0:
			part, n = [3]int64{v / 10000, v / 100 % 100, v % 100}, 3
		case wide == 1 || wide == 2:
			part[n] = v
			n++
		default:
			return 0, 0, false, false
		}
		if n < 3 {
			if i >= len(b) || b[i] != ':' && !(b[i] == '.' && w.decimal == ',') {
				break
			}
			i++
		}
	}
	if n < 2 {
		return 0, 0, false, false
	}
	us := evenstand.Micros(0)
	if n == 3 && i < len(b) && (b[i] == '.' || b[i] == ',' || b[i] == ':') {
		sign := b[i]
		i++
		scale, from := evenstand.Micros(100_000), i
		for i < len(b) && b[i] >= '0' && b[i] <= '9' {
			us += evenstand.Micros(b[i]-'0') * scale
			scale /= 10
			i++
		}
		if i == from {
			return 0, 0, false, false
		}
		if sign == ':' {
			us = w.behind.micros(b[from:i], b)
		}
	}
	rest := bytes.TrimSpace(b[i:])
	if len(rest) >= 2 && (rest[0]|0x20 == 'a' || rest[0]|0x20 == 'p') {
		half := fold(string(rest[:min(4, len(rest))]))
		k := 0
		switch {
		case strings.HasPrefix(half, "am"), strings.HasPrefix(half, "pm"):
			k = 2
		case strings.HasPrefix(half, "a.m."), strings.HasPrefix(half, "p.m."):
			k = 4
		}
		if k > 0 {
			if part[0] < 1 || part[0] > 12 {
				return 0, 0, false, false
			}
			part[0] %= 12
			if half[0] == 'p' {
				part[0] += 12
			}
			rest = bytes.TrimSpace(rest[k:])
		}
	}
	if part[0] > 23 || part[1] > 59 || part[2] > 59 {
		return 0, 0, false, false
	}
	t = evenstand.Micros((part[0]*3600+part[1]*60+part[2])*1e6) + us
	switch {
	case len(rest) == 0:
		return t, 0, false, true
	case string(rest) == "Z" || string(rest) == "UTC" || string(rest) == "GMT":
		return t, 0, true, true
	case rest[0] == '+' || rest[0] == '-':
		d := rest[1:]
		if len(d) == 5 && d[2] == ':' {
			d = append(append([]byte(nil), d[:2]...), d[3:]...)
		}
		if len(d) == 2 {
			d = append(append([]byte(nil), d...), '0', '0')
		}
		if len(d) != 4 {
			return 0, 0, false, false
		}
		v := int64(0)
		for _, c := range d {
			if c < '0' || c > '9' {
				return 0, 0, false, false
			}
			v = v*10 + int64(c-'0')
		}
		if v/100 > 23 || v%100 > 59 {
			return 0, 0, false, false
		}
		offset = evenstand.Micros((v/100*3600 + v%100*60) * 1e6)
		if rest[0] == '-' {
			offset = -offset
		}
		return t, offset, true, true
	}
	return 0, 0, false, false
}

// number reads a number with the decimal sign of the table. Signs between
// thousands are taken only where they stand in groups of three.
func number(b []byte, decimal byte) (float64, bool) {
	if decimal != ',' && bytes.IndexByte(b, ',') < 0 {
		return plain.ParseNumber(b)
	}
	point, group := byte('.'), byte(',')
	if decimal == ',' {
		point, group = ',', '.'
	}
	var small [32]byte
	if len(b) > len(small) {
		return math.NaN(), false
	}
	out := small[:0]
	at := bytes.IndexByte(b, point)
	whole := b
	if at >= 0 {
		whole = b[:at]
	}
	run, groups := 0, 0
	for _, c := range whole {
		if c == group {
			if run == 0 || groups > 0 && run != 3 || groups == 0 && run > 3 {
				return math.NaN(), false
			}
			run = 0
			groups++
			continue
		}
		if c >= '0' && c <= '9' {
			run++
		}
		out = append(out, c)
	}
	if groups > 0 && run != 3 {
		return math.NaN(), false
	}
	if at >= 0 {
		out = append(out, '.')
		out = append(out, b[at+1:]...)
	}
	return plain.ParseNumber(out)
}
