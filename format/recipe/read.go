package recipe

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/format/table"
	"evenstand/format/unused"
)

// Format reads tables by recipes.
type Format struct {
	Recipes []Recipe
	// Book is how a logbook is named in advice, such as "spring"; empty: BOOK.
	Book string

	was map[string][]string // by file: the recipes by which it was read before
}

// Remember gives the format with the sources that an input gave before: each
// of their tables is read by the recipe by which it was read, while the logbook
// has that, also where another one would read it today.
func (f Format) Remember(was []evenstand.Source) evenstand.Format {
	f.was = map[string][]string{}
	for _, s := range was {
		if s.Format != f.Name() || s.Recipe == "" {
			continue
		}
		for _, n := range s.Files {
			f.was[n] = append(f.was[n], s.Recipe)
		}
	}
	return f
}

// Name is the format's name.
func (Format) Name() string { return "table" }

// Current tells whether a source is still read by the recipe that it was read by.
func (f Format) Current(src evenstand.Source) bool { return f.recipe(src.Recipe) != nil }

func (f Format) recipe(sum string) *Recipe {
	for i := range f.Recipes {
		if f.Recipes[i].Sum() == sum {
			return &f.Recipes[i]
		}
	}
	return nil
}

// Match finds the recipe that reads a table: the one that read it before, else
// of those that have its columns the one by which all of its first times can be
// read, and of two such ones the one that reads more. Two that read it alike,
// and none at all, are told as an error that says what to do.
func (f Format) Match(ctx context.Context, in fs.FS, ref table.Ref) (*Recipe, error) {
	type candidate struct {
		r             *Recipe
		known, timely bool
		n             int
	}
	better := func(a, b candidate) bool {
		switch {
		case a.known != b.known:
			return a.known
		case a.timely != b.timely:
			return a.timely
		}
		return a.n > b.n
	}
	var best candidate
	var twice *Recipe
	var why []string
	seen, lookErr := peek(ctx, in, ref, table.Dialect{})
	for i := range f.Recipes {
		r := &f.Recipes[i]
		if r.File.Kind != ref.Kind || r.File.Sheet != "" && ref.Sheet != "" && r.File.Sheet != ref.Sheet {
			continue
		}
		c := candidate{r: r}
		not, head := "", seen
		if lookErr == nil {
			c.n, not = r.fit(ref.Kind, seen.columns)
		}
		if c.n == 0 && looked(ref.Kind) && r.File.Dialect != (table.Dialect{}) { // what was said of the file goes before what is seen
			if told, err := peek(ctx, in, ref, r.File.Dialect); err == nil {
				var also string
				if c.n, also = r.fit(ref.Kind, told.columns); not == "" {
					not = also
				}
				head = told
			}
		}
		if c.n > 0 {
			good, all, such := r.times(head)
			if all > 0 && good == 0 {
				c.n, not = 0, fmt.Sprintf("the recipe of %s has its columns, but times such as %s are not written as %s", r.Box, such, r.Time.Written.words())
			}
			c.timely = good == all
			if other := r.otherUnit(head); other != "" && c.n > 0 {
				c.n, not = 0, other
			}
		}
		if c.n == 0 {
			if not != "" {
				why = append(why, not)
			}
			continue
		}
		c.known = slices.Contains(f.was[ref.Files[0]], r.Sum())
		switch {
		case best.r == nil || better(c, best):
			best, twice = c, nil
		case !better(best, c) && c.r.Sum() != best.r.Sum():
			twice = c.r
		}
	}
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case best.r != nil && twice != nil:
		return nil, &Twice{best.r, twice}
	case best.r != nil:
		return best.r, nil
	case lookErr != nil:
		return nil, lookErr
	case len(why) > 0:
		return nil, fmt.Errorf("%w: %s", errOtherTable, why[0])
	}
	return nil, errNoRecipe
}

// Twice is the error of a table that two recipes read alike.
type Twice struct{ One, Other *Recipe }

// Error names both.
func (t *Twice) Error() string {
	return fmt.Sprintf("two recipes read it alike, %s and %s", t.One.called(), t.Other.called())
}

// Alike tells whether two recipes would read the tables of which each was made
// alike, so that neither would.
func Alike(a, b *Recipe) bool {
	header := func(r *Recipe) []table.Column {
		cs := make([]table.Column, len(r.File.Columns))
		for i, n := range r.File.Columns {
			cs[i].Name = n
			if len(r.File.Units) == len(cs) {
				cs[i].Unit = r.File.Units[i]
			}
		}
		return cs
	}
	if a.Sum() == b.Sum() || a.Time.Written != b.Time.Written || a.File.Sheet != b.File.Sheet {
		return false
	}
	ha, hb := header(a), header(b)
	n := a.Fits(b.File.Kind, hb)
	return n > 0 && n == b.Fits(b.File.Kind, hb) && a.Fits(a.File.Kind, ha) == b.Fits(a.File.Kind, ha)
}

// called is how people call a recipe in the logbook: by its file, else its box.
func (r *Recipe) called() string {
	if r.Name != "" {
		return r.Name
	}
	return r.Box
}

// looked tells whether how a table is written is found out by looking; the
// other containers state it.
func looked(k table.Kind) bool { return k == table.Text || k == table.Workbook }

var (
	errNoRecipe   = errors.New("it is a table that no recipe of the logbook reads")
	errOtherTable = errors.New("it is a table that no recipe of the logbook reads as it is")
)

// first is the head of a table, for choosing its recipe.
type first struct {
	columns []table.Column
	rows    [][]table.Cell
	decimal byte
}

// firstRows is by how many rows a recipe is chosen.
const firstRows = 50

