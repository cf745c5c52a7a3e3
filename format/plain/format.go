package plain

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/format/files"
	"evenstand/format/lines"
	"evenstand/format/unused"
)

// Format reads the plain layout; it implements evenstand.Format. Its files are
// found by their names, in any letter case and any folder, also inside a zip.
// Order of times, and the same line twice, are left to whoever stores them.
type Format struct{}

var _ evenstand.Format = Format{}

// Name gives "plain layout".
func (Format) Name() string { return "plain layout" }

// kind is one of the four files.
type kind struct {
	file   string // its name
	what   string // last part of the source's name
	grade  evenstand.Grade
	want   []string // columns, the needed ones first
	needed int
}

var kinds = []kind{
	{SeedsFile, "seeds", evenstand.GradeA, strings.Split(seedsHeader, ","), 2},
	{TrackFile, "track", evenstand.GradeD, strings.Split(trackHeader, ","), 3},
	{ReadingsFile, "readings", evenstand.NoGrade, strings.Split(readingsHeader, ","), 5},
	{JournalFile, "journal", evenstand.GradeD, strings.Split(journalHeader, ","), 2},
}

func kindOf(name string) *kind {
	base := path.Base(name)
	for i := range kinds {
		if strings.EqualFold(base, kinds[i].file) {
			return &kinds[i]
		}
	}
	return nil
}

// Misnamed gives the name that a table with the header of one of the four files
// should have; empty for any other table.
func Misnamed(in fs.FS, name string) string {
	if kindOf(name) == nil {
		if k := misnamed(in, name); k != nil {
			return k.file
		}
	}
	return ""
}

// misnamed gives the kind that a table of another name has the header of, nil
// for none. A table with any column beside those of the kind is another one.
func misnamed(in fs.FS, name string) *kind {
	if ext := strings.ToLower(path.Ext(name)); ext != ".csv" && ext != ".txt" {
		return nil
	}
	f, err := in.Open(name)
	if err != nil {
		return nil
	}
	defer f.Close()
	head := make([]byte, 512)
	n, _ := io.ReadFull(f, head) // a short file is read whole
	line, _, _ := strings.Cut(string(trimBOM(head[:n])), "\n")
	columns := strings.Split(strings.ToLower(strings.TrimSpace(line)), ",")
	var best *kind
	for i := range kinds {
		k := &kinds[i]
		others := slices.ContainsFunc(columns, func(c string) bool { return !slices.Contains(k.want, c) })
		if len(columns) >= k.needed && slices.Equal(columns[:k.needed], k.want[:k.needed]) && !others && (best == nil || k.needed > best.needed) {
			best = k
		}
	}
	return best
}

// folder is what one folder holds of the layout.
type folder struct {
	dir   string
	files []string
	toml  []string
}

