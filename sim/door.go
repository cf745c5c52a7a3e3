package sim

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/format/nmea0183"
	"evenstand/format/plain"
	"evenstand/format/recipe"
	"evenstand/format/table"
)

// output takes what a box logs.
type output interface {
	Seeds([]evenstand.Seed) error
	Fixes([]evenstand.Fix) error
	Readings([]evenstand.Reading) error
	Entries([]evenstand.Entry) error
	Close() error
}

// door is a way in which boxes write what they log.
type door struct {
	kind     table.Kind
	dialect  table.Dialect
	european bool // dates with the day first, on the wall's clock
	nmea     bool
	places   bool // a receiver only
}

// doors are those of output.door. The plain layout is none of them.
var doors = map[string]door{
	"csv":       {kind: table.Text},
	"tsv":       {kind: table.Text, dialect: table.Dialect{Separator: '\t'}},
	"csv-comma": {kind: table.Text, dialect: table.Dialect{Separator: ';', Decimal: ',', Encoding: "latin-1"}, european: true},
	"csv-utf16": {kind: table.Text, dialect: table.Dialect{Separator: ';', Encoding: "utf-16le"}},
	"xlsx":      {kind: table.Workbook},
	"parquet":   {kind: table.Parquet},
	"geojson":   {kind: table.GeoJSON, places: true},
	"shapefile": {kind: table.Shapefile, places: true},
	"nmea":      {nmea: true, places: true},
}

// openOutput opens what a box writes into: the plain layout, or a table with
// the recipe that reads it.
func openOutput(s *Scenario, dir, box, title string) (output, error) {
	create := func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(dir, name)) }
	w, err := plain.NewWriter(create, plain.Options{Units: units, Digits: digits})
	if err != nil {
		return nil, err
	}
	d, ok := doors[s.Output.Door]
	if !ok || d.places && box != "guidance" || box == "journal" {
		return w, nil
	}
	t := &tables{
		s: s, d: d, create: create, base: box, title: title, at: map[column]int{},
		recipes: filepath.Join(filepath.Dir(filepath.Dir(dir)), "recipes"),
	}
	for _, q := range evenstand.Quantities() {
		name, ok := units[q]
		if !ok {
			name = q.Info().SI
		}
		u, err := evenstand.ParseUnit(name)
		if err != nil {
			return nil, err
		}
		t.units = append(t.units, u)
	}
	return t, nil
}

// digits are the significant digits of what boxes write.
const digits = 7

// column is one column of readings.
type column struct {
	q evenstand.Quantity
	e evenstand.Element
}

// sparse is one cell of a row of readings.
type sparse struct {
	column int32
	value  float64
}

// tables writes what a box logs as a table of its own kind: seeds and places as
// they come, readings with a row for each time when the box is closed.
type tables struct {
	s       *Scenario
	d       door
	create  func(string) (io.WriteCloser, error)
	base    string
	title   string
	recipes string
	units   []evenstand.Unit

	seeds  *table.Writer
	places *table.Writer
	nmea   *nmea0183.Writer
	file   io.WriteCloser
	cells  []table.Cell

	columns []column
	at      map[column]int
	times   []evenstand.Micros
	from    []int // first cell of each time
	all     []sparse
}

// when makes the cell of a time, to the millisecond.
func (t *tables) when(at evenstand.Micros) table.Cell {
	at = (at + 500) / 1000 * 1000
	if !t.d.european {
		return table.Cell{Type: table.Instant, T: at}
	}
	return table.Cell{Type: table.Words, Text: []byte(at.Time().In(t.s.zone).Format("02.01.2006 15:04:05,000"))}
}

// timeType is the type of a column of times.
func (t *tables) timeType() table.CellType {
	if t.d.european {
		return table.Words
	}
	return table.Instant
}

// written is how the recipe says that times are written.
func (t *tables) written() recipe.Time {
	switch {
	case t.d.european:
		return recipe.Time{Column: "time", Written: recipe.DayFirst, Zone: t.s.zone.String()}
	case t.d.kind == table.Workbook: // a workbook has no zones; it is written in UTC
		return recipe.Time{Column: "time", Written: recipe.ByContainer, Zone: "UTC"}
	case t.d.kind == table.Parquet:
		return recipe.Time{Column: "time", Written: recipe.ByContainer}
	}
	return recipe.Time{Column: "time", Written: recipe.YearFirst}
}

// keep writes the recipe for one of the tables.
func (t *tables) keep(suffix string, columns []table.Column, fill func(*recipe.Recipe)) error {
	r := recipe.New()
	r.Box = t.title
	r.File = recipe.File{Kind: t.d.kind, Dialect: table.Dialect{Separator: t.d.dialect.Separator, Decimal: t.d.dialect.Decimal, Encoding: t.d.dialect.Encoding}}
	for _, c := range columns {
		r.File.Columns = append(r.File.Columns, c.Name)
	}
	r.Time = t.written()
	fill(&r)
	if err := os.MkdirAll(t.recipes, 0o777); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(t.recipes, t.base+suffix+".toml"), r.Marshal(), 0o666)
}

// Seeds writes a line for each seed.
func (t *tables) Seeds(seeds []evenstand.Seed) error {
	if len(seeds) == 0 {
		return nil
	}
	if t.seeds == nil {
		cols := []table.Column{{Name: "time", Type: t.timeType()}, {Name: "row", Type: table.Number}}
		var err error
		if t.seeds, err = table.NewWriter(t.d.kind, t.create, t.base+"-log", cols, t.d.dialect); err != nil {
			return err
		}
		if err := t.keep("-seeds", cols, func(r *recipe.Recipe) { r.Seeds.Row = "row" }); err != nil {
			return err
		}
		t.cells = make([]table.Cell, len(cols))
	}
	for _, s := range seeds {
		t.cells[0], t.cells[1] = t.when(s.T), table.Cell{Type: table.Number, Num: float64(s.Row)}
		if err := t.seeds.Row(t.cells); err != nil {
			return err
		}
	}
	return nil
}

