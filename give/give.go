package give

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/format/table"
)

// What names a table.
type What string

// The tables.
const (
	Seeds     What = "seeds"
	Stretches What = "stretches"
	Readings  What = "readings"
	Passes    What = "passes"
	Findings  What = "findings"
	Counts    What = "counts"
	Fields    What = "fields"
)

// As is how a table is written.
type As string

// The ways.
const (
	CSV       As = "csv"
	Parquet   As = "parquet"
	GeoJSON   As = "geojson"
	Shapefile As = "shapefile"
)

var kinds = map[As]table.Kind{CSV: table.Text, Parquet: table.Parquet, GeoJSON: table.GeoJSON, Shapefile: table.Shapefile}

// Ways are the ways to write a table.
func Ways() []As { return []As{CSV, Parquet, GeoJSON, Shapefile} }

// Filter says of which ground and days; what is empty is all.
type Filter struct {
	Planter  string
	Field    string
	From, To evenstand.Day
}

func (f *Filter) day(d *book.DaySummary) bool {
	return (f.Planter == "" || d.Planter == f.Planter) && (f.From == "" || d.Day >= f.From) && (f.To == "" || d.Day <= f.To)
}

func (f *Filter) field(name string) bool { return f.Field == "" || f.Field == name }

// Column is a column of a table, with what it means.
type Column struct {
	table.Column
	Says string
}

// Table is a table that can be handed out.
type Table struct {
	What    What
	Title   string
	Columns []Column
	rows    func(r *run, ctx context.Context) error
}

// Tables are all there are.
func Tables() []Table {
	return []Table{
		{Seeds, "Every seed that a sensor saw: when, where, on which row, and how far behind the one before", seedColumns, (*run).seeds},
		{Stretches, "Rows over 15 m: seeds, skips, doubles, spacing, load and what else was logged there", stretchColumns, (*run).stretches},
		{Readings, "What the boxes measured, on one clock, with where the planter was", readingColumns, (*run).readings},
		{Passes, "Every trip of the planter from lowering to lifting, with its way", passColumns, (*run).passes},
		{Findings, "What was off, on which rows, since when, why, what it cost and what was done", findingColumns, (*run).findings},
		{Counts, "Stand counts and digs with their places; those of the journal too, which name neither place nor field", countColumns, (*run).counts},
		{Fields, "Boundaries of the fields, with what was planted of them", fieldColumns, (*run).fields},
	}
}

// Find finds a table by its name.
func Find(what What) (Table, bool) {
	ts := Tables()
	if i := slices.IndexFunc(ts, func(t Table) bool { return t.What == what }); i >= 0 {
		return ts[i], true
	}
	return Table{}, false
}

// Made says what was written.
type Made struct {
	What  What     `json:"table"`
	Rows  int64    `json:"rows"`
	Files []string `json:"files"`
}

// ErrEmpty says that there was nothing to write; the files hold no rows.
var ErrEmpty = errors.New("nothing to hand out")

