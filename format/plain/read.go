package plain

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/format/unused"
)

// batch is how many values are handed over at once.
const batch = 4096

func (s *scan) badTime(err error) {
	if text := s.fields[s.head.at[0]]; errors.Is(err, evenstand.ErrNoZone) {
		s.bad(&badZone, text)
	} else {
		s.bad(&badTime, text)
	}
}

func (s *scan) seeds() error {
	out := make([]evenstand.Seed, 0, batch)
	for {
		t, ok := s.next(false)
		if !ok {
			break
		}
		text := s.field(1)
		n, ok := parseWhole(text)
		if !ok {
			n = 0
		}
		row, why := s.row(n)
		if why != nil {
			s.bad(why, text)
			continue
		}
		s.take(t)
		out = append(out, evenstand.Seed{T: t, Row: int16(row)})
		if len(out) == batch {
			if err := s.sink.Seeds(out); err != nil {
				return err
			}
			out = out[:0]
		}
	}
	if len(out) == 0 {
		return nil
	}
	return s.sink.Seeds(out)
}

func (s *scan) track() error {
	out := make([]evenstand.Fix, 0, batch)
	for {
		t, ok := s.next(false)
		if !ok {
			break
		}
		lat, ok1 := ParseNumber(s.field(1))
		lon, ok2 := ParseNumber(s.field(2))
		// Under a ten millionth of a degree (1 cm) from 0/0 is 0/0: no receiver
		// logs that place by chance.
		const nothing = 1e-7
		switch {
		case !ok1:
			s.bad(notNumber(s.field(1), &badPlace), s.field(1))
			continue
		case !ok2:
			s.bad(notNumber(s.field(2), &badPlace), s.field(2))
			continue
		case math.Abs(lat) > 90:
			s.bad(&badRange, s.field(1))
			continue
		case math.Abs(lon) > 180:
			s.bad(&badRange, s.field(2))
			continue
		case math.Abs(lat) < nothing && math.Abs(lon) < nothing:
			s.bad(&badZero, nil)
			continue
		}
		fix := evenstand.NewFix(t, lat, lon)
		fix.Alt = s.extra(3, -1000, 10000) // m: the ground of the earth, with a margin
		speed := evenstand.GroundSpeed.Info()
		fix.Speed = s.extra(4, speed.Min, speed.Max)
		fix.Heading = s.extra(5, -360, 720)
		if fix.Heading < 0 || fix.Heading >= 360 {
			fix.Heading = math.Mod(fix.Heading+720, 360)
		}
		fix.HDOP = s.extra(6, 0, 1000)
		if n := s.extra(7, 0, 200); !math.IsNaN(n) {
			fix.Sats = int16(n)
		}
		s.take(t)
		out = append(out, fix)
		if len(out) == batch {
			if err := s.sink.Fixes(out); err != nil {
				return err
			}
			out = out[:0]
		}
	}
	if len(out) == 0 {
		return nil
	}
	return s.sink.Fixes(out)
}

// extra reads a column that a place can do without: NaN when empty, and
// reported when it is no number or outside what can be.
func (s *scan) extra(column int, lo, hi float64) float64 {
	text := s.field(column)
	if len(text) == 0 {
		return math.NaN()
	}
	v, ok := ParseNumber(text)
	if ok && v >= lo && v <= hi {
		return v
	}
	name := kinds[1].want[column]
	if ok {
		s.report.Add(&badExtra, name+" cannot be", s.lines.Line(), s.lines.Start())
	} else {
		s.report.Add(&badExtra, name+" is no number", s.lines.Line(), s.lines.Start())
	}
	return math.NaN()
}

// column is one quantity of one element in one unit, as readings.csv spells it.
type column struct {
	words   [3][]byte // quantity, element, unit as spelled
	next    *column   // that came after it the last time
	why     *reason   // why its readings cannot be used
	found   string    // what was found, for the reason
	q       evenstand.Quantity
	e       evenstand.Element
	unit    evenstand.Unit
	lo, hi  float64 // plausible, SI
	state   bool    // only 0 or 1
	outside string  // sentence on a value that cannot be

	pace evenstand.Pace
}

// maxColumns bounds the memory of columns; a planter has a few thousand.
const maxColumns = 1 << 16

