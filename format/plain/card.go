package plain

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"evenstand"
)

// CardVersion is the version of the planter card that this package writes and
// the newest that it reads.
const CardVersion = 1

// groupKinds are the kinds of rows that share a cause.
var groupKinds = []string{"vacuum", "section", "frame", "wheel_track", "seed_delivery"}

// ReadCard reads a planter card. What the card does not say is unknown in the
// result. Errors are *Error, joined when there are several: a key that is not
// known, a row beyond the planter, a card of a newer version. The name is that
// of the file and is only used to say where.
func ReadCard(name string, data []byte) (evenstand.Card, error) {
	card := evenstand.NewCard()
	d, t, err := parseDocument(name, data)
	if err != nil {
		return card, err
	}
	const first = "The first line of a planter card is card = 1."
	if v, ok := t.get("card"); !ok {
		return card, &Error{name, 0, errors.New("this is no planter card: it has no line card = 1"), first}
	} else if n, ok := v.(int64); !ok || n < 1 {
		return card, &Error{name, d.line("card"), errors.New("card wants the version of the card's layout"), first}
	} else if n > CardVersion {
		return card, &Error{name, d.line("card"), fmt.Errorf("the card is of version %d, this program reads up to %d", n, CardVersion), "It needs a newer version of the program."}
	}
	card.Name = t.text("name")
	card.Rows = t.whole("rows", 1, evenstand.MaxRows)
	// Narrow grain drills to the widest beds: common practice, no source.
	card.RowSpacing = t.within("row_spacing", 0.1, 2.5, "Inches are row_spacing_in, such as row_spacing_in = 30.")
	tables := []*table{&t}
	rest := func(s table) *table { tables = append(tables, &s); return &s }

	g := rest(t.sub("geometry"))
	card.Geometry = readGeometry(g, card.Rows)

	crops := map[string]evenstand.Rows{}
	for _, s := range t.subs("meter") {
		m := rest(s)
		x := evenstand.Meter{Rows: m.rows("rows", card.Rows), Crop: crop(m.text("crop")), Cells: m.whole("cells", 1, 1000)}
		for _, r := range x.Rows {
			if crops[x.Crop].Has(r) {
				m.fail("rows", "Give each row one meter for a crop.", "row %d has two meters for the same crop", r)
				break
			}
		}
		crops[x.Crop] = append(crops[x.Crop], x.Rows...)
		card.Meters = append(card.Meters, x)
	}
	for _, s := range t.subs("group") {
		m := rest(s)
		x := evenstand.Group{Kind: m.text("kind"), Name: m.text("name"), Rows: m.rows("rows", card.Rows)}
		if !slices.Contains(groupKinds, x.Kind) {
			m.fail("kind", "Use vacuum, section, frame, wheel_track or seed_delivery.", "a group of kind %q is not known", x.Kind)
		}
		card.Groups = append(card.Groups, x)
	}
	for _, s := range t.subs("attachment") {
		m := rest(s)
		x := evenstand.Attachment{Kind: m.text("kind"), Label: m.text("label"), Rows: m.rows("rows", card.Rows), Since: m.date("since")}
		if x.Kind == "" {
			m.fail("kind", `Say what it is, such as kind = "closing_wheel".`, "an attachment has no kind")
		}
		card.Attachments = append(card.Attachments, x)
	}
	numbers := map[int]bool{}
	for _, s := range t.subs("section") {
		m := rest(s)
		x := evenstand.Section{Number: m.whole("number", 1, 999), Rows: m.rows("rows", card.Rows)}
		checkNumber(m, "section", x.Number, numbers)
		card.Sections = append(card.Sections, x)
	}
	numbers = map[int]bool{}
	for _, s := range t.subs("tank") {
		m := rest(s)
		x := evenstand.Tank{
			Number: m.whole("number", 1, 999), Name: m.text("name"), Product: m.text("product"),
			Capacity: m.sized("capacity", volumeSuffixes), Feeds: m.rows("feeds", card.Rows),
		}
		checkNumber(m, "tank", x.Number, numbers)
		if x.Capacity <= 0 {
			m.fail("", "", "the capacity of tank %d must be more than 0", x.Number)
			x.Capacity = math.NaN()
		}
		card.Tanks = append(card.Tanks, x)
	}
	for _, t := range tables {
		for _, k := range t.unknown() {
			t.fail(k, "Check its spelling, or take it out.", "the key %s is not known on a planter card", join(t.path, k))
		}
	}
	return card, d.err()
}

func checkNumber(t *table, what string, n int, seen map[int]bool) {
	switch {
	case !t.has("number"):
		t.fail("number", "", "a %s has no number", what)
	case n > 0 && seen[n]:
		t.fail("number", "Give each its own number.", "%s %d stands twice on the card", what, n)
	}
	seen[n] = true
}

