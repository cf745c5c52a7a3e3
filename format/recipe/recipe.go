package recipe

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/format/table"

	"github.com/pelletier/go-toml/v2"
)

// Version is the layout of recipes that this program writes and knows.
const Version = 1

// Recipe says how one kind of table is read.
type Recipe struct {
	Name    string // of its file in the logbook; no part of the text
	Box     string // the box that writes such tables: the name of the source
	Planter string // the card that its rows belong to; empty: the only one
	Note    string // a sentence of whoever made it
	File    File
	Time    Time
	Rows    Rows
	Long    Long
	Place   Place
	Seeds   Seeds
	Values  []Value
}

// File says what such a table looks like.
type File struct {
	Kind    table.Kind
	Dialect table.Dialect // of a text table
	Sheet   string        // of a workbook; empty: any
	Columns []string      // the header of the table that the recipe was made from
	Units   []string      // the line of units under it, one for each column; nil: it had none
}

// Written is how times are written.
type Written string

// The ways to write a time. Dates may have any signs between their parts, and
// hours may be followed by am or pm.
const (
	YearFirst   Written = "year month day"  // 2026-05-02 14:12:08.120, also 20260502141208
	DayFirst    Written = "day month year"  // 02.05.2026 14:12:08
	MonthFirst  Written = "month day year"  // 5/2/2026 2:12:08 PM
	Seconds     Written = "seconds"         // since 1970
	Millis      Written = "milliseconds"    // since 1970
	Micros      Written = "microseconds"    // since 1970
	GPSSeconds  Written = "seconds of GPS"  // since January 6, 1980, without leap seconds
	SerialDays  Written = "days"            // since December 30, 1899, as spreadsheets count
	ByContainer Written = "as the file has" // the container knows moments or dates by itself
)

// words say for people how times are written.
func (w Written) words() string {
	switch w {
	case ByContainer:
		return "dates of the file's own"
	case Seconds, Millis, Micros:
		return string(w) + " since 1970"
	case SerialDays:
		return "days since 1900, as spreadsheets count"
	}
	return string(w)
}

var allWritten = []Written{YearFirst, DayFirst, MonthFirst, Seconds, Millis, Micros, GPSSeconds, SerialDays, ByContainer}

// Time says when a row was logged.
type Time struct {
	Column  string // date and time, or the date alone where Clock is given
	Clock   string // column of the time of day; empty: it stands with the date
	Written Written
	Zone    string // of times that carry none: an IANA name; empty: they all carry one
}

// Rows says how the box numbers rows.
type Rows struct {
	From  string // "left" or "right", looking forward
	Count int    // rows of the planter, needed when they count from the right; 0 unknown
	First int    // the number that the box gives to the outermost row, 0 or 1
}

// Long says, for tables with a line for each row or each value, which columns
// tell what a line speaks of. Empty names: none.
type Long struct {
	Row   string // column with the number of the row
	Name  string // column that names the quantity; Value.Word is what it holds
	Value string // column with the value, where Name is given
}

// Place says which columns are the receiver's place, in degrees of WGS 84.
type Place struct {
	Latitude, Longitude string
	Altitude            string // m
	Speed, SpeedUnit    string
	Heading             string // degrees clockwise from north
	HDOP, Satellites    string
}

// Seeds says that each line is one seed.
type Seeds struct{ Row string } // column with the number of the row

// Value is one column, or one for each row.
type Value struct {
	Column   string // name, with {n} in the place of the row's number; empty in long tables with Word
	Word     string // what Long.Name holds for it
	Quantity evenstand.Quantity
	Element  string // machine, left, right, section 2, tank 1, or "row {n}"
	Unit     string
	Times    float64  // the column holds the value divided by this, such as 1000 for thousands; 1 else
	Running  bool     // of counts: it is a running total
	Opposite bool     // of shares and states: the column holds one less the value, such as ground contact
	Average  float64  // s over which the box says that it averages; 0 not said
	Yes, No  []string // of states: what stands for 1 and 0, beside the usual words
}