// peek opens a table for its header and first rows.
func peek(ctx context.Context, in fs.FS, ref table.Ref, d table.Dialect) (first, error) {
	rows, err := table.Open(ctx, in, ref, d)
	if err != nil {
		return first{}, err
	}
	defer rows.Close()
	f := first{columns: slices.Clone(rows.Columns()), decimal: rows.Dialect().Decimal}
	for len(f.rows) < firstRows && rows.Next() {
		f.rows = append(f.rows, keep(rows.Row()))
	}
	return f, nil
}

// keep copies a row that is only lent.
func keep(row []table.Cell) []table.Cell {
	out := slices.Clone(row)
	for i := range out {
		out[i].Text = slices.Clone(out[i].Text)
	}
	return out
}

// times tells how many of the first times can be read as the recipe says they
// are written, of how many, and one that cannot.
func (r *Recipe) times(f first) (good, all int, such string) {
	decimal := f.decimal
	if r.File.Dialect.Decimal != 0 {
		decimal = r.File.Dialect.Decimal
	}
	w, err := newWhen(r.Time, decimal)
	if err != nil {
		return 0, 0, ""
	}
	find := func(name string) int {
		if name == "" {
			return -1
		}
		return slices.IndexFunc(f.columns, func(c table.Column) bool { return c.Name == name })
	}
	timeAt, clockAt := find(r.Time.Column), find(r.Time.Clock)
	for _, row := range f.rows {
		date := at(row, timeAt)
		if date == nil || date.Type == table.Empty || wordless(date) {
			continue
		}
		all++
		if _, why := w.read(date, at(row, clockAt)); why != badTime {
			good++
		} else if such == "" {
			such = show(date)
			if c := at(row, clockAt); c != nil && c.Type != table.Empty {
				such += " and " + show(c)
			}
		}
	}
	return good, all, such
}

// otherUnit says which column has, behind the numbers of its first cells, a
// unit that is not that of the recipe; empty where none has.
func (r *Recipe) otherUnit(f first) string {
	for i := range r.Values {
		v := &r.Values[i]
		if v.Column == "" {
			continue
		}
		for k, col := range f.columns {
			if _, ok := v.matches(col.Name); !ok {
				continue
			}
			own, other := false, ""
			for _, row := range f.rows {
				c := at(row, k)
				if c == nil || c.Type != table.Words {
					continue
				}
				if _, unit, ok := withUnit(c.Text, f.decimal); ok {
					u, times, known := unitFor(v.Quantity, unit)
					switch same := u == v.Unit && times == v.Times; {
					case known && same:
						own = true
					case known && other == "":
						other = unit
					}
				}
			}
			if other != "" && !own { // where some are its own the others are told one by one
				return fmt.Sprintf("the recipe of %s reads %s in %s, and its cells say %s", r.Box, strconv.Quote(col.Name), UnitName(v.Unit, v.Times), other)
			}
		}
	}
	return ""
}

// wordless tells whether a cell is a text without a digit, which is no time in
// whatever way it is written: "Total", "Average".
func wordless(c *table.Cell) bool {
	return c.Type == table.Words && !bytes.ContainsAny(c.Text, "0123456789")
}

// columns opens a table for its header.
func columns(ctx context.Context, in fs.FS, ref table.Ref, d table.Dialect) ([]table.Column, error) {
	rows, err := table.Open(ctx, in, ref, d)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	return slices.Clone(rows.Columns()), nil
}

// folder is what one folder holds for one recipe.
type folder struct {
	dir    string
	recipe *Recipe
	files  []string
}

// Find lists the sources of an input: one for each recipe and folder, with all
// its files in the order of their names. A source.toml beside them goes before
// what the recipe says of box, planter, zone and rows, and tells the clock.
func (f Format) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	kept := table.Keep(in)
	defer kept.Close()
	refs, _, unused, err := table.List(ctx, kept)
	if err != nil {
		return nil, nil, unused, err
	}
	left := func(name, why, do string) {
		unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: why, Do: do})
	}
	alone := map[string]error{} // folders of which a table is not read, and why
	var found []*folder
	for _, ref := range refs {
		r, err := f.Match(ctx, kept, ref)
		if ctx.Err() != nil {
			return nil, nil, unused, ctx.Err()
		}
		dir := path.Dir(ref.Files[0])
		if err != nil {
			for _, n := range ref.Files { // with all parts of a shapefile
				why := err.Error()
				switch several := slices.ContainsFunc(refs, func(o table.Ref) bool { return o.Files[0] == n && o.String() != ref.String() }); {
				case ref.Inside != "":
					why = ref.Inside + " in it: " + why
				case ref.Sheet != "" && several:
					why = "its sheet " + ref.Sheet + ": " + why
				}
				left(n, why, f.advice(err))
			}
			alone[dir] = err
			continue
		}
		i := slices.IndexFunc(found, func(o *folder) bool { return o.dir == dir && o.recipe == r })
		if i < 0 {
			i = len(found)
			found = append(found, &folder{dir: dir, recipe: r})
		}
		for _, n := range ref.Files {
			if !slices.Contains(found[i].files, n) {
				found[i].files = append(found[i].files, n)
			}
		}
	}
	names := map[string]int{}
	said := map[string]bool{}
	for _, fo := range found {
		src, files, bad := fo.source(in)
		if !said[fo.dir] {
			unused = append(unused, bad...)
			said[fo.dir] = true
		}
		src.Format = f.Name()
		if names[src.Name]++; names[src.Name] > 1 {
			src.Name += " (" + fo.dir + ")"
		}
		claimed = append(claimed, files...)
		sources = append(sources, src)
		delete(alone, fo.dir)
	}
	for _, dir := range slices.Sorted(maps.Keys(alone)) { // nothing of the folder is read
		if _, file, _ := plain.Beside(in, dir); file != "" {
			left(file, "the tables that it speaks of are not read", f.advice(alone[dir]))
		}
	}
	slices.Sort(claimed)
	return sources, slices.Compact(claimed), unused, nil
}