// FieldsOf gives the names of a book's fields: those with a boundary and those that
// were planted, in order.
func FieldsOf(b *book.Book, days []book.DaySummary) []string {
	names := []string{}
	for _, f := range b.Fields() {
		names = append(names, f.Name)
	}
	for i := range days {
		for _, p := range days[i].Planted {
			if p.Field != evenstand.Unassigned {
				names = append(names, p.Field)
			}
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// Known refuses a filter that names a day that is none, or a field or planter that
// the book does not have, with those that there are.
func Known(ctx context.Context, b *book.Book, f *Filter) error {
	for _, d := range []evenstand.Day{f.From, f.To} {
		if _, err := d.Start(b.Zone()); d != "" && err != nil {
			return err
		}
	}
	days, err := b.Days(ctx)
	if err != nil {
		return err
	}
	var planters []string
	for i := range days {
		if !slices.Contains(planters, days[i].Planter) {
			planters = append(planters, days[i].Planter)
		}
	}
	for _, k := range []struct {
		what, want string
		have       []string
	}{{"field", f.Field, FieldsOf(b, days)}, {"planter", f.Planter, planters}} {
		if k.want != "" && !slices.Contains(k.have, k.want) {
			return fmt.Errorf("the logbook has no %s %q; it has %s", k.what, k.want, strings.Join(k.have, ", "))
		}
	}
	return nil
}

// run is the writing of one table.
type run struct {
	b     *book.Book
	f     Filter
	w     *table.Writer
	cells []table.Cell
	n     int64
	told  func(done, total int)
}

// Write writes a table of a book. create makes a file of the given name; base is
// the name without its ending. told, which may be nil, hears how many of the days
// are done.
func Write(ctx context.Context, b *book.Book, what What, as As, f Filter, base string, create func(name string) (io.WriteCloser, error), told func(done, total int)) (made Made, err error) {
	t, ok := Find(what)
	if !ok {
		return made, fmt.Errorf("there is no table %q: want %s", what, names(Tables(), func(t Table) string { return string(t.What) }))
	}
	return t.write(ctx, b, as, f, base, create, told)
}

// write writes one table.
func (t *Table) write(ctx context.Context, b *book.Book, as As, f Filter, base string, create func(name string) (io.WriteCloser, error), told func(done, total int)) (made Made, err error) {
	kind, ok := kinds[as]
	if !ok {
		return made, fmt.Errorf("%q is no way to write a table: want %s", as, names(Ways(), func(a As) string { return string(a) }))
	}
	made.What = t.What
	keep := func(name string) (io.WriteCloser, error) {
		made.Files = append(made.Files, name)
		return create(name)
	}
	cols := make([]table.Column, len(t.Columns))
	for i, c := range t.Columns {
		cols[i] = c.Column
		if as == CSV { // degrees are columns like others there
			cols[i].Name = csvName(c.Name)
		}
	}
	w, err := table.NewWriter(kind, keep, base, cols, table.Dialect{})
	if err != nil {
		return made, err
	}
	r := &run{b: b, f: f, w: w, cells: make([]table.Cell, len(cols)), told: told}
	if r.told == nil {
		r.told = func(int, int) {}
	}
	err = errors.Join(t.rows(r, ctx), w.Close())
	if err != nil {
		return made, err
	}
	made.Rows = r.n
	if err := describe(t, as, base, keep, r.n); err != nil {
		return made, err
	}
	if r.n == 0 {
		return made, ErrEmpty
	}
	return made, nil
}

// csvName is the name of a column in CSV.
func csvName(name string) string {
	switch name {
	case table.LongitudeColumn:
		return "longitude"
	case table.LatitudeColumn:
		return "latitude"
	}
	return name
}

func names[T any](of []T, name func(T) string) string {
	var out []string
	for _, x := range of {
		out = append(out, name(x))
	}
	return strings.Join(out[:len(out)-1], ", ") + " or " + out[len(out)-1]
}

// put writes the row that the cells hold.
func (r *run) put() error {
	r.n++
	return r.w.Row(r.cells)
}

// days calls f for every day that the filter lets through, telling how far it is.
func (r *run) days(ctx context.Context, f func(d *book.DaySummary) error) error {
	all, err := r.b.Days(ctx)
	if err != nil {
		return err
	}
	var days []book.DaySummary
	for _, d := range all {
		if d.Passes > 0 && r.f.day(&d) {
			days = append(days, d)
		}
	}
	for i := range days {
		if err := ctx.Err(); err != nil {
			return err
		}
		r.told(i, len(days))
		if err := f(&days[i]); err != nil {
			return err
		}
	}
	r.told(len(days), len(days))
	return nil
}

func num(v float64) table.Cell {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return table.Cell{}
	}
	return table.Cell{Type: table.Number, Num: v}
}

func whole[T ~int | ~int16 | ~int32 | ~int64 | ~uint8](v T) table.Cell {
	return table.Cell{Type: table.Number, Num: float64(v)}
}

func words(s string) table.Cell {
	if s == "" {
		return table.Cell{}
	}
	return table.Cell{Type: table.Words, Text: []byte(s)}
}

func instant(t evenstand.Micros) table.Cell {
	if t == evenstand.NoTime {
		return table.Cell{}
	}
	return table.Cell{Type: table.Instant, T: t}
}

func flag(b bool) table.Cell {
	c := table.Cell{Type: table.Flag}
	if b {
		c.Num = 1
	}
	return c
}

// degrees of WGS 84 are written to 1e-8, a millimetre.
func degrees(v float64) table.Cell { return num(math.Round(v*1e8) / 1e8) }

func at(name string, t table.CellType, says string) Column {
	return Column{table.Column{Name: name, Type: t}, says}
}

func wide(name string, width int, says string) Column {
	return Column{table.Column{Name: name, Type: table.Words, Width: width}, says}
}

var (
	lon = at(table.LongitudeColumn, table.Number, "degrees east, WGS 84")
	lat = at(table.LatitudeColumn, table.Number, "degrees north, WGS 84")
)