// New is a recipe that says nothing.
func New() Recipe {
	return Recipe{Rows: Rows{From: "left", First: 1}}
}

// The TOML of a recipe.
type tomlRecipe struct {
	Recipe  int         `toml:"recipe"`
	Box     string      `toml:"box"`
	Planter string      `toml:"planter,omitempty"`
	Note    string      `toml:"note,omitempty"`
	File    tomlFile    `toml:"file"`
	Time    tomlTime    `toml:"time"`
	Rows    *tomlRows   `toml:"rows,omitempty"`
	Long    *tomlLong   `toml:"long,omitempty"`
	Place   *tomlPlace  `toml:"place,omitempty"`
	Seeds   *tomlSeeds  `toml:"seeds,omitempty"`
	Values  []tomlValue `toml:"value,omitempty"`
}

type tomlFile struct {
	Kind      string   `toml:"kind"`
	Encoding  string   `toml:"encoding,omitempty"`
	Separator string   `toml:"separator,omitempty"`
	Decimal   string   `toml:"decimal,omitempty"`
	Header    int      `toml:"header_line,omitempty"`
	Units     int      `toml:"units_line,omitempty"`
	Sheet     string   `toml:"sheet,omitempty"`
	Columns   []string `toml:"columns"`
	UnitNames []string `toml:"units,omitempty"`
}

type tomlTime struct {
	Column  string `toml:"column"`
	Clock   string `toml:"clock,omitempty"`
	Written string `toml:"written"`
	Zone    string `toml:"zone,omitempty"`
}

type tomlRows struct {
	From  string `toml:"from"`
	Count int    `toml:"count,omitempty"`
	First *int   `toml:"first,omitempty"`
}

type tomlLong struct {
	Row   string `toml:"row,omitempty"`
	Name  string `toml:"name,omitempty"`
	Value string `toml:"value,omitempty"`
}

type tomlPlace struct {
	Latitude   string `toml:"latitude"`
	Longitude  string `toml:"longitude"`
	Altitude   string `toml:"altitude_m,omitempty"`
	Speed      string `toml:"speed,omitempty"`
	SpeedUnit  string `toml:"speed_unit,omitempty"`
	Heading    string `toml:"heading_deg,omitempty"`
	HDOP       string `toml:"hdop,omitempty"`
	Satellites string `toml:"satellites,omitempty"`
}

type tomlSeeds struct {
	Row string `toml:"row"`
}

type tomlValue struct {
	Column   string   `toml:"column,omitempty"`
	Word     string   `toml:"word,omitempty"`
	Quantity string   `toml:"quantity"`
	Element  string   `toml:"element"`
	Unit     string   `toml:"unit"`
	Times    *float64 `toml:"times,omitempty"`
	Running  bool     `toml:"running_total,omitempty"`
	Opposite bool     `toml:"opposite,omitempty"`
	Average  *float64 `toml:"average_s,omitempty"`
	Yes      []string `toml:"yes,omitempty"`
	No       []string `toml:"no,omitempty"`
}

// separators are the words for signs that cannot be seen.
var separators = []struct {
	sign byte
	word string
}{{'\t', "tab"}, {' ', "blanks"}, {',', ","}, {';', ";"}, {'|', "|"}}