func (f Format) advice(err error) string {
	book := f.Book
	if book == "" {
		book = "BOOK"
	}
	var two *Twice
	switch {
	case errors.As(err, &two) && two.One.Name != "":
		return fmt.Sprintf("Take one of them out: evenstand recipe %s --forget %s, or --forget %s.", book, two.One.Name, two.Other.Name)
	case errors.As(err, &two):
		return "Take one of them out of the logbook."
	case errors.Is(err, errOtherTable):
		return "Say evenstand recipe " + book + ", its path and --box with a name of its own: that makes a second recipe for such tables."
	case errors.Is(err, errNoRecipe):
		return "Say evenstand recipe " + book + " and its path: that guesses what the columns are, and asks."
	}
	return "Correct the recipe under recipes/ in the logbook, or the file."
}

// source says what is known of a folder's tables before they are read.
func (fo *folder) source(in fs.FS) (evenstand.Source, []string, []evenstand.Unused) {
	said, file, unused := plain.Beside(in, fo.dir)
	r := fo.recipe
	src := evenstand.Source{
		Name: r.Box, Files: slices.Clone(fo.files), Planter: r.Planter, Zone: r.Time.Zone, Recipe: r.Sum(),
		ClockOffset: said.ClockOffset, ClockError: said.ClockError, Latency: math.NaN(), Notes: slices.Clone(said.Notes),
	}
	if file != "" {
		src.Files = append(src.Files, file)
	}
	if said.Name != "" {
		src.Name = said.Name
	}
	if said.Planter != "" {
		src.Planter = said.Planter
	}
	if said.OneClock {
		src.Clock = src.Name
	}
	if r.Seeds.Row != "" {
		src.Grade = evenstand.GradeA
	}
	return src, src.Files, unused
}

// Read streams the tables of one source, file by file.
func (f Format) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	r := f.recipe(src.Recipe)
	if r == nil {
		return src, fmt.Errorf("the recipe by which %s was found is no more", src.Name)
	}
	kept := table.Keep(in)
	defer kept.Close()
	refs, tables, unused, err := table.List(ctx, kept)
	if err != nil {
		return src, err
	}
	said, beside, _ := plain.Beside(in, path.Dir(src.Files[0]))
	for _, n := range src.Files {
		if n == beside || slices.Contains(tables, n) {
			continue
		}
		u := evenstand.Unused{File: n, Offset: -1, Count: 1, Of: "files", Why: "it was a table when it was found, and can no longer be read as one", Do: "Check that the file may be read, and read it again."}
		if i := slices.IndexFunc(unused, func(u evenstand.Unused) bool { return u.File == n }); i >= 0 {
			u = unused[i]
		}
		sink.Unused(u)
	}
	var grade evenstand.Grade
	var bad broken
	notes := map[string]bool{}
	note := func(text string) {
		if !notes[text] {
			notes[text] = true
			src.Notes = append(src.Notes, text)
		}
	}
	for _, ref := range refs {
		if !slices.Contains(src.Files, ref.Files[0]) {
			continue
		}
		if ref.Sheet != "" || ref.Inside != "" { // one of several tables in the file
			if best, err := f.Match(ctx, kept, ref); ctx.Err() != nil {
				return src, ctx.Err()
			} else if err != nil || best != r {
				continue
			}
		}
		g, ended, err := r.read(ctx, kept, ref, said, sink, note)
		grade = grade.Better(g)
		src.Grade = grade
		switch {
		case ended:
			return src, err
		case err != nil: // of this file; the others know nothing of it
			bad = append(bad, err)
		}
	}
	for _, v := range r.Values {
		src.Average = math.Max(src.Average, v.Average)
	}
	if len(bad) > 0 {
		return src, bad
	}
	return src, nil
}

// broken are the errors of several files of one source.
type broken []error

// Error gives the first few.
func (b broken) Error() string {
	const few = 5
	var parts []string
	for _, err := range b[:min(few, len(b))] {
		parts = append(parts, err.Error())
	}
	if n := len(b) - few; n > 0 {
		parts = append(parts, fmt.Sprintf("and %d more files", n))
	}
	return strings.Join(parts, "; ")
}

// Unwrap gives them all.
func (b broken) Unwrap() []error { return b }

// batch is how many values are handed over at once.
const batch = 4096

// binding is what one column becomes.
type binding struct {
	at      int // column of the table
	value   *Value
	element evenstand.Element
	why     string // why its cells cannot be used; empty: they can
	do      string
	unit    evenstand.Unit
	times   float64
	low     float64
	high    float64
	state   bool
	pace    *evenstand.Pace
	total   total
}

// reader is the reading of one table.
type reader struct {
	*Recipe
	sink  evenstand.Sink
	batch int // values that are handed over at once
	rows  *table.Rows
	when  *when
	dec   byte
	from  string // side from which rows count
	n     int    // how many there are; 0 unknown

	bound    []*binding
	long     map[string]*binding // by word and row
	timeAt   int
	clockAt  int
	rowAt    int
	nameAt   int
	valueAt  int
	seedAt   int
	place    [7]int
	speed    evenstand.Unit
	readings []evenstand.Reading
	fixes    []evenstand.Fix
	seeds    []evenstand.Seed
	file     string
	bad      evenstand.Tally
	order    plain.Order
	now      evenstand.Micros // of the line that is read
	taken    int              // lines with a time that were read
	ended    bool             // by the sink or the context
	twice    [3]span          // lines in the hour that comes twice: all, taken as the first, as the second
	twiceOn  evenstand.Micros
	words    map[string]bool // of a long table, that the recipe lacks
	fresh    []string        // the first of them
	strayed  int             // values under them
}