// Fixes writes a line for each place, or sentences.
func (t *tables) Fixes(fixes []evenstand.Fix) error {
	if len(fixes) == 0 {
		return nil
	}
	if t.d.nmea {
		if t.nmea == nil {
			f, err := t.create(t.base + ".nmea")
			if err != nil {
				return err
			}
			t.file, t.nmea = f, nmea0183.NewWriter(f)
		}
		return t.nmea.Fixes(fixes)
	}
	lat, lon, alt := "latitude", "longitude", "altitude m"
	if t.d.places || t.d.kind == table.Parquet {
		lat, lon, alt = table.LatitudeColumn, table.LongitudeColumn, table.HeightColumn
	}
	cols := []table.Column{{Name: "time", Type: t.timeType()}}
	for _, n := range []string{lat, lon, alt, "speed", "heading", "hdop", "satellites"} {
		cols = append(cols, table.Column{Name: n, Type: table.Number})
	}
	if t.places == nil {
		var err error
		if t.places, err = table.NewWriter(t.d.kind, t.create, t.base+"-track", cols, t.d.dialect); err != nil {
			return err
		}
		err = t.keep("-places", cols, func(r *recipe.Recipe) {
			r.Place = recipe.Place{Latitude: lat, Longitude: lon, Altitude: alt, Speed: "speed", SpeedUnit: "m/s", Heading: "heading", HDOP: "hdop", Satellites: "satellites"}
			if t.d.kind == table.Shapefile { // which has no heights of points without them
				r.Place.Altitude = ""
			}
		})
		if err != nil {
			return err
		}
		t.cells = make([]table.Cell, len(cols))
	}
	for _, f := range fixes {
		t.cells[0] = t.when(f.T)
		for i, v := range []float64{f.Lat, f.Lon, f.Alt, f.Speed, f.Heading, f.HDOP, float64(f.Sats)} {
			t.cells[i+1] = table.Cell{}
			if !math.IsNaN(v) {
				places := 3
				if i < 2 {
					places = 9
				}
				t.cells[i+1] = table.Cell{Type: table.Number, Num: round(v, places)}
			}
		}
		if err := t.places.Row(t.cells); err != nil {
			return err
		}
	}
	return nil
}

// Readings keeps readings for their rows.
func (t *tables) Readings(readings []evenstand.Reading) error {
	for _, r := range readings {
		if math.IsNaN(r.Value) {
			continue
		}
		at := (r.T + 500) / 1000 * 1000
		if n := len(t.times); n == 0 || t.times[n-1] != at {
			t.times = append(t.times, at)
			t.from = append(t.from, len(t.all))
		}
		c := column{r.Quantity, r.Element}
		i, ok := t.at[c]
		if !ok {
			i = len(t.columns)
			t.at[c] = i
			t.columns = append(t.columns, c)
		}
		t.all = append(t.all, sparse{int32(i), r.Value})
	}
	return nil
}

// Entries has no table: a journal is not what boxes write.
func (*tables) Entries([]evenstand.Entry) error {
	return errors.New("a journal cannot be written as a table")
}

// Close writes the rows of readings and ends all files.
func (t *tables) Close() error {
	var errs []error
	for _, w := range []*table.Writer{t.seeds, t.places} {
		if w != nil {
			errs = append(errs, w.Close())
		}
	}
	if t.nmea != nil {
		errs = append(errs, t.nmea.Flush(), t.file.Close())
	}
	if len(t.columns) > 0 {
		errs = append(errs, t.writeReadings())
	}
	return errors.Join(errs...)
}

func (t *tables) writeReadings() error {
	cols := []table.Column{{Name: "time", Type: t.timeType()}}
	values := map[string]recipe.Value{}
	var order []string
	for _, c := range t.columns {
		u := t.units[c.q]
		name := strings.ReplaceAll(c.q.String(), "_", " ")
		if u.Name != "" {
			name += " [" + u.Name + "]"
		}
		pattern, element := name, c.e.String()
		if c.e.Scope == evenstand.ScopeRow {
			pattern, element = "row {n} "+name, "row {n}"
			name = "row " + strconv.Itoa(int(c.e.N)) + " " + name
		} else if c.e != (evenstand.Element{}) {
			name = c.e.String() + " " + name
			pattern = name
		}
		cols = append(cols, table.Column{Name: name, Type: table.Number})
		if _, ok := values[pattern]; !ok {
			order = append(order, pattern)
			values[pattern] = recipe.Value{Column: pattern, Quantity: c.q, Element: element, Unit: u.Name, Times: 1}
		}
	}
	err := t.keep("-readings", cols, func(r *recipe.Recipe) {
		for _, p := range order {
			r.Values = append(r.Values, values[p])
		}
	})
	if err != nil {
		return err
	}
	w, err := table.NewWriter(t.d.kind, t.create, t.base+"-values", cols, t.d.dialect)
	if err != nil {
		return err
	}
	cells := make([]table.Cell, len(cols))
	for i, at := range t.times {
		clear(cells)
		cells[0] = t.when(at)
		end := len(t.all)
		if i+1 < len(t.from) {
			end = t.from[i+1]
		}
		for _, x := range t.all[t.from[i]:end] {
			v := t.units[t.columns[x.column].q].FromSI(x.value)
			v, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
			if err != nil {
				return fmt.Errorf("%s: %w", t.base, err)
			}
			cells[x.column+1] = table.Cell{Type: table.Number, Num: v}
		}
		if err := w.Row(cells); err != nil {
			return err
		}
	}
	return w.Close()
}
