package recipe

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/format/table"
)

// Line is what one line of a table gives; of tables with a line for each row or
// each value, what all lines of one time give.
type Line struct {
	T     evenstand.Micros
	Gives []Given // in the order of the columns
}

// Given is one value of a line.
type Given struct {
	Of     string // what it is: skips, place
	Text   string // it and its value, with the unit: row 4 skips 4.5 %
	Column int    // of the table, from 0; -1 not told
}

// Head is the begin of a table as a recipe reads it.
type Head struct {
	Lines         []Line
	Unused        []evenstand.Unused
	Unread, Lacks []string // see Differs
}

// First reads the first lines of a table from which anything is read, n at most,
// and says it in the units that people read.
func (r *Recipe) First(ctx context.Context, in fs.FS, ref table.Ref, n int, units evenstand.Units) (Head, error) {
	said, _, _ := plain.Beside(in, path.Dir(ref.Files[0]))
	h := &head{units: units, most: n}
	rd, _, err := r.open(ctx, in, ref, said, h)
	if err != nil {
		return Head{}, err
	}
	defer rd.rows.Close()
	rd.batch, h.rd = 1, rd
	if err := rd.run(ctx); err != nil && !errors.Is(err, errEnough) {
		return Head{}, err
	}
	rd.bad.Send(h)
	for _, u := range rd.rows.Unused() {
		h.Unused(u)
	}
	var out Head
	for _, l := range h.lines {
		slices.SortStableFunc(l.gives, func(a, b placed) int { return cmp.Or(cmp.Compare(a.line, b.line), cmp.Compare(a.Column, b.Column)) })
		line := Line{T: l.t}
		for _, g := range l.gives {
			line.Gives = append(line.Gives, g.Given)
		}
		out.Lines = append(out.Lines, line)
	}
	out.Unused = h.unused
	out.Unread, out.Lacks = r.Differs(rd.rows.Columns())
	return out, nil
}

// errEnough ends the reading of a table whose first lines are known.
var errEnough = errors.New("enough")

// head takes the first lines of a table, each for itself.
type head struct {
	rd     *reader
	units  evenstand.Units
	most   int
	lines  []headLine
	unused []evenstand.Unused
}

type headLine struct {
	n     int // of the table's lines
	t     evenstand.Micros
	gives []placed
}

type placed struct {
	line int
	Given
}

// at finds the line of a time, or begins it; nil beyond those that are shown. A
// value that a running total held back is of the line of its time.
func (h *head) at(t evenstand.Micros) *headLine {
	rd := h.rd
	for i := len(h.lines) - 1; i >= 0; i-- {
		if l := &h.lines[i]; l.t == t && (h.long() || t != rd.now || l.n == rd.taken) {
			return l
		}
	}
	if len(h.lines) >= h.most {
		return nil
	}
	h.lines = append(h.lines, headLine{n: rd.taken, t: t})
	return &h.lines[len(h.lines)-1]
}

func (h *head) add(l *headLine, column int, of, text string) {
	n := l.n
	if h.long() {
		n = h.rd.taken
	}
	l.gives = append(l.gives, placed{n, Given{of, text, column}})
}

// long tells whether several lines of the table are of one time by its kind.
func (h *head) long() bool { return h.rd.nameAt >= 0 || h.rd.rowAt >= 0 || h.rd.seedAt >= 0 }

func (h *head) Fixes(fs []evenstand.Fix) error {
	unit := func(us, metric string) string {
		if h.units == evenstand.Metric {
			return metric
		}
		return us
	}
	for i := range fs {
		f := &fs[i]
		l := h.at(f.T)
		place := fmt.Sprintf("%.6f, %.6f", f.Lat, f.Lon)
		if l == nil || slices.ContainsFunc(l.gives, func(g placed) bool { return g.Text == place }) {
			continue // the same place on the lines of all rows
		}
		h.add(l, h.rd.place[latitude], "place", place)
		for _, x := range []struct {
			at   int
			v    float64
			of   string
			unit string
		}{
			{altitude, f.Alt, "altitude", unit("ft", "m")},
			{speed, f.Speed, "speed of the receiver", unit("mph", "km/h")},
			{heading, f.Heading, "heading", "deg"},
			{hdop, f.HDOP, "HDOP", ""},
			{satellites, float64(f.Sats), "satellites", ""},
		} {
			if h.rd.place[x.at] >= 0 && !math.IsNaN(x.v) && !(x.at == satellites && f.Sats < 0) {
				h.add(l, h.rd.place[x.at], x.of, x.of+" "+amount(x.v, x.unit))
			}
		}
	}
	return h.enough()
}

func (h *head) Seeds(ss []evenstand.Seed) error {
	for _, s := range ss {
		if l := h.at(s.T); l != nil {
			h.add(l, h.rd.seedAt, "seeds", fmt.Sprintf("a seed of row %d", s.Row))
		}
	}
	return h.enough()
}

func (h *head) Readings(rs []evenstand.Reading) error {
	for _, r := range rs {
		l := h.at(r.T)
		if l == nil {
			continue
		}
		info := r.Quantity.Info()
		unit := info.US
		if h.units == evenstand.Metric {
			unit = info.Metric
		}
		text := info.Label + " " + amount(r.Value, unit)
		if r.Element != (evenstand.Element{}) {
			text = r.Element.String() + " " + text
		}
		h.add(l, h.column(r), info.Label, text)
	}
	return h.enough()
}

// column is where a reading came from.
func (h *head) column(r evenstand.Reading) int {
	for _, b := range h.rd.bound {
		if b.value.Quantity == r.Quantity && b.element == r.Element {
			return b.at
		}
	}
	for _, b := range h.rd.long {
		if b.value != nil && b.value.Quantity == r.Quantity && b.element == r.Element {
			return b.at
		}
	}
	return -1
}

// enough goes on beyond the lines that are shown, for what cannot be used.
func (h *head) enough() error {
	if len(h.lines) >= h.most && h.rd.taken >= sampleRows {
		return errEnough
	}
	return nil
}

func (h *head) Entries([]evenstand.Entry) error { return nil }
func (h *head) Unused(u evenstand.Unused)       { h.unused = append(h.unused, u) }
func (h *head) Progress(int64)                  {}

// amount writes a value in SI in a unit.
func amount(si float64, unit string) string {
	u, err := evenstand.ParseUnit(unit)
	if err != nil {
		u = evenstand.Unit{Scale: 1}
	}
	text := short(u.FromSI(si))
	if unit != "" {
		text += " " + cmp.Or(plainUnits[unit], UnitName(unit, 1))
	}
	return text
}

// plainUnits are the units of screens whose names people say otherwise.
var plainUnits = map[string]string{"lbf": "lb", "kgf": "kg", "inH2O": "in of water", "degF": "°F", "degC": "°C", "deg": "°"}

// short writes a number with four digits that count, without an exponent.
func short(v float64) string {
	s := strconv.FormatFloat(v, 'g', 4, 64)
	if x, err := strconv.ParseFloat(s, 64); err == nil && math.Abs(x) < 1e9 && (x == 0 || math.Abs(x) > 1e-6) {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return s
}
