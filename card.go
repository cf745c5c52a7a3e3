package evenstand

import "math"

// Card describes a planter and what is mounted on it. Lengths are in metres
// and NaN where nobody has said.
type Card struct {
	Name        string
	Rows        int     // 0 unknown
	RowSpacing  float64 // m
	Geometry    Geometry
	Meters      []Meter
	Groups      []Group
	Attachments []Attachment
	Sections    []Section
	Tanks       []Tank
}

// Hitch is how the planter is coupled.
type Hitch string

// The hitches.
const (
	HitchUnknown Hitch = ""
	Trailed      Hitch = "trailed"
	Mounted      Hitch = "mounted"
)

// Geometry places the seed line under the antenna: x forward, y right.
type Geometry struct {
	Hitch          Hitch
	AntennaToHitch float64   // m, antenna ahead of the hitch point
	HitchToRowLine float64   // m, hitch point ahead of the seed line
	AntennaRight   float64   // m, antenna right of the tractor's long axis
	SeedFall       float64   // s from the sensor to the furrow
	RowY           []float64 // m, right of the bar's centre, by row; nil: even spacing
}

// Meter is the seed meters of some rows.
type Meter struct {
	Rows  Rows
	Crop  string
	Cells int // on the disc
}

// Group is rows that share a cause: kind vacuum, section, frame, wheel_track
// or seed_delivery.
type Group struct {
	Kind, Name string
	Rows       Rows
}

// Attachment is a part mounted on some rows since a date.
type Attachment struct {
	Kind, Label string
	Rows        Rows
	Since       string // local date, 2026-04-20; empty: always
}

// Section is rows that are switched together.
type Section struct {
	Number int
	Rows   Rows
}

// Tank is a tank or hopper and the rows it feeds.
type Tank struct {
	Number        int
	Name, Product string
	Capacity      float64 // m3
	Feeds         Rows
}

// NewCard is a card on which nothing is known.
func NewCard() Card {
	nan := math.NaN()
	return Card{RowSpacing: nan, Geometry: Geometry{AntennaToHitch: nan, HitchToRowLine: nan, AntennaRight: nan, SeedFall: nan}}
}

// Y gives the place of a row right of the bar's centre in metres, NaN when
// the card cannot tell.
func (c *Card) Y(row int) float64 {
	if row < 1 || row > c.Rows {
		return math.NaN()
	}
	if len(c.Geometry.RowY) == c.Rows {
		return c.Geometry.RowY[row-1]
	}
	return (float64(row) - float64(c.Rows+1)/2) * c.RowSpacing
}

// Cells gives the cells on the disc of a row, 0 when the card does not say.
func (c *Card) Cells(row int) int {
	for _, m := range c.Meters {
		if m.Rows.Has(row) {
			return m.Cells
		}
	}
	return 0
}

// Crop gives the crop of a row's meter, empty when the card does not say.
func (c *Card) Crop(row int) string {
	for _, m := range c.Meters {
		if m.Rows.Has(row) {
			return m.Crop
		}
	}
	return ""
}

// Side gives the rows of the vacuum group of that name; without a card line
// left and right are unknown and the set is empty.
func (c *Card) Side(name string) Rows {
	for _, g := range c.Groups {
		if g.Kind == "vacuum" && g.Name == name {
			return g.Rows
		}
	}
	return nil
}

// RowsOf gives the rows that an element covers; a tank's are those it feeds.
// An element that the card does not know covers no rows, and rows that the
// card does not have are left out.
func (c *Card) RowsOf(e Element) Rows {
	switch e.Scope {
	case ScopeMachine:
		all := make(Rows, c.Rows)
		for i := range all {
			all[i] = i + 1
		}
		return all
	case ScopeLeft:
		return c.Side("left").upTo(c.Rows)
	case ScopeRight:
		return c.Side("right").upTo(c.Rows)
	case ScopeSection:
		for _, s := range c.Sections {
			if s.Number == int(e.N) {
				return s.Rows.upTo(c.Rows)
			}
		}
	case ScopeRow:
		if int(e.N) >= 1 && int(e.N) <= c.Rows {
			return Rows{int(e.N)}
		}
	case ScopeTank:
		for _, t := range c.Tanks {
			if t.Number == int(e.N) {
				return t.Feeds.upTo(c.Rows)
			}
		}
	}
	return nil
}

// upTo gives the rows from 1 to n of the set; the set itself when that is all.
func (r Rows) upTo(n int) Rows {
	for i, row := range r {
		if row >= 1 && row <= n {
			continue
		}
		keep := append(Rows(nil), r[:i]...)
		for _, row := range r[i:] {
			if row >= 1 && row <= n {
				keep = append(keep, row)
			}
		}
		return keep
	}
	return r
}