// Parse reads a recipe. Errors say file, line and what to do.
func Parse(name string, data []byte) (Recipe, error) {
	r := New()
	var f tomlRecipe
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		line, hint, what := plain.TOMLError(data, err)
		return r, &plain.Error{File: name, Line: line, Err: what, Hint: hint}
	}
	lines := plain.TOMLLines(data)
	fail := func(key, hint, format string, a ...any) error {
		return &plain.Error{File: name, Line: lines(key), Err: fmt.Errorf(format, a...), Hint: hint}
	}
	switch {
	case f.Recipe > Version:
		return r, fail("recipe", "Use a newer version of the program.", "the recipe is of layout %d, this program knows %d", f.Recipe, Version)
	case f.Recipe < 1:
		return r, fail("recipe", "Write recipe = 1 at its top.", "it is no recipe: the line recipe = 1 is missing")
	case strings.TrimSpace(f.Box) == "":
		return r, fail("box", `Write box = "seed monitor", or what people call it.`, "the recipe does not say which box writes such tables")
	}
	r.Box, r.Planter, r.Note = strings.TrimSpace(f.Box), f.Planter, f.Note
	r.File.Kind, r.File.Sheet, r.File.Columns = table.Kind(f.File.Kind), f.File.Sheet, f.File.Columns
	switch r.File.Kind {
	case table.Text, table.Workbook, table.Parquet, table.GeoJSON, table.Shapefile:
	default:
		return r, fail("file.kind", `Write "text", "workbook", "parquet", "geojson" or "shapefile".`, "the kind %q of file is not known", f.File.Kind)
	}
	if len(r.File.Columns) == 0 {
		return r, fail("file.columns", "List the names of the header in its order.", "the recipe does not list the columns")
	}
	if r.File.Units = f.File.UnitNames; len(r.File.Units) > 0 && len(r.File.Units) != len(r.File.Columns) {
		return r, fail("file.units", `List one for each column, "" where there is none.`, "%d units do not go with %d columns", len(r.File.Units), len(r.File.Columns))
	}
	dl := &r.File.Dialect
	dl.Encoding, dl.Header, dl.Units = f.File.Encoding, f.File.Header, f.File.Units
	if f.File.Separator != "" {
		for _, s := range separators {
			if s.word == f.File.Separator {
				dl.Separator = s.sign
			}
		}
		if dl.Separator == 0 {
			return r, fail("file.separator", `Write "," ";" "|" "tab" or "blanks".`, "the separator %q is not known", f.File.Separator)
		}
	}
	switch f.File.Decimal {
	case "":
	case ".", ",":
		dl.Decimal = f.File.Decimal[0]
	default:
		return r, fail("file.decimal", `Write "." or ",".`, "the decimal sign %q is not known", f.File.Decimal)
	}
	r.Time = Time{f.Time.Column, f.Time.Clock, Written(f.Time.Written), f.Time.Zone}
	if r.Time.Column == "" {
		return r, fail("time.column", "Name the column with the time.", "the recipe does not say which column is the time")
	}
	if !slices.Contains(allWritten, r.Time.Written) {
		return r, fail("time.written", fmt.Sprintf("Write one of %s.", quoted(allWritten)), "times written as %q are not known", f.Time.Written)
	}
	if r.Time.Zone != "" {
		if _, err := loadZone(r.Time.Zone); err != nil {
			return r, fail("time.zone", "Write a time zone such as America/Chicago or UTC.", "the time zone %q is not known", r.Time.Zone)
		}
	}
	if f.Rows != nil {
		r.Rows.Count = f.Rows.Count
		if f.Rows.From != "" {
			r.Rows.From = f.Rows.From
		}
		if f.Rows.First != nil {
			r.Rows.First = *f.Rows.First
		}
	}
	switch {
	case r.Rows.From != "left" && r.Rows.From != "right":
		return r, fail("rows.from", "Write left or right.", "rows that count from %q are not known", r.Rows.From)
	case r.Rows.Count < 0 || r.Rows.Count > evenstand.MaxRows:
		return r, fail("rows.count", "", "%d rows are not from 1 to %d", r.Rows.Count, evenstand.MaxRows)
	case r.Rows.From == "right" && r.Rows.Count == 0:
		return r, fail("rows.from", "Add count = 16, or the number it is.", "rows count from the right, but the recipe does not say how many there are")
	case r.Rows.First != 0 && r.Rows.First != 1:
		return r, fail("rows.first", "Write 0 or 1.", "the outermost row cannot be number %d", r.Rows.First)
	}
	if f.Long != nil {
		r.Long = Long(*f.Long)
		if (r.Long.Name == "") != (r.Long.Value == "") {
			return r, fail("long", "Give name and value, or neither.", "a column of names needs one of values")
		}
	}
	if f.Seeds != nil {
		r.Seeds.Row = f.Seeds.Row
		if r.Seeds.Row == "" {
			return r, fail("seeds.row", "Name the column with the row's number.", "seeds have no row")
		}
	}
	if p := f.Place; p != nil {
		r.Place = Place{p.Latitude, p.Longitude, p.Altitude, p.Speed, p.SpeedUnit, p.Heading, p.HDOP, p.Satellites}
		if p.Latitude == "" || p.Longitude == "" {
			return r, fail("place", "Name both columns.", "a place needs latitude and longitude")
		}
		if u, err := evenstand.ParseUnit(p.SpeedUnit); p.Speed != "" && (err != nil || u.Dim != evenstand.Speed) {
			return r, fail("place.speed_unit", "Write m/s, km/h or mph.", "the unit %q is none of a speed", p.SpeedUnit)
		}
	}
	for i, v := range f.Values {
		key := fmt.Sprintf("value[%d]", i)
		out, hint, err := v.value(r.Long)
		if err != nil {
			return r, fail(key, hint, "value %d, %s: %w", i+1, strconv.Quote(v.Column+v.Word), err)
		}
		r.Values = append(r.Values, out)
	}
	if len(r.Values) == 0 && r.Place.Latitude == "" && r.Seeds.Row == "" {
		return r, fail("", "Add a [[value]], a [place] or [seeds].", "the recipe uses no column beside the time")
	}
	return r, nil
}