func (s *scan) readings() (evenstand.Grade, error) {
	out := make([]evenstand.Reading, 0, batch)
	columns := map[string]*column{}
	var key []byte
	turn := &column{}
	for {
		t, ok := s.next(false)
		if !ok {
			break
		}
		q, e, u := s.field(1), s.field(2), s.field(4)
		// A box logs its columns in the same turn each time, so the one that
		// came after the last one before is nearly always the one.
		c := turn.next
		if c == nil || !bytes.Equal(c.words[0], q) || !bytes.Equal(c.words[1], e) || !bytes.Equal(c.words[2], u) {
			key = append(key[:0], q...)
			key = append(key, 0)
			key = append(key, e...)
			key = append(key, 0)
			key = append(key, u...)
			if c = columns[string(key)]; c == nil {
				c = s.column(q, e, u)
				if len(columns) >= maxColumns {
					clear(columns)
				}
				if len(key) <= 200 { // a longer one is noise
					columns[string(key)] = c
				}
			}
			turn.next = c
		}
		turn = c
		if c.why != nil {
			s.report.Add(c.why, c.found, s.lines.Line(), s.lines.Start())
			continue
		}
		text := s.field(3)
		v, ok := ParseNumber(text)
		if !ok {
			s.bad(notNumber(text, &badValue), text)
			continue
		}
		v = c.unit.ToSI(v)
		if !(v >= c.lo && v <= c.hi) {
			s.report.Add(&badPlausi, c.outside, s.lines.Line(), s.lines.Start())
			continue
		}
		if c.state && v != 0 && v != 1 {
			s.report.Add(&badState, c.q.String(), s.lines.Line(), s.lines.Start())
			continue
		}
		s.take(t)
		c.pace.Take(t)
		out = append(out, evenstand.Reading{T: t, Value: v, Quantity: c.q, Element: c.e})
		if len(out) == batch {
			if err := s.sink.Readings(out); err != nil {
				return gradeOf(columns), err
			}
			out = out[:0]
		}
	}
	if len(out) == 0 {
		return gradeOf(columns), nil
	}
	return gradeOf(columns), s.sink.Readings(out)
}

// column reads the three words of a reading.
func (s *scan) column(q, e, u []byte) *column {
	c := &column{words: [3][]byte{bytes.Clone(q), bytes.Clone(e), bytes.Clone(u)}}
	fail := func(why *reason, found string) *column {
		c.why, c.found = why, found
		return c
	}
	var ok bool
	if c.q, ok = evenstand.ParseQuantity(string(q)); !ok {
		return fail(&badQuantity, unused.Show(q))
	}
	var err error
	if c.e, err = evenstand.ParseElement(string(e)); err != nil {
		return fail(&badElement, unused.Show(e))
	}
	if c.e.Scope == evenstand.ScopeRow {
		n, why := s.row(int(c.e.N))
		if why != nil {
			return fail(why, unused.Show(e))
		}
		c.e.N = int16(n)
	}
	if c.unit, err = evenstand.ParseUnit(string(u)); err != nil {
		return fail(unknownUnit(u), unused.Show(u))
	}
	in := c.q.Info()
	percent := c.unit.Dim == evenstand.Plain && c.unit.Scale != 1
	if !c.q.Accepts(c.unit) || percent && in.Aggregate != evenstand.Mean {
		return fail(&badMatch, unused.Show(u)+" for "+in.Name)
	}
	c.lo, c.hi = in.Min, in.Max
	c.state = in.Aggregate == evenstand.State && in.SI == ""
	c.outside = in.Name + " outside " + bounds(in, c.unit)
	return c
}

// bounds writes the plausible range of a quantity in a unit.
func bounds(in evenstand.QuantityInfo, u evenstand.Unit) string {
	text := fmt.Sprintf("%.4g to %.4g", u.FromSI(in.Min), u.FromSI(in.Max))
	return strings.TrimSpace(text + " " + u.Name)
}

// gradeOf tells the data grade of what was read.
func gradeOf(columns map[string]*column) evenstand.Grade {
	grade := evenstand.NoGrade
	for _, c := range columns {
		if c.why == nil {
			grade = grade.Better(evenstand.GradeOf(c.e, &c.pace))
		}
	}
	return grade
}

// The kinds of journal entry.
var entryKinds = []string{"setting", "refill", "fix", "remark", "count", "dig", "lot"}

func (s *scan) journal() error {
	var out []evenstand.Entry
	for {
		t, ok := s.next(true)
		if !ok {
			break
		}
		e := evenstand.Entry{T: t, Value: math.NaN()}
		i := slices.Index(entryKinds, string(s.field(1)))
		if i < 0 {
			s.bad(&badWhat, s.field(1))
			continue
		}
		e.What = entryKinds[i]
		rows, err := evenstand.ParseRows(string(s.field(2)))
		if err != nil {
			s.bad(&badRows, s.field(2))
			continue
		}
		var why *reason
		for i, n := range rows {
			if rows[i], why = s.row(n); why != nil {
				break
			}
		}
		if why != nil {
			s.bad(why, s.field(2))
			continue
		}
		if s.said.RowsFrom == "right" {
			slices.Reverse(rows)
		}
		e.Rows = rows
		if text := s.field(3); len(text) > 0 {
			if e.Value, ok = ParseNumber(text); !ok {
				s.bad(notNumber(text, &badValue), text)
				continue
			}
		}
		if _, err := evenstand.ParseUnit(string(s.field(4))); err != nil {
			s.bad(unknownUnit(s.field(4)), s.field(4))
			continue
		}
		e.Unit = string(s.field(4))
		e.Note = strings.ToValidUTF8(string(s.field(5)), "\uFFFD")
		s.take(t)
		if out = append(out, e); len(out) == batch {
			if err := s.sink.Entries(out); err != nil {
				return err
			}
			out = out[:0]
		}
	}
	if len(out) == 0 {
		return nil
	}
	return s.sink.Entries(out)
}