// Find lists the sources of an input: one for each file with the right header.
// The name of a source is the box's name of source.toml, or its folder, and
// the file's: "north box/seeds". A source's grade is known before reading for
// all but readings.csv. What is wrong in a source.toml is reported here.
func (f Format) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	var folders []*folder
	at := map[string]*folder{}
	shut, err := files.Walk(ctx, in, func(name string) {
		isToml := strings.EqualFold(path.Base(name), SourceToml)
		if !isToml && kindOf(name) == nil {
			if k := misnamed(in, name); k != nil {
				unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: "it has the header of " + k.file + " but another name", Do: "Name it " + k.file + ", in a folder of its own for each box."})
			}
			return
		}
		dir := path.Dir(name)
		fo := at[dir]
		if fo == nil {
			fo = &folder{dir: dir}
			at[dir] = fo
			folders = append(folders, fo)
		}
		if isToml {
			fo.toml = append(fo.toml, name)
		} else {
			fo.files = append(fo.files, name)
		}
	})
	if err != nil {
		return nil, nil, nil, err
	}
	unused = append(unused, shut...)
	slices.SortFunc(folders, func(a, b *folder) int { return strings.Compare(a.dir, b.dir) })
	used := map[string]bool{} // names of boxes
	for _, fo := range folders {
		if len(fo.files) == 0 {
			continue // a source.toml alone belongs to some other layout
		}
		said := NewSource()
		for i, name := range fo.toml {
			claimed = append(claimed, name)
			if i > 0 {
				unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: "the folder has a second source.toml, in other letters", Do: "Keep one."})
				continue
			}
			data, err := readAll(in, name)
			if err != nil {
				unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: err.Error(), Do: "Check that the file may be read."})
				continue
			}
			var bad []evenstand.Unused
			said, bad = ReadSource(name, data)
			unused = append(unused, bad...)
		}
		box := said.Name
		if box == "" && fo.dir != "." {
			box = fo.dir
		} else if used[box] && box != "" {
			box += " (" + fo.dir + ")"
		}
		used[box] = true
		slices.SortStableFunc(fo.files, func(a, b string) int {
			return slices.IndexFunc(kinds, func(k kind) bool { return k.what == kindOf(a).what }) -
				slices.IndexFunc(kinds, func(k kind) bool { return k.what == kindOf(b).what })
		})
		names := map[string]bool{}
		for _, name := range fo.files {
			claimed = append(claimed, name)
			k := kindOf(name)
			if bad := f.look(ctx, in, name, k); bad != nil {
				unused = append(unused, *bad)
				continue
			}
			last := k.what
			if names[last] {
				last = path.Base(name)
			}
			names[last] = true
			src := evenstand.Source{
				Name: path.Join(box, last), Format: f.Name(), Files: []string{name},
				Planter: said.Planter, Zone: said.Zone, Grade: k.grade,
				ClockOffset: said.ClockOffset, ClockError: said.ClockError,
				Latency: math.NaN(), Notes: slices.Clone(said.Notes),
			}
			if len(fo.toml) > 0 {
				src.Files = append(src.Files, fo.toml[0])
			}
			if said.OneClock {
				src.Clock = box
				if box == "" {
					src.Clock = "this folder"
				}
			}
			sources = append(sources, src)
		}
	}
	return sources, claimed, unused, nil
}

// readAll reads a small file, one byte beyond what is taken for small.
func readAll(in fs.FS, name string) ([]byte, error) {
	f, err := in.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxToml+1))
}

// look reads the header of a file and says what keeps it from being read.
func (f Format) look(ctx context.Context, in fs.FS, name string, k *kind) *evenstand.Unused {
	file, err := in.Open(name)
	if err != nil {
		return &evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: err.Error(), Do: "Check that the file may be read."}
	}
	defer file.Close()
	l := lines.New(ctx, file, nil)
	defer l.Close()
	_, bad := readHeader(l, k)
	if bad != nil {
		bad.File = name
	}
	return bad
}

// header is the order of the columns of a file.
type header struct {
	at     []int // place of each column of the kind in a line; -1 when absent
	fields int   // fields on a line
	extra  []string
}