func (v tomlValue) value(long Long) (Value, string, error) {
	out := Value{Column: v.Column, Word: v.Word, Element: v.Element, Unit: v.Unit, Times: 1, Running: v.Running, Opposite: v.Opposite, Yes: v.Yes, No: v.No}
	q, ok := evenstand.ParseQuantity(v.Quantity)
	if !ok {
		return out, "Use a name of the registry, such as vacuum or skip_fraction.", fmt.Errorf("the quantity %q is not known", v.Quantity)
	}
	out.Quantity = q
	u, err := evenstand.ParseUnit(v.Unit)
	if err != nil {
		return out, "Use a spelling such as kPa, lbf, 1/ac or %; nothing at all for a fraction or a state.", err
	}
	if !q.Accepts(u) {
		return out, "Use a unit of what is measured; lb is a mass, lbf a force.", fmt.Errorf("the unit %q does not fit %s", v.Unit, q)
	}
	perRow := strings.Contains(v.Element, rowMark)
	if perRow && v.Element != "row "+rowMark {
		return out, `Write "row {n}".`, fmt.Errorf("the element %q is not known", v.Element)
	}
	if !perRow {
		if _, err := evenstand.ParseElement(v.Element); err != nil {
			return out, `Use machine, left, right, section 2, row 7, tank 1 or "row {n}".`, err
		}
	}
	switch {
	case (v.Column == "") == (v.Word == ""):
		return out, "A value has a column, or a word where the table has a column of names.", errors.New("it needs a column or a word")
	case v.Word != "" && long.Name == "":
		return out, "Give the column of names under [long].", errors.New("no column holds its word")
	case perRow && !strings.Contains(v.Column+v.Word, rowMark) && long.Row == "":
		return out, "Write {n} in the column's name where the row's number stands, or name the column of rows under [long].", errors.New("nothing tells its row")
	case strings.Count(v.Column+v.Word, rowMark) > 1 || !perRow && strings.Contains(v.Column+v.Word, rowMark):
		return out, `Write {n} once, and "row {n}" as its element.`, errors.New("{n} stands where it has no sense")
	}
	if v.Times != nil {
		out.Times = *v.Times
		if !(out.Times > 0) || math.IsInf(out.Times, 0) {
			return out, "Write how often the unit goes into the column's, such as 1000.", fmt.Errorf("times = %v is no factor", out.Times)
		}
	}
	if out.Running && q != evenstand.SeedCount {
		return out, "Take running_total out.", fmt.Errorf("%s has no running total", q)
	}
	if in := q.Info(); out.Opposite && (in.Min != 0 || in.Max != 1) {
		return out, "Take opposite out.", fmt.Errorf("%s is neither a share nor a state", q)
	}
	if v.Average != nil {
		out.Average = *v.Average
		if out.Average < 0 || out.Average > maxAverage {
			return out, "Write the seconds over which the box averages, 0 for none.", fmt.Errorf("average_s = %v cannot be", out.Average)
		}
	}
	return out, "", nil
}