// span is how many lines there are of a sort, and between which they stand.
type span struct{ n, from, to int }

func (s *span) take(line int) {
	if s.n++; s.n == 1 {
		s.from = line
	}
	s.to = line
}

func (s *span) String() string {
	if s.n == 1 {
		return fmt.Sprintf("line %d", s.from)
	}
	return fmt.Sprintf("%d lines from %d to %d", s.n, s.from, s.to)
}

// The columns of a place.
const (
	latitude = iota
	longitude
	altitude
	speed
	heading
	hdop
	satellites
)

// read reads one table. ended: the error is no fault of the file, and there is
// no sense in reading another.
func (r *Recipe) read(ctx context.Context, in fs.FS, ref table.Ref, said plain.SourceFile, sink evenstand.Sink, note func(string)) (grade evenstand.Grade, ended bool, err error) {
	rd, ended, err := r.open(ctx, in, ref, said, sink)
	if err != nil {
		return evenstand.NoGrade, ended, err
	}
	defer rd.rows.Close()
	if ref.Kind != table.Text { // how a text is written the recipe says
		for _, d := range rd.rows.Doubts() {
			note(d)
		}
	}
	if n := columnsNote(r.Differs(rd.rows.Columns())); n != "" {
		note(n)
	}
	err = rd.run(ctx)
	rd.bad.Send(sink)
	if n := rd.order.Note(ref.Files[0]); n != "" {
		note(n)
	}
	if n := rd.twiceNote(); n != "" {
		note(n)
	}
	for _, n := range rd.when.notes() {
		note(n)
	}
	if n := rd.wordsNote(); n != "" {
		note(n)
	}
	for _, u := range rd.rows.Unused() {
		sink.Unused(u)
	}
	return rd.grade(), rd.ended, err
}

// open opens a table for reading; the caller closes its rows. ended is as that
// of read.
func (r *Recipe) open(ctx context.Context, in fs.FS, ref table.Ref, said plain.SourceFile, sink evenstand.Sink) (rd *reader, ended bool, err error) {
	// By what the recipe says of the file, where that does not hold by what is seen.
	d := r.File.Dialect
	if looked(ref.Kind) {
		if cs, err := columns(ctx, in, ref, table.Dialect{}); err == nil && r.Fits(ref.Kind, cs) > 0 {
			d = table.Dialect{Decimal: d.Decimal, Encoding: d.Encoding}
		}
	}
	rows, err := table.Open(ctx, in, ref, d)
	if err != nil {
		if e := (*table.Error)(nil); !errors.As(err, &e) {
			err = fmt.Errorf("%s: %w", ref.Files[0], err)
		}
		return nil, ctx.Err() != nil, err
	}
	zone := r.Time
	if said.Zone != "" {
		zone.Zone = said.Zone
	}
	rd = &reader{Recipe: r, sink: sink, batch: batch, rows: rows, dec: rows.Dialect().Decimal, from: r.Rows.From, n: r.Rows.Count, file: ref.Files[0], order: plain.NewOrder()}
	if rd.when, err = newWhen(zone, rd.dec); err != nil {
		rows.Close()
		return nil, true, err
	}
	if said.RowsFrom != "" {
		rd.from = said.RowsFrom
	}
	if said.Rows > 0 {
		rd.n = said.Rows
	}
	rd.bind()
	rd.when.behind.look = func(c *colon) {
		if first, err := Take(ctx, in, ref, d); err == nil { // an error is told where the table is read
			rd.look(first.Rows, c)
		}
	}
	return rd, false, nil
}

// bind finds the columns of the recipe in the table.
func (rd *reader) bind() {
	cols := rd.rows.Columns()
	find := func(name string) int {
		if name == "" {
			return -1
		}
		return slices.IndexFunc(cols, func(c table.Column) bool { return c.Name == name })
	}
	rd.timeAt, rd.clockAt = find(rd.Time.Column), find(rd.Time.Clock)
	rd.rowAt, rd.nameAt, rd.valueAt, rd.seedAt = find(rd.Long.Row), find(rd.Long.Name), find(rd.Long.Value), find(rd.Seeds.Row)
	p := rd.Place
	for i, n := range []string{p.Latitude, p.Longitude, p.Altitude, p.Speed, p.Heading, p.HDOP, p.Satellites} {
		rd.place[i] = find(n)
	}
	if p.Speed != "" {
		rd.speed, _ = evenstand.ParseUnit(p.SpeedUnit)
	}
	for i := range rd.Values {
		v := &rd.Values[i]
		if v.Column == "" || strings.Contains(v.Element, rowMark) && !strings.Contains(v.Column, rowMark) {
			continue // of all rows, in a table with a line a row
		}
		for at, c := range cols {
			if n, ok := v.matches(c.Name); ok {
				rd.bound = append(rd.bound, rd.binding(v, at, n))
			}
		}
	}
	rd.long = map[string]*binding{}
}

// binding makes what one column becomes; n is the number of the row in its
// name, -1 none.
func (rd *reader) binding(v *Value, at, n int) *binding {
	b := &binding{at: at, value: v, times: v.Times, total: newTotal(), pace: &evenstand.Pace{}}
	if b.times == 0 {
		b.times = 1
	}
	b.unit, _ = evenstand.ParseUnit(v.Unit)
	in := v.Quantity.Info()
	b.low, b.high = in.Min, in.Max
	b.state = in.Aggregate == evenstand.State && in.SI == ""
	if strings.Contains(v.Element, rowMark) {
		row, why, do := rd.row(n)
		if why != "" {
			b.why, b.do = why, do
			return b
		}
		b.element = evenstand.RowElement(row)
		return b
	}
	b.element, _ = evenstand.ParseElement(v.Element)
	if b.element.Scope == evenstand.ScopeRow {
		row, why, do := rd.row(int(b.element.N))
		if why != "" {
			b.why, b.do = why, do
			return b
		}
		b.element.N = int16(row)
	}
	return b
}