func readGeometry(t *table, rows int) evenstand.Geometry {
	g := evenstand.Geometry{
		Hitch:          evenstand.Hitch(t.text("hitch")),
		AntennaToHitch: t.within("antenna_to_hitch", -10, 30, "It is how far the receiver is ahead of the hitch point; behind it is less than 0."),
		HitchToRowLine: t.within("hitch_to_row_line", 0, 30, "It is how far the seed line is behind the hitch point, and never less than 0."),
		AntennaRight:   t.within("antenna_right", -10, 10, "It is how far the receiver is right of the middle; left of it is less than 0."),
		SeedFall:       t.number("seed_fall_s"),
	}
	if g.Hitch != evenstand.HitchUnknown && g.Hitch != evenstand.Trailed && g.Hitch != evenstand.Mounted {
		t.fail("hitch", "Use trailed or mounted.", "the hitch %q is not known", string(g.Hitch))
		g.Hitch = evenstand.HitchUnknown
	}
	if g.Hitch == evenstand.Trailed && g.AntennaToHitch < 0 {
		t.failSized("antenna_to_hitch", lengthSuffixes, "It is how far the receiver is ahead of the hitch point. On a trailed planter whose receiver is on its own frame, write hitch = mounted.", "the receiver of a trailed planter is ahead of the hitch")
		g.AntennaToHitch = math.NaN()
	}
	if g.SeedFall < 0 || g.SeedFall > 5 {
		t.fail("seed_fall_s", "", "a seed falls for 0 to 5 seconds, not %g", g.SeedFall)
		g.SeedFall = math.NaN()
	}
	y, key := t.sizedList("row_y", lengthSuffixes)
	switch {
	case y == nil:
	case len(y) != rows:
		t.fail(key, "Give one place for each row, in the order of their numbers.", "%s has %d places for %d rows", key, len(y), rows)
	case !slices.IsSorted(y) && !slices.IsSortedFunc(y, func(a, b float64) int { return cmp.Compare(b, a) }):
		t.fail(key, "Rows count from one side to the other, as a rule from the left; places right of the centre are positive.", "the places of %s neither rise nor fall", key)
	default:
		g.RowY = y
	}
	return g
}

// err gives what is wrong with a document, nil when nothing is.
func (d *document) err() error {
	if len(d.errs) == 0 {
		return nil
	}
	slices.SortStableFunc(d.errs, func(a, b *Error) int { return a.Line - b.Line })
	list := make([]error, len(d.errs))
	for i, e := range d.errs {
		list[i] = e
	}
	if len(list) == 1 {
		return list[0]
	}
	return errors.Join(list...)
}

// WriteCard writes a planter card that ReadCard reads back the same. What is
// unknown is left out.
func WriteCard(c evenstand.Card) []byte {
	b := fmt.Appendf(nil, "card = %d\n", CardVersion)
	b = appendKeyText(b, "name", c.Name)
	b = appendKeyWhole(b, "rows", c.Rows)
	b = appendKeyNumber(b, "row_spacing_m", c.RowSpacing)

	g := c.Geometry
	var geo []byte
	geo = appendKeyText(geo, "hitch", string(g.Hitch))
	geo = appendKeyNumber(geo, "antenna_to_hitch_m", g.AntennaToHitch)
	geo = appendKeyNumber(geo, "hitch_to_row_line_m", g.HitchToRowLine)
	geo = appendKeyNumber(geo, "antenna_right_m", g.AntennaRight)
	geo = appendKeyNumber(geo, "seed_fall_s", g.SeedFall)
	if g.RowY != nil {
		geo = append(geo, "row_y_m = ["...)
		for i, y := range g.RowY {
			if i > 0 {
				geo = append(geo, ", "...)
			}
			geo = appendNumber(geo, y)
		}
		geo = append(geo, "]\n"...)
	}
	if len(geo) > 0 {
		b = append(b, "\n[geometry]\n"...)
		b = append(b, geo...)
	}
	for _, m := range c.Meters {
		b = append(b, "\n[[meter]]\n"...)
		b = appendKeyText(b, "rows", m.Rows.String())
		b = appendKeyText(b, "crop", m.Crop)
		b = appendKeyWhole(b, "cells", m.Cells)
	}
	for _, x := range c.Groups {
		b = append(b, "\n[[group]]\n"...)
		b = appendKeyText(b, "kind", x.Kind)
		b = appendKeyText(b, "name", x.Name)
		b = appendKeyText(b, "rows", x.Rows.String())
	}
	for _, x := range c.Attachments {
		b = append(b, "\n[[attachment]]\n"...)
		b = appendKeyText(b, "kind", x.Kind)
		b = appendKeyText(b, "label", x.Label)
		b = appendKeyText(b, "rows", x.Rows.String())
		b = appendKeyText(b, "since", x.Since)
	}
	for _, x := range c.Sections {
		b = append(b, "\n[[section]]\n"...)
		b = appendKeyWhole(b, "number", x.Number)
		b = appendKeyText(b, "rows", x.Rows.String())
	}
	for _, x := range c.Tanks {
		b = append(b, "\n[[tank]]\n"...)
		b = appendKeyWhole(b, "number", x.Number)
		b = appendKeyText(b, "name", x.Name)
		b = appendKeyText(b, "product", x.Product)
		if l := math.Round(x.Capacity*1e9) / 1e6; l*1e-3 == x.Capacity {
			b = appendKeyNumber(b, "capacity_l", l)
		} else {
			b = appendKeyNumber(b, "capacity_m3", x.Capacity)
		}
		b = appendKeyText(b, "feeds", x.Feeds.String())
	}
	return b
}

func appendKeyText(b []byte, key, s string) []byte {
	if s == "" {
		return b
	}
	b = append(b, key...)
	b = append(b, " = "...)
	b = appendText(b, s)
	return append(b, '\n')
}

func appendKeyWhole(b []byte, key string, n int) []byte {
	if n == 0 {
		return b
	}
	return fmt.Appendf(b, "%s = %d\n", key, n)
}

func appendKeyNumber(b []byte, key string, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	b = append(b, key...)
	b = append(b, " = "...)
	b = appendNumber(b, v)
	return append(b, '\n')
}

// appendNumber writes a TOML float: one with a point or an exponent.
func appendNumber(b []byte, v float64) []byte {
	at := len(b)
	b = strconv.AppendFloat(b, v, 'g', -1, 64)
	for _, c := range b[at:] {
		if c == '.' || c == 'e' || c == 'n' {
			return b
		}
	}
	return append(b, ".0"...)
}