// readHeader reads the first line and finds the columns in it.
func readHeader(l *lines.Cutter, k *kind) (header, *evenstand.Unused) {
	h := header{at: make([]int, len(k.want))}
	bad := func(why, do string) (header, *evenstand.Unused) {
		return h, &evenstand.Unused{Line: max(1, l.Line()), Count: 1, Of: "files", Why: why, Do: do}
	}
	should := "Its first line should be " + strings.Join(k.want[:k.needed], ",") + "."
	line, got := l.Next()
	for got == lines.Whole && len(trim(trimBOM(line))) == 0 {
		line, got = l.Next()
	}
	switch {
	case got == lines.None && l.Err() != nil:
		return bad(l.Err().Error(), "Check that the file may be read.")
	case got == lines.None:
		return bad("the file is empty", "")
	case bytes.HasPrefix(line, []byte("\xff\xfe")) || bytes.HasPrefix(line, []byte("\xfe\xff")) || bytes.IndexByte(line, 0) >= 0:
		return bad("the file is no UTF-8 text", "Save it as CSV in UTF-8.")
	case got == lines.Cut:
		return bad("the file ends within its first line", "Send the whole file.")
	case got == lines.Long:
		return bad("the first line is longer than 256 KB", should)
	}
	line = trimBOM(line)
	var scratch []byte
	fields, ok := split(line, nil, &scratch)
	if !ok {
		return bad("a quote of the first line is not closed", should)
	}
	h.fields = len(fields)
	for i := range h.at {
		h.at[i] = -1
	}
	for i, f := range fields {
		c := slices.Index(k.want, strings.ToLower(string(f)))
		switch {
		case c < 0:
			h.extra = append(h.extra, unused.Show(f))
		case h.at[c] >= 0:
			return bad("two columns are named "+k.want[c], "Keep one of them.")
		default:
			h.at[c] = i
		}
	}
	var missing []string
	for c := range k.needed {
		if h.at[c] < 0 {
			missing = append(missing, k.want[c])
		}
	}
	if len(missing) == 0 {
		return h, nil
	}
	var c clock
	first := fields[0]
	switch _, err := c.parse(first); {
	case len(fields) == 1 && (bytes.Count(line, []byte(";")) > 0 || bytes.Count(line, []byte("\t")) > 0):
		return bad("the columns are not parted by commas", "Save it as CSV with commas and decimal points. "+should)
	case err == nil || len(h.extra) == len(fields) && len(first) > 0 && first[0] >= '0' && first[0] <= '9':
		return bad("there is no header line", should)
	case len(missing) == 1:
		return bad("the header has no column "+missing[0], should)
	}
	return bad("the header has no columns "+strings.Join(missing, ", "), should)
}

// scan is the reading of one file.
type scan struct {
	sink    evenstand.Sink
	lines   *lines.Cutter
	head    header
	report  unused.Report
	clock   clock
	said    SourceFile
	fields  [][]byte
	scratch []byte

	used  int64
	order Order
}

// Read streams one source. Fixes, seeds and readings are handed over in the
// order of the file: a clock that goes back is told in the notes, and sorting
// is left to whoever keeps the data. A last line without line end is not used,
// because it may be cut short. An entry's value stays in the entry's unit.
func (f Format) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	var k *kind
	name := ""
	s := &scan{sink: sink, said: NewSource(), order: NewOrder()}
	for _, file := range src.Files {
		if kf := kindOf(file); kf != nil && k == nil {
			k, name = kf, file
		} else if strings.EqualFold(path.Base(file), SourceToml) {
			data, err := readAll(in, file)
			if err != nil {
				return src, fmt.Errorf("%s: %w", file, err)
			}
			s.said, _ = ReadSource(file, data) // Find has told what is wrong in it
		}
	}
	if k == nil {
		return src, fmt.Errorf("source %s: none of its files is of the plain layout", src.Name)
	}
	file, err := in.Open(name)
	if err != nil {
		return src, fmt.Errorf("%s: %w", name, err)
	}
	defer file.Close()
	s.clock.gps = s.said.CountFrom == "gps"
	zone := s.said.Zone
	if zone == "" {
		zone = src.Zone
	}
	if zone != "" {
		if s.clock.zone, err = loadZone(zone); err != nil {
			return src, fmt.Errorf("source %s: time zone %q: %w", src.Name, zone, err)
		}
	}
	s.report.File = name
	s.lines = lines.New(ctx, file, sink.Progress)
	defer s.lines.Close()
	var bad *evenstand.Unused
	if s.head, bad = readHeader(s.lines, k); bad != nil {
		if s.lines.Err() != nil {
			return src, fmt.Errorf("%s: %w", name, s.lines.Err())
		}
		bad.File = name
		sink.Unused(*bad)
		return src, nil
	}
	if n := len(s.head.extra); n > 0 {
		sink.Unused(evenstand.Unused{
			File: name, Line: 1, Count: int64(n), Of: "columns",
			Why: "not known in this layout: " + strings.Join(s.head.extra[:min(n, 20)], ", "), Do: "Nothing to do if they are not needed.",
		})
	}
	switch k.file {
	case SeedsFile:
		err = s.seeds()
	case TrackFile:
		err = s.track()
	case ReadingsFile:
		src.Grade, err = s.readings()
	case JournalFile:
		err = s.journal()
	}
	s.report.Send(sink)
	src.Notes = append(slices.Clone(src.Notes), s.notes(name)...)
	if err == nil && s.lines.Err() != nil {
		err = fmt.Errorf("%s, byte %d: %w", name, s.lines.Bytes(), s.lines.Err())
	}
	return src, err
}