// row turns the box's number of a row into ours, from the left and from 1.
func (rd *reader) row(n int) (row int, why, do string) {
	row = n + 1 - rd.Rows.First
	if row < 1 || row > evenstand.MaxRows {
		return 0, fmt.Sprintf("row %d is none from %d to %d", n, rd.Rows.First, evenstand.MaxRows), "Correct first under [rows] of the recipe, or the file."
	}
	if rd.from != "right" {
		return row, "", ""
	}
	switch {
	case rd.n == 0:
		return 0, "rows count from the right, and nothing says how many there are", "Give count under [rows] of the recipe, or rows in a source.toml beside the file."
	case row > rd.n:
		return 0, fmt.Sprintf("row %d is beyond the %d rows from the right", n, rd.n), "Correct count under [rows] of the recipe."
	}
	return rd.n + 1 - row, "", ""
}

// look goes over the times of the first rows of the table.
func (rd *reader) look(rows [][]table.Cell, c *colon) {
	w := when{written: rd.when.written, decimal: rd.when.decimal, zone: rd.when.zone, part: math.MinInt64, last: evenstand.NoTime, behind: *c}
	for _, row := range rows {
		if date := at(row, rd.timeAt); date != nil {
			w.read(date, at(row, rd.clockAt))
		}
	}
	*c = w.behind
}

func (rd *reader) run(ctx context.Context) error {
	done := int64(0)
	rows := rd.rows
	defer func() { rd.sink.Progress(rows.Bytes() - done) }()
	for i := 0; rows.Next(); i++ {
		if i%1024 == 0 {
			if rd.ended = ctx.Err() != nil; rd.ended {
				return ctx.Err()
			}
			b := rows.Bytes()
			rd.sink.Progress(b - done)
			done = b
		}
		if err := rd.line(rows.Row()); err != nil {
			return err
		}
	}
	rd.settleTotals()
	if err := rows.Err(); err != nil {
		if rd.ended = ctx.Err() != nil; rd.ended {
			return err
		}
		if full := rd.flush(); full != nil {
			return errors.Join(err, full)
		}
		return err
	}
	return rd.flush()
}

func (rd *reader) flush() (err error) {
	defer func() { rd.ended = rd.ended || err != nil }()
	if len(rd.fixes) > 0 {
		if err := rd.sink.Fixes(rd.fixes); err != nil {
			return err
		}
	}
	if len(rd.seeds) > 0 {
		if err := rd.sink.Seeds(rd.seeds); err != nil {
			return err
		}
	}
	if len(rd.readings) > 0 {
		if err := rd.sink.Readings(rd.readings); err != nil {
			return err
		}
	}
	rd.fixes, rd.seeds, rd.readings = rd.fixes[:0], rd.seeds[:0], rd.readings[:0]
	return nil
}

func at(row []table.Cell, i int) *table.Cell {
	if i < 0 || i >= len(row) {
		return nil
	}
	return &row[i]
}

// line takes one row of the table.
func (rd *reader) line(row []table.Cell) error {
	date := at(row, rd.timeAt)
	if date == nil {
		return nil
	}
	t, why := rd.when.read(date, at(row, rd.clockAt))
	if why != fine {
		if why == noTime && blank(row) {
			return nil
		}
		rd.badTime(why, date, at(row, rd.clockAt))
		return nil
	}
	if which := rd.when.which; which > 0 {
		line := rd.rows.Place().Line
		rd.twice[0].take(line)
		rd.twice[which].take(line)
		rd.twiceOn = t
	}
	rd.order.Take(t, rd.rows.Place().Line)
	rd.now = t
	rd.taken++
	if rd.seedAt >= 0 {
		rd.seed(t, at(row, rd.seedAt))
	}
	if rd.place[latitude] >= 0 && rd.place[longitude] >= 0 {
		rd.fix(t, row)
	}
	if rd.nameAt >= 0 || rd.rowAt >= 0 {
		rd.longLine(t, row)
	}
	for _, b := range rd.bound {
		rd.value(t, b, &row[b.at])
	}
	if len(rd.readings) >= rd.batch || len(rd.fixes) >= rd.batch || len(rd.seeds) >= rd.batch {
		return rd.flush()
	}
	return nil
}

func blank(row []table.Cell) bool {
	for i := range row {
		if row[i].Type != table.Empty {
			return false
		}
	}
	return true
}

func (rd *reader) seed(t evenstand.Micros, c *table.Cell) {
	n, ok := rd.whole(c)
	if !ok {
		rd.fail("a row that is no whole number, such as "+show(c), "Check the column "+strconv.Quote(rd.Seeds.Row)+".")
		return
	}
	row, why, do := rd.row(n)
	if why != "" {
		rd.fail(why, do)
		return
	}
	rd.seeds = append(rd.seeds, evenstand.Seed{T: t, Row: int16(row)})
}

// whole reads a whole number, also as #12 or row 12.
func (rd *reader) whole(c *table.Cell) (int, bool) { return rowNumber(c, rd.dec) }

// rowNumber reads the number of a row: 12, #12, row 12.
func rowNumber(c *table.Cell, decimal byte) (int, bool) {
	v, ok := math.NaN(), false
	switch c.Type {
	case table.Number, table.Flag:
		v, ok = c.Num, true
	case table.Words:
		if v, ok = number(c.Text, decimal); ok {
			break
		}
		if n, cut := bytes.CutPrefix(c.Text, []byte("#")); cut {
			v, ok = number(n, decimal)
		} else if ws := tokens(string(c.Text)); len(ws) == 2 && slices.Contains(rowWords, ws[0]) {
			v, ok = number([]byte(ws[1]), decimal)
		}
	}
	if !ok || v != math.Trunc(v) || math.Abs(v) > 1e6 {
		return 0, false
	}
	return int(v), true
}

