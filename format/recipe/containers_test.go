package recipe

import (
	"bytes"
	"context"
	"io"
	"runtime"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/table"
)

// memory is a folder in memory.
type memory struct {
	fstest.MapFS
	dir string
}

type memoryFile struct {
	bytes.Buffer
	m    memory
	name string
}

func (f *memoryFile) Close() error {
	f.m.MapFS[f.m.dir+"/"+f.name] = &fstest.MapFile{Data: f.Bytes(), Mode: 0o644}
	return nil
}

func (m memory) create(name string) (io.WriteCloser, error) {
	return &memoryFile{m: m, name: name}, nil
}

// tableOf writes n rows of places with a speed, two rows' skips and a state.
func tableOf(tb testing.TB, kind table.Kind, n int) (fstest.MapFS, Recipe) {
	tb.Helper()
	cols := []table.Column{
		{Name: "time", Type: table.Instant},
		{Name: "speed", Type: table.Number},
		{Name: "row 1", Type: table.Number},
		{Name: "row 2", Type: table.Number},
		{Name: "lifted", Type: table.Flag},
		{Name: table.LongitudeColumn, Type: table.Number},
		{Name: table.LatitudeColumn, Type: table.Number},
	}
	m := memory{fstest.MapFS{}, "box"}
	w, err := table.NewWriter(kind, m.create, "log", cols, table.Dialect{})
	if err != nil {
		tb.Fatal(err)
	}
	num := func(v float64) table.Cell { return table.Cell{Type: table.Number, Num: v} }
	for i := range n {
		t := evenstand.Micros(1777749128_000_000) + evenstand.Micros(i)*evenstand.Second
		err := w.Row([]table.Cell{{Type: table.Instant, T: t}, num(2.5), num(0.5), num(1.25), {Type: table.Flag}, num(-93.5 + float64(i)*1e-5), num(41.6)})
		if err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	if f := m.MapFS["box/log.dbf"]; f != nil { // its end mark says nothing
		f.Data = f.Data[:len(f.Data)-1]
		delete(m.MapFS, "box/log.shx") // no reader needs it
	}
	r := New()
	r.Box = "box"
	r.File.Kind = kind
	for _, c := range cols {
		r.File.Columns = append(r.File.Columns, c.Name)
	}
	switch kind {
	case table.Workbook:
		r.Time = Time{Column: "time", Written: ByContainer, Zone: "UTC"}
	case table.Parquet:
		r.Time = Time{Column: "time", Written: ByContainer}
	default:
		r.Time = Time{Column: "time", Written: YearFirst}
	}
	r.Place = Place{Latitude: table.LatitudeColumn, Longitude: table.LongitudeColumn}
	r.Values = []Value{
		{Column: "speed", Quantity: evenstand.GroundSpeed, Element: "machine", Unit: "m/s", Times: 1},
		{Column: "row {n}", Quantity: evenstand.SkipFraction, Element: "row {n}", Unit: "%", Times: 1},
		{Column: "lifted", Quantity: evenstand.ImplementLifted, Element: "machine", Times: 1},
	}
	return m.MapFS, r
}

// Every container passes the suite that every reader must pass.
func TestSuiteContainers(t *testing.T) {
	for _, kind := range []table.Kind{table.Text, table.Workbook, table.Parquet, table.GeoJSON, table.Shapefile} {
		in, r := tableOf(t, kind, 3)
		long, _ := tableOf(t, kind, 21_000)
		formattest.Suite(t, Format{Recipes: []Recipe{r}}, []formattest.Set{{
			Name: string(kind), FS: in, Want: map[string]formattest.Counts{"box": {Fixes: 3, Readings: 12}}, Long: long,
			// What is damaged in a container may be any part of it, so that only
			// panics, hangs and silence are held against its reader.
			Context: func(string) bool { return true },
			Whole: func(file string, data []byte, n int) bool {
				switch {
				case strings.HasSuffix(file, ".csv"):
					return data[n-1] == '\n' && bytes.Count(data[:n], []byte("\n")) > 1
				case strings.HasSuffix(file, ".cpg"):
					return true // a hint
				case strings.HasSuffix(file, ".geojson"):
					return n == len(data)-1 // the line end
				}
				return false
			},
			LastRecord: -1,
		}})
	}
}

// heapSink looks at the heap while a table is read.
type heapSink struct {
	formattest.Tally
	calls int
	peak  uint64
}

func (h *heapSink) Readings(r []evenstand.Reading) error {
	if h.calls++; h.calls%8 == 0 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		h.peak = max(h.peak, m.HeapAlloc)
	}
	return h.Tally.Readings(r)
}

// Ten times the rows take no more memory; a Parquet file takes that of its
// largest row group, which is a hundred thousand rows as we write them.
func TestMemoryOfTables(t *testing.T) {
	for _, kind := range []table.Kind{table.Text, table.Workbook, table.GeoJSON, table.Shapefile} {
		peak := func(n int) uint64 {
			in, r := tableOf(t, kind, n)
			f := Format{Recipes: []Recipe{r}}
			src, _, _, err := f.Find(context.Background(), in)
			if err != nil || len(src) != 1 {
				t.Fatal(err, len(src))
			}
			runtime.GC()
			var before runtime.MemStats
			runtime.ReadMemStats(&before)
			var h heapSink
			if _, err := f.Read(context.Background(), in, src[0], &h); err != nil || h.Counts.Readings != 4*n {
				t.Fatal(err, h.Counts)
			}
			runtime.KeepAlive(in)
			return h.peak - min(h.peak, before.HeapAlloc)
		}
		short, long := peak(5_000), peak(50_000)
		t.Logf("%s: %d and %d KiB", kind, short>>10, long>>10)
		if long > short+short/4+512<<10 {
			t.Errorf("%s: %d KiB for five thousand rows, %d for fifty thousand", kind, short>>10, long>>10)
		}
	}
}