func (s *scan) notes(name string) []string {
	var notes []string
	if n := s.order.Note(name); n != "" {
		notes = append(notes, n)
	}
	if s.used == 0 && len(s.report.List()) == 0 {
		notes = append(notes, fmt.Sprintf("%s holds a header and nothing under it.", name))
	}
	return notes
}

func (s *scan) bad(why *reason, text []byte) {
	t := ""
	if text != nil {
		t = unused.Show(text)
	}
	s.report.Add(why, t, s.lines.Line(), s.lines.Start())
}

// next gives the fields and the time of the next line that has them.
func (s *scan) next(records bool) (evenstand.Micros, bool) {
	for {
		var line []byte
		var got lines.Found
		if records {
			line, got = s.lines.Record()
		} else {
			line, got = s.lines.Next()
		}
		switch got {
		case lines.None:
			return 0, false
		case lines.Cut:
			if len(trim(line)) > 0 {
				s.bad(&badCut, nil)
			}
			continue
		case lines.Long:
			s.bad(&badLong, nil)
			continue
		case lines.Open:
			s.bad(&badQuote, nil)
			continue
		}
		var ok bool
		s.fields, ok = split(line, s.fields, &s.scratch)
		if !ok {
			s.bad(&badQuote, nil)
			continue
		}
		if len(s.fields) != s.head.fields {
			if len(s.fields) > 1 || len(s.fields[0]) > 0 {
				s.bad(&badFields, nil)
			}
			continue
		}
		t, err := s.clock.parse(s.fields[s.head.at[0]])
		if err != nil {
			s.badTime(err)
			continue
		}
		return t, true
	}
}

// take counts a line that is used and watches the clock.
func (s *scan) take(t evenstand.Micros) {
	s.used++
	s.order.Take(t, s.lines.Line())
}

// field gives a column of the kind, nil when the file has none.
func (s *scan) field(column int) []byte {
	if at := s.head.at[column]; at >= 0 {
		return s.fields[at]
	}
	return nil
}

// row holds a row number against what is known and counts it from the left.
// The reason is nil when the row can be used.
func (s *scan) row(n int) (int, *reason) {
	switch {
	case n < 1 || n > evenstand.MaxRows:
		return 0, &badRow
	case s.said.Rows > 0 && n > s.said.Rows:
		return 0, &badBeyond
	case s.said.RowsFrom != "right":
		return n, nil
	case s.said.Rows == 0:
		return 0, &badRight
	}
	return s.said.Rows + 1 - n, nil
}

// Order watches whether the times of a log rise.
type Order struct {
	last evenstand.Micros
	n    int64 // lines earlier than the one before
	line int   // the first of them
	most evenstand.Micros
}

// NewOrder is the watch before the first line.
func NewOrder() Order { return Order{last: evenstand.NoTime} }

// Take notes the time of a line that is used.
func (o *Order) Take(t evenstand.Micros, line int) {
	if t < o.last {
		if o.n == 0 {
			o.line = line
		}
		o.n++
		o.most = max(o.most, o.last-t)
	}
	o.last = t
}

// Note says how many lines of a file were earlier than the one before; nothing
// where none was.
func (o *Order) Note(file string) string {
	if o.n == 0 {
		return ""
	}
	lines := "lines are"
	if o.n == 1 {
		lines = "line is"
	}
	return fmt.Sprintf("In %s, %d %s earlier than the line before, by up to %s, first line %d; all are used.",
		file, o.n, lines, time.Duration(o.most)*time.Microsecond, o.line)
}