// absent are the words that boxes write where they have no value.
var absent = []string{"-", "--", "---", "na", "n/a", "nan", "null", "none", "nodata", "no data", "?"}

// number reads a cell; none tells that it holds no value and says so.
func (rd *reader) number(c *table.Cell) (v float64, ok, none bool) {
	switch c.Type {
	case table.Number, table.Flag:
		return c.Num, !math.IsNaN(c.Num) && !math.IsInf(c.Num, 0), math.IsNaN(c.Num)
	case table.Words:
		v, ok = number(c.Text, rd.dec)
		if !ok && len(c.Text) <= 8 && slices.Contains(absent, strings.ToLower(string(c.Text))) {
			return math.NaN(), false, true
		}
		return v, ok, false
	case table.Empty:
		return math.NaN(), false, true
	}
	return math.NaN(), false, false
}

// Words that stand for yes and no in states, beside numbers: the recipe's own
// go before them.
var (
	yes = []string{"on", "yes", "true", "y", "t", "ein", "an", "ja", "oui", "vrai", "marche", "si", "encendido", "aan", "sim", "ligado", "1"}
	no  = []string{"off", "no", "false", "n", "f", "aus", "nein", "non", "faux", "arret", "apagado", "uit", "nee", "nao", "desligado", "0"}
)

func (rd *reader) value(t evenstand.Micros, b *binding, c *table.Cell) {
	if c.Type == table.Empty {
		return
	}
	if b.why != "" {
		rd.fail(b.why, b.do)
		return
	}
	v, ok, none := rd.number(c)
	if none {
		return
	}
	if b.state && c.Type == table.Words {
		word := fold(string(c.Text))
		switch {
		case has(b.value.Yes, word):
			v, ok = 1, true
		case has(b.value.No, word):
			v, ok = 0, true
		case !ok && slices.Contains(yes, word):
			v, ok = 1, true
		case !ok && slices.Contains(no, word):
			v, ok = 0, true
		}
	}
	if !ok && !b.state && c.Type == table.Words {
		var unit string
		if v, unit, ok = withUnit(c.Text, rd.dec); ok {
			if u, times, known := unitFor(b.value.Quantity, unit); !known || u != b.value.Unit || times != b.times {
				rd.fail(fmt.Sprintf("a value in %s whose unit is not that of its recipe, %s, such as %s", b.name(), UnitName(b.value.Unit, b.times), show(c)), "Make a recipe of its own for such tables.")
				return
			}
		}
	}
	if !ok {
		what := "a value that is no number"
		do := "Check the decimal sign of the recipe, and the column."
		if b.state {
			what, do = "a state that is neither yes nor no", "List the word under yes or no of the value in the recipe."
		}
		rd.fail(fmt.Sprintf("%s in %s, such as %s", what, b.name(), show(c)), do)
		return
	}
	v = b.unit.ToSI(v * b.times)
	if b.value.Opposite {
		v = 1 - v
	}
	if b.value.Running {
		if v, ok = rd.since(b, v, t); !ok {
			return
		}
	}
	if !b.holds(v) {
		rd.cannot(b, c)
		return
	}
	b.pace.Take(t)
	rd.readings = append(rd.readings, evenstand.Reading{T: t, Value: v, Quantity: b.value.Quantity, Element: b.element})
}

// holds tells whether a value in SI can be.
func (b *binding) holds(v float64) bool {
	return v >= b.low && v <= b.high && (!b.state || v == 0 || v == 1)
}

// cannot says that the value of a cell cannot be.
func (rd *reader) cannot(b *binding, c *table.Cell) {
	rd.fail(fmt.Sprintf("%s in %s cannot be, such as %s", b.value.Quantity.Info().Label, b.name(), show(c)), "Check its unit in the recipe, then the sensor.")
}

// total follows a running total.
type total struct {
	last   float64 // NaN none yet
	t      evenstand.Micros
	steps  [5]evenstand.Micros // between values, the last ones by turns
	n      int
	held   float64 // what came in the first step, where only the second tells whether it was a pause; NaN none
	heldAt evenstand.Micros
}

func newTotal() total { return total{last: math.NaN(), held: math.NaN()} }

// What a running total shows after a pause of the log cannot be laid on one
// moment. A pause is longer than a few of the column's own steps, and than
// shortPause; where nothing tells of the step, than longPause. Chosen; no source.
const (
	pauseSteps = 3
	shortPause = 10 * evenstand.Second
	longPause  = 600 * evenstand.Second
)

// limit is the longest step that is no pause, by the middle one of the last few.
func (x *total) limit() evenstand.Micros {
	s := x.steps
	k := min(x.n, len(s))
	slices.Sort(s[:k])
	return max(shortPause, pauseSteps*s[(k-1)/2])
}

const (
	inPause = "a running total after a pause of the log"
	doPause = "Nothing to do: what was counted in the pause cannot be laid on a moment."
)

// since turns a running total into what came since the last one; false when
// nothing can be said now. What a total shows that went down or paused says
// nothing of what was lost.
func (rd *reader) since(b *binding, v float64, t evenstand.Micros) (float64, bool) {
	x := &b.total
	last, step := x.last, t-x.t
	x.last, x.t = v, t
	switch {
	case math.IsNaN(last):
		return 0, false
	case step < 0:
		rd.leave("values", "a running total whose time went back", "Check the clock of the box.")
		return 0, false
	}
	if step > 0 {
		if !math.IsNaN(x.held) {
			rd.release(b, pauseSteps*step)
		}
		first := x.n == 0
		long := !first && step > x.limit()
		x.steps[x.n%len(x.steps)] = step
		x.n++
		switch {
		case v <= last:
		case long:
			rd.leave("values", inPause, doPause)
			return 0, false
		case first && step > shortPause:
			x.held, x.heldAt = v-last, t
			return 0, false
		}
	}
	if v < last {
		rd.leave("values", "a running total that went down", "Nothing to do where the box was set back: what it had counted by then is not known.")
		return 0, false
	}
	return v - last, true
}

