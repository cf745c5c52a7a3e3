package recipe

import (
	"strconv"
	"strings"

	"evenstand"
	"evenstand/format/table"
)

// State says how sure it is what a column is taken for.
type State string

// The states. A column about which nothing was found out yet has none, as when
// it is not known which one is the time.
const (
	Certain State = "certain" // its name, unit and values leave no doubt
	Said    State = "said"    // an answer says so
	Asked   State = "asked"   // a question is open
	Unread  State = "unread"  // it is left out
)

// Offer is a column of a table, or all those of one pattern, and what it is
// taken for. Quantity, Part and Way are the three parts of the answer that says
// the same; Part and Way are empty where Quantity is none of the registry, such
// as time or none.
type Offer struct {
	Column   string // as questions and answers name it, with {n} for the row
	At       []int  // columns of the sample
	State    State
	Means    string // in plain words, of columns that are not read why
	Quantity string
	Part     string // machine, left, row {n}
	Way      string // key of Ways
	ByRow    bool   // the part can be "row {n}"
	Units    []string
	Values   []Value // of the recipe
}

// Offers lists what the columns of a sample are taken for in a proposal that
// was made with these answers, in the order of the table. Units are those that
// the column's name can mean, as keys of Ways.
func Offers(s Sample, answers map[string]string, p Proposal) []Offer {
	r := &p.Recipe
	g := &guesser{s: &s, answers: answers, p: p}
	roles := map[string]string{
		r.Time.Column: "time", r.Time.Clock: "clock", r.Long.Row: "row", r.Seeds.Row: "row", r.Long.Name: "name", r.Long.Value: "value",
		r.Place.Latitude: "latitude", r.Place.Longitude: "longitude", r.Place.Altitude: "altitude", r.Place.Heading: evenstand.Heading.String(),
		r.Place.Speed: evenstand.GroundSpeed.String(), r.Place.HDOP: "hdop", r.Place.Satellites: "satellites",
	}
	if r.Time.Clock != "" {
		roles[r.Time.Column] = "date"
	}
	delete(roles, "")
	var out []Offer
	for _, x := range groups(&s, answers) {
		o := Offer{Column: x.pattern, At: x.columns, ByRow: x.rows != nil || r.Long.Row != "", Units: unitKeys(x.named.unit)}
		for i := range r.Values {
			v := &r.Values[i]
			if v.Column == "" || v.Column != x.pattern && (x.rows == nil || !holdsName(&s, x, v.Column)) {
				continue
			}
			o.Values = append(o.Values, *v)
			o.Quantity, o.Part, o.Way = v.Quantity.String(), v.Element, v.way()
			if v.Column != x.pattern {
				o.Part = "row " + rowMark
			}
		}
		for _, l := range p.Reads {
			if l.Column == x.pattern {
				o.State, o.Means = Certain, l.Means
			}
		}
		for _, l := range p.Left {
			if l.Column == x.pattern {
				o.State, o.Means, o.Quantity = Unread, l.Means, "none"
			}
		}
		if role, ok := roles[x.pattern]; ok && x.rows == nil {
			o.Quantity, o.Part, o.Way = role, "", ""
			if o.State == "" { // names and values are read word by word
				o.State, o.Means = Certain, role
			}
		}
		_, said := answers[columnPrefix+x.pattern]
		if said && o.State == Certain {
			o.State = Said
		}
		for _, q := range p.Questions {
			if q.ID == columnPrefix+x.pattern {
				o.State = Asked
			}
		}
		if o.Part == "" && o.ByRow && x.rows != nil {
			o.Part = g.element(x, evenstand.Raw)
		}
		out = append(out, o)
	}
	return out
}

// holdsName tells whether a name is that of one of a group's columns.
func holdsName(s *Sample, x *group, name string) bool {
	for _, c := range x.columns {
		if s.Columns[c].Name == name {
			return true
		}
	}
	return false
}

// way writes the unit of a value and what is special about it, as the end of an
// answer.
func (v *Value) way() string {
	w := v.Unit
	if v.Times != 1 && v.Times != 0 {
		w = strconv.FormatFloat(v.Times, 'g', -1, 64) + " " + w
	}
	if v.Opposite {
		w += ", opposite"
	}
	if v.Running {
		w += ", running"
	}
	return w
}

// unitKeys lists what a unit in a name can stand for, as keys of Ways.
func unitKeys(text string) []string {
	if text == "" {
		return nil
	}
	unit, times, ok := parseUnit(text)
	if !ok {
		return nil
	}
	v := Value{Unit: unit, Times: times}
	out := []string{v.way()}
	for _, q := range []evenstand.Quantity{evenstand.GaugeWheelLoad, evenstand.Vacuum} {
		if v.Unit = ofQuantity(q, unit); v.Unit != unit {
			out = append(out, v.way())
		}
	}
	return out
}

// Ways lists the units of a quantity, and what a count or a state can be: the
// end of an answer, behind quantity and part.
func Ways(q evenstand.Quantity) []Option {
	in := q.Info()
	switch {
	case q == evenstand.SeedCount:
		return []Option{{"", "since the line before"}, {", running", "a running total"}}
	case in.Aggregate == evenstand.State && in.SI == "":
		return []Option{{"", "as it says"}, {", opposite", "turned round: yes means no"}}
	}
	var out []Option
	for _, v := range (&guesser{}).units(nil, Value{Quantity: q, Times: 1}, nil) {
		text := UnitName(v.Unit, v.Times)
		if text == "" {
			text = "a fraction, 0 to 1"
		}
		out = append(out, Option{v.way(), text})
	}
	if in.SI == "" && in.Max == 1 { // shares
		out = append(out, Option{"%, opposite", "%, of the opposite"}, Option{", opposite", "a fraction of the opposite"})
	}
	return out
}

// Cell writes what a cell holds, as it stands in the table where that is known.
func Cell(c *table.Cell) string {
	switch c.Type {
	case table.Words:
		return strings.ToValidUTF8(string(c.Text), "?")
	case table.Empty:
		return ""
	case table.Local:
		return strings.TrimSuffix(c.T.Time().UTC().Format("2006-01-02 15:04:05.999"), " 00:00:00")
	}
	return show(c)
}

// IsColumn tells whether an answer is about a column, and which.
func IsColumn(id string) (name string, ok bool) { return strings.CutPrefix(id, columnPrefix) }