// rowMark stands for the number of a row.
const rowMark = "{n}"

func quoted(ws []Written) string {
	var parts []string
	for _, w := range ws {
		parts = append(parts, strconv.Quote(string(w)))
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// Marshal writes a recipe that Parse reads back the same.
func (r *Recipe) Marshal() []byte {
	f := tomlRecipe{Recipe: Version, Box: r.Box, Planter: r.Planter, Note: r.Note}
	d := r.File.Dialect
	f.File = tomlFile{Kind: string(r.File.Kind), Encoding: d.Encoding, Header: d.Header, Units: d.Units, Sheet: r.File.Sheet, Columns: r.File.Columns, UnitNames: r.File.Units}
	for _, s := range separators {
		if s.sign == d.Separator {
			f.File.Separator = s.word
		}
	}
	if d.Decimal != 0 {
		f.File.Decimal = string(rune(d.Decimal))
	}
	f.Time = tomlTime{r.Time.Column, r.Time.Clock, string(r.Time.Written), r.Time.Zone}
	if r.byRow() {
		f.Rows = &tomlRows{From: r.Rows.From, Count: r.Rows.Count}
		if r.Rows.First != 1 {
			f.Rows.First = &r.Rows.First
		}
	}
	if r.Long != (Long{}) {
		l := tomlLong(r.Long)
		f.Long = &l
	}
	if r.Seeds.Row != "" {
		f.Seeds = &tomlSeeds{r.Seeds.Row}
	}
	if p := r.Place; p.Latitude != "" {
		f.Place = &tomlPlace{p.Latitude, p.Longitude, p.Altitude, p.Speed, p.SpeedUnit, p.Heading, p.HDOP, p.Satellites}
	}
	for _, v := range r.Values {
		t := tomlValue{Column: v.Column, Word: v.Word, Quantity: v.Quantity.String(), Element: v.Element, Unit: v.Unit, Running: v.Running, Opposite: v.Opposite, Yes: v.Yes, No: v.No}
		if v.Times != 1 {
			t.Times = &v.Times
		}
		if v.Average > 0 {
			t.Average = &v.Average
		}
		f.Values = append(f.Values, t)
	}
	var b bytes.Buffer
	e := toml.NewEncoder(&b)
	e.SetArraysMultiline(false)
	if err := e.Encode(f); err != nil {
		panic(err) // plain structs of texts and numbers
	}
	return b.Bytes()
}

// byRow tells whether the recipe speaks of rows by number.
func (r *Recipe) byRow() bool {
	if r.Seeds.Row != "" || r.Long.Row != "" {
		return true
	}
	for _, v := range r.Values {
		if strings.Contains(v.Element, "row") {
			return true
		}
	}
	return false
}

// Sum is a name for exactly this recipe: the start of a hash of its text.
func (r *Recipe) Sum() string {
	s := sha256.Sum256(r.Marshal())
	return hex.EncodeToString(s[:8])
}

// uses lists the columns without which the recipe does not read a table: the
// time, the place, rows and names; of values any one suffices.
func (r *Recipe) uses() []string {
	var out []string
	for _, n := range []string{r.Time.Column, r.Time.Clock, r.Place.Latitude, r.Place.Longitude, r.Long.Row, r.Long.Name, r.Long.Value, r.Seeds.Row} {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}

// Fits tells how many columns of a table the recipe reads; 0 when it is not
// for such a table. A table fits when it has every column that the recipe
// reads, of the patterns one row at least; when more than half of its columns
// were in the table that the recipe was made from, since two boxes may both
// have a time and a speed; and when a line of units under its header says what
// it said there.
func (r *Recipe) Fits(kind table.Kind, columns []table.Column) int {
	n, _ := r.fit(kind, columns)
	return n
}

// fit is Fits that says what keeps a recipe from a table that has all of its
// columns; empty where it has not.
func (r *Recipe) fit(kind table.Kind, columns []table.Column) (n int, why string) {
	if kind != r.File.Kind {
		return 0, ""
	}
	names := map[string]*table.Column{}
	for i := range columns {
		names[columns[i].Name] = &columns[i]
	}
	for _, u := range r.uses() {
		if names[u] == nil {
			return 0, ""
		}
		n++
	}
	differs := func(c *table.Column, v *Value, unit string, times float64, q evenstand.Quantity) {
		was, other := r.unitDiffers(c, v, unit, times, q)
		switch {
		case !other || why != "":
		case c.Unit == "":
			why = fmt.Sprintf("the line of units under its header is missing, and the recipe of %s was made with %s for %s", r.Box, was, strconv.Quote(c.Name))
		default:
			why = fmt.Sprintf("the recipe of %s reads %s in %s, and the line of units under the header says %s", r.Box, strconv.Quote(c.Name), was, c.Unit)
		}
	}
	for i := range r.Values {
		v := &r.Values[i]
		if v.Column == "" {
			continue
		}
		hit := 0
		for j := range columns {
			if _, ok := v.matches(columns[j].Name); ok {
				hit++
				differs(&columns[j], v, v.Unit, v.Times, v.Quantity)
			}
		}
		if hit == 0 {
			return 0, ""
		}
		n += hit
	}
	p := &r.Place
	for _, o := range []struct{ name, unit string }{{p.Latitude, "deg"}, {p.Longitude, "deg"}, {p.Altitude, "m"}, {p.Speed, p.SpeedUnit}, {p.Heading, "deg"}, {p.HDOP, ""}, {p.Satellites, ""}} {
		if c := names[o.name]; c != nil && o.name != "" {
			if o.name != p.Latitude && o.name != p.Longitude {
				n++
			}
			differs(c, nil, o.unit, 1, evenstand.Raw)
		}
	}
	known, seen := map[string]bool{}, map[string]bool{}
	for _, c := range r.File.Columns {
		known[numbers.ReplaceAllString(c, "#")] = true
	}
	strange := 0
	var places []string
	for _, c := range columns {
		if p := numbers.ReplaceAllString(c.Name, "#"); !seen[p] {
			seen[p] = true
			if known[p] {
				continue
			}
			strange++
			if m, sure := meaning(readName(c).words); sure && len(m) == 1 && (m[0] == "latitude" || m[0] == "longitude") {
				places = append(places, strconv.Quote(c.Name))
			}
		}
	}
	switch {
	case why != "":
		return 0, why
	case len(places) == 2 && p.Latitude == "":
		return 0, fmt.Sprintf("the recipe of %s has all of its columns in it but knows nothing of the places in %s", r.Box, strings.Join(places, " and "))
	case 2*strange >= len(seen):
		return 0, ""
	}
	return n, ""
}

// Differs lists the columns of a table that fits which the recipe was not made
// with and does not read, and those that it reads where a table has them and
// that this one lacks: what else a receiver says, and rows that the table had of
// which it was made.
func (r *Recipe) Differs(columns []table.Column) (unread, lacks []string) {
	p := &r.Place
	named := append(r.uses(), p.Altitude, p.Speed, p.Heading, p.HDOP, p.Satellites)
	reads := func(name string) bool {
		return slices.Contains(named, name) || slices.ContainsFunc(r.Values, func(v Value) bool {
			_, ok := v.matches(name)
			return ok && v.Column != ""
		})
	}
	has := map[string]bool{}
	for _, c := range columns {
		has[c.Name] = true
		if !reads(c.Name) && !slices.Contains(r.File.Columns, c.Name) {
			unread = append(unread, c.Name)
		}
	}
	for _, n := range append(slices.Clone(r.File.Columns), named...) {
		if n != "" && !has[n] && reads(n) {
			has[n] = true // once
			lacks = append(lacks, n)
		}
	}
	return unread, lacks
}

// Among writes the first few of some names.
func Among(names []string) string {
	var quoted []string
	for _, n := range names[:min(few, len(names))] {
		quoted = append(quoted, strconv.Quote(n))
	}
	return among(quoted, len(names))
}

// columnsNote says how the columns of a table differ.
func columnsNote(unread, lacks []string) string {
	switch {
	case len(unread) > 0 && len(lacks) > 0:
		return "Its table has columns that its recipe does not speak of: " + Among(unread) + ". It lacks columns that the recipe reads: " + Among(lacks) + ". If one of them goes by another name now, say evenstand recipe for the file: that tells how both are read."
	case len(unread) > 0:
		return "Its table has columns that its recipe does not speak of: " + Among(unread) + ". Say evenstand recipe for it again if they are wanted."
	case len(lacks) > 0:
		return "Its table lacks columns that its recipe reads: " + Among(lacks) + ". Nothing to do if the box did not log them."
	}
	return ""
}

// unitDiffers tells whether a line of units says another unit of a column than
// in the table that the recipe was made from, or than the recipe says where
// that is not known; was is that one. v is nil for a column of a place.
func (r *Recipe) unitDiffers(c *table.Column, v *Value, unit string, times float64, q evenstand.Quantity) (was string, differs bool) {
	if len(r.File.Units) == len(r.File.Columns) && len(r.File.Units) > 0 {
		at := slices.Index(r.File.Columns, c.Name)
		if at < 0 && v != nil { // another row than those that were there
			at = slices.IndexFunc(r.File.Columns, func(n string) bool { _, ok := v.matches(n); return ok })
		}
		if at >= 0 {
			was := r.File.Units[at]
			if fold(was) == fold(c.Unit) {
				return was, false
			}
			a, n, ok := parseUnit(was)
			b, m, also := parseUnit(c.Unit)
			return was, !(ok && also && a == b && n == m)
		}
	}
	u, n, ok := unitFor(q, c.Unit)
	if !ok {
		return "", false // nothing is said, or nothing that is known
	}
	if times == 0 {
		times = 1
	}
	return UnitName(unit, times), u != unit || n != times
}

var numbers = regexp.MustCompile(`\d+`)

// matches tells whether a column's name, or a word, is of the value, and the
// number of the row in it, -1 when it has none.
func (v *Value) matches(name string) (int, bool) {
	p := v.Column
	if p == "" {
		p = v.Word
	}
	before, after, pattern := strings.Cut(p, rowMark)
	if !pattern {
		return -1, name == p
	}
	rest, ok := strings.CutPrefix(name, before)
	if !ok {
		return -1, false
	}
	digits, ok := strings.CutSuffix(rest, after)
	if !ok || digits == "" || len(digits) > 3 {
		return -1, false
	}
	n := 0
	for _, c := range []byte(digits) {
		if c < '0' || c > '9' {
			return -1, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

func loadZone(name string) (*time.Location, error) {
	if name == "Local" || strings.TrimSpace(name) == "" {
		return nil, errors.New("not the name of a zone")
	}
	return time.LoadLocation(name)
}