// release takes what was held back, when its step was none of a pause.
func (rd *reader) release(b *binding, limit evenstand.Micros) {
	x := &b.total
	v := x.held
	x.held = math.NaN()
	switch {
	case x.steps[0] > limit:
		rd.leave("values", inPause, doPause)
	case !b.holds(v):
		rd.cannot(b, &table.Cell{Type: table.Number, Num: v})
	default:
		b.pace.Take(x.heldAt)
		rd.readings = append(rd.readings, evenstand.Reading{T: x.heldAt, Value: v, Quantity: b.value.Quantity, Element: b.element})
	}
}

// settleTotals ends the running totals.
func (rd *reader) settleTotals() {
	end := func(b *binding) {
		if !math.IsNaN(b.total.held) {
			rd.release(b, longPause)
		}
	}
	for _, b := range rd.bound {
		end(b)
	}
	for _, k := range slices.Sorted(maps.Keys(rd.long)) {
		end(rd.long[k])
	}
}

func (b *binding) name() string {
	if b.value.Column != "" {
		return strconv.Quote(b.value.Column)
	}
	return strconv.Quote(b.value.Word)
}

func has(words []string, word string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return fold(w) == word })
}

// longLine takes a line that speaks of one row, or of one value.
func (rd *reader) longLine(t evenstand.Micros, row []table.Cell) {
	n := -1
	if c := at(row, rd.rowAt); c != nil && c.Type != table.Empty {
		var ok bool
		if n, ok = rd.whole(c); !ok {
			rd.fail("a row that is no whole number, such as "+show(c), "Check the column "+strconv.Quote(rd.Long.Row)+".")
			return
		}
	}
	if rd.nameAt < 0 {
		for i := range rd.Values {
			v := &rd.Values[i]
			if !strings.Contains(v.Element, rowMark) || strings.Contains(v.Column, rowMark) || n < 0 {
				continue
			}
			if b := rd.longBinding(v.Column, n, v); b.at >= 0 {
				rd.value(t, b, &row[b.at])
			}
		}
		return
	}
	name, c := at(row, rd.nameAt), at(row, rd.valueAt)
	if name == nil || c == nil || c.Type == table.Empty {
		return
	}
	word := ""
	switch name.Type {
	case table.Words:
		word = string(name.Text)
	case table.Number:
		word = show(name)
	default:
		rd.fail("a value without a name", "Check the column "+strconv.Quote(rd.Long.Name)+".")
		return
	}
	b := rd.longBinding(word, n, nil)
	if b.value == nil {
		rd.strange(word)
		return
	}
	rd.value(t, b, c)
}

// strange notes a word that the recipe lacks.
func (rd *reader) strange(word string) {
	const most = 1000
	if rd.words == nil {
		rd.words = map[string]bool{}
	}
	if len(rd.words) < most && !rd.words[word] {
		rd.words[word] = true
		if rd.fresh = append(rd.fresh, show(&table.Cell{Type: table.Words, Text: []byte(word)})); len(rd.fresh) > few {
			rd.fresh = rd.fresh[:few]
		}
	}
	rd.strayed++
}

// few is how many names a note gives.
const few = 4

// among writes the first few of so many names.
func among(names []string, n int) string {
	text := strings.Join(names[:min(few, len(names))], ", ")
	if n -= few; n > 0 {
		text += fmt.Sprintf(" and %d more", n)
	}
	return text
}

// wordsNote says which words of a table with a line for each value the recipe
// lacks.
func (rd *reader) wordsNote() string {
	if rd.strayed == 0 {
		return ""
	}
	return fmt.Sprintf("Its table has values that its recipe does not speak of, %d in all: %s. Say evenstand recipe for it again if they are wanted.", rd.strayed, among(rd.fresh, len(rd.words)))
}

// maxLong bounds the memory of the words of a table; a planter has some
// thousand.
const maxLong = 1 << 16

// longBinding gives what a word, or a column, means for a row.
func (rd *reader) longBinding(word string, n int, v *Value) *binding {
	key := word + "\x00" + strconv.Itoa(n)
	if b, ok := rd.long[key]; ok {
		return b
	}
	b := &binding{at: -1, total: newTotal()}
	if v != nil {
		at := slices.IndexFunc(rd.rows.Columns(), func(c table.Column) bool { return c.Name == v.Column })
		b = rd.binding(v, at, n)
	} else {
		for i := range rd.Values {
			if w := &rd.Values[i]; w.Word != "" {
				if k, ok := w.matches(word); ok {
					if k < 0 {
						k = n
					}
					b = rd.binding(w, rd.valueAt, k)
					break
				}
			}
		}
	}
	if len(rd.long) >= maxLong {
		rd.settleTotals()
		clear(rd.long)
	}
	if len(key) <= 200 {
		rd.long[key] = b
	}
	return b
}

func (rd *reader) fix(t evenstand.Micros, row []table.Cell) {
	la, lo := at(row, rd.place[latitude]), at(row, rd.place[longitude])
	if la.Type == table.Empty && lo.Type == table.Empty {
		return
	}
	lat, ok1, none1 := rd.number(la)
	lon, ok2, none2 := rd.number(lo)
	// Under a ten millionth of a degree (1 cm) from 0/0 is 0/0: no receiver
	// logs that place by chance.
	const nothing = 1e-7
	switch {
	case none1 || none2:
		return
	case !ok1:
		rd.fail("a position that is no number, such as "+show(la), "Write decimal degrees.")
		return
	case !ok2:
		rd.fail("a position that is no number, such as "+show(lo), "Write decimal degrees.")
		return
	case math.Abs(lat) > 90 || math.Abs(lon) > 180:
		rd.fail("a position that is not on the earth, such as "+show(la)+", "+show(lo), "Latitude goes from -90 to 90 and longitude from -180 to 180; check which column is which in the recipe.")
		return
	case math.Abs(lat) < nothing && math.Abs(lon) < nothing:
		rd.fail("a position at latitude 0, longitude 0: the receiver had none yet", "Nothing to do, unless it lasts.")
		return
	}
	if n := len(rd.fixes); n > 0 && rd.fixes[n-1].T == t && rd.fixes[n-1].Lat == lat && rd.fixes[n-1].Lon == lon {
		return // the same place on the lines of all rows
	}
	f := evenstand.NewFix(t, lat, lon)
	extra := func(i int, lo, hi, scale float64) float64 {
		c := at(row, rd.place[i])
		if c == nil {
			return math.NaN()
		}
		v, ok, none := rd.number(c)
		if none {
			return math.NaN()
		}
		if v *= scale; !ok || v < lo || v > hi {
			rd.fail("the place was used without what stands in "+strconv.Quote(rd.rows.Columns()[rd.place[i]].Name)+", such as "+show(c), "Check the column.")
			return math.NaN()
		}
		return v
	}
	f.Alt = extra(altitude, -1000, 10000, 1)
	in := evenstand.GroundSpeed.Info()
	f.Speed = extra(speed, in.Min, in.Max, rd.speed.Scale)
	if f.Heading = extra(heading, -360, 720, 1); f.Heading < 0 || f.Heading >= 360 {
		f.Heading = math.Mod(f.Heading+720, 360)
	}
	f.HDOP = extra(hdop, 0, 1000, 1)
	if n := extra(satellites, 0, 200, 1); !math.IsNaN(n) {
		f.Sats = int16(n)
	}
	rd.fixes = append(rd.fixes, f)
}

// grade is that of what was read.
func (rd *reader) grade() evenstand.Grade {
	g := evenstand.NoGrade
	if rd.seedAt >= 0 {
		return evenstand.GradeA
	}
	for _, b := range rd.bound {
		g = g.Better(evenstand.GradeOf(b.element, b.pace))
	}
	for _, b := range rd.long {
		if b.pace != nil {
			g = g.Better(evenstand.GradeOf(b.element, b.pace))
		}
	}
	if g == evenstand.NoGrade && rd.place[latitude] >= 0 {
		g = evenstand.GradeD
	}
	return g
}

// twiceNote says which lines lie in the hour that comes twice when the clock is
// set back, and as which of the two they were taken.
func (rd *reader) twiceNote() string {
	if rd.twice[0].n == 0 {
		return ""
	}
	s := fmt.Sprintf("In %s, %s lie in the hour that comes twice on %s in %s, when the clock is set back: ",
		rd.file, &rd.twice[0], rd.twiceOn.Time().In(rd.when.zone).Format("January 2, 2006"), rd.when.zone)
	switch {
	case rd.twice[2].n == 0:
		return s + "they were taken as the first of the two, since nothing tells."
	case rd.twice[1].n == 0:
		return s + "they were taken as the second of the two, since only so their times go on rising."
	}
	return s + fmt.Sprintf("%s were taken as the first of the two, and %s as the second, since only so their times go on rising.", &rd.twice[1], &rd.twice[2])
}

func (rd *reader) badTime(why fault, c, clock *table.Cell) {
	such := show(c)
	if clock != nil && clock.Type != table.Empty {
		such += " and " + show(clock)
	}
	switch {
	case why == noZone:
		rd.fail("a time without zone, such as "+such, "Give zone under [time] of the recipe, or in a source.toml beside the file.")
	case why == noTime:
		rd.fail("a row without time", "Nothing to do, unless there are many.")
	case why == neverTime:
		all := "that in which its clock stands all year"
		if z := rd.when.standing(evenstand.Micros(rd.when.part) * 900 * evenstand.Second); z != "" {
			all += ", such as " + z + ","
		}
		rd.fail(fmt.Sprintf("a time that does not come in %s, where the clock is set forward over it; the box did not do so, and what it wrote behind it is off by as much, such as %s", rd.when.zone, such),
			"Set zone under [time] of the recipe, or in a source.toml beside the file, to "+all+" and read it again.")
	case wordless(c):
		rd.fail("a line without a time, such as "+such, "Nothing to do if it holds totals.")
	default:
		rd.fail("a time that cannot be read, such as "+such, "Check how times are written under [time] of the recipe.")
	}
}

// fail counts a row that cannot be used, or a cell of it.
func (rd *reader) fail(why, do string) { rd.leave("lines", why, do) }

// leave counts something that cannot be used.
func (rd *reader) leave(of, why, do string) {
	key, _, _ := strings.Cut(why, ", such as ")
	if met, n := rd.bad.Has(key); !met && n >= unused.Most {
		key, why, do = "other reasons", "other reasons", ""
	}
	rd.bad.Add(key, func() evenstand.Unused {
		at := rd.rows.Place()
		return evenstand.Unused{File: rd.file, Line: at.Line, Offset: at.Offset, Of: of, Why: why, Do: do}
	})
}

// show makes what a cell holds fit for a sentence.
func show(c *table.Cell) string {
	switch c.Type {
	case table.Number, table.Flag:
		return strconv.FormatFloat(c.Num, 'g', 10, 64)
	case table.Instant, table.Local:
		return c.T.String()
	}
	return unused.Show(c.Text)
}
