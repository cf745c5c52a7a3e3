package iso11783_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/iso11783"
)

func FuzzScanner(f *testing.F) {
	in := load(f, smallSet(f, 8))
	f.Add(in["TLG00001.XML"].Data, in["TLG00001.BIN"].Data)
	f.Add([]byte(`<TIM A="" D="4"><PTN A="" B="" D="1"/><DLV A="000C" B="" C="DET1"/></TIM>`), []byte{0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 1, 0, 9, 9, 9, 9})
	f.Add([]byte(`<TIM A=""><DLV A="DFFE" B="7" C="DET1" D="129026" E="16" F="31"/></TIM>`), []byte{})
	f.Fuzz(func(t *testing.T, head, data []byte) {
		h, err := iso11783.ParseHeader("TLG00001.XML", bytes.NewReader(head))
		if err != nil {
			return
		}
		sc := iso11783.NewScanner(h, bytes.NewReader(data))
		used, last := int64(0), int64(-1)
		for sc.Next() {
			r := sc.Record()
			if r.Offset <= last {
				t.Fatalf("record at %d after one at %d", r.Offset, last)
			}
			last = r.Offset
			size := int64(1 + 5*len(r.Values))
			if used += size; used > int64(len(data)) {
				t.Fatalf("%d bytes of records in %d bytes", used, len(data))
			}
			for _, v := range r.Values {
				if int(v.Column) >= len(h.Columns) {
					t.Fatalf("column %d of %d", v.Column, len(h.Columns))
				}
			}
		}
		lost := int64(0)
		for _, d := range sc.Damage() {
			lost += d.Bytes
		}
		if sc.Err() != nil || sc.Offset() != int64(len(data)) || lost > int64(len(data)) {
			t.Fatalf("read %d and lost %d of %d bytes, %v", sc.Offset(), lost, len(data), sc.Err())
		}
	})
}

func FuzzTaskData(f *testing.F) {
	in := load(f, smallSet(f, 8))
	f.Add(in["TASKDATA.XML"].Data, in["TLG00001.XML"].Data, in["TLG00001.BIN"].Data)
	f.Add([]byte("\xff\xfe<\x00T\x00/\x00>\x00"), []byte("<TIM A=\"\"/>"), []byte{1})
	f.Add([]byte(`<?xml version="1.0" encoding="ISO-8859-1"?><ISO11783_TaskData><TSK A="TSK1"><TLG A="TLG00001" C="1"/>`), in["TLG00001.XML"].Data, in["TLG00001.BIN"].Data)
	f.Fuzz(func(t *testing.T, task, head, data []byte) {
		set := fstest.MapFS{"TASKDATA.XML": {Data: task}, "TLG00001.XML": {Data: head}, "TLG00001.BIN": {Data: data}}
		sources, _, _, err := iso11783.Format{}.Find(t.Context(), set)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range sources {
			s.Zone = "America/Chicago"
			c := &catch{}
			got, err := iso11783.Format{}.Read(t.Context(), set, s, c)
			if err != nil {
				continue
			}
			rows := 0
			if got.Card != nil {
				rows = got.Card.Rows
			}
			for _, r := range c.readings {
				if r.Quantity != evenstand.Raw && !r.Quantity.Plausible(r.Value) {
					t.Fatalf("%+v is outside its range", r)
				}
				if r.Element.Scope == evenstand.ScopeRow && (r.Element.N < 1 || int(r.Element.N) > rows) {
					t.Fatalf("%+v with %d rows", r, rows)
				}
			}
			for _, x := range c.fixes {
				if !(x.Lat >= -90 && x.Lat <= 90 && x.Lon >= -180 && x.Lon <= 180) {
					t.Fatalf("%+v", x)
				}
			}
		}
	})
}

func FuzzGrid(f *testing.F) {
	f.Add([]byte(`<ISO11783_TaskData><TSK A="TSK1"><TZN A="0"><PDV A="000B" B="7"/></TZN><GRD A="1" B="2" C="0.1" D="0.1" E="2" F="2" G="GRD00001" I="1"/></TSK></ISO11783_TaskData>`), []byte{0, 1, 2, 0})
	f.Add([]byte(`<ISO11783_TaskData><TSK A="TSK1"><TZN A="0"><PDV A="000B" B="7"/></TZN><GRD A="1" B="2" C="0.1" D="0.1" E="99999999" F="99999999" G="GRD00001" I="2" J="0"/></TSK></ISO11783_TaskData>`), []byte{0, 1, 2, 0})
	f.Fuzz(func(t *testing.T, task, data []byte) {
		set := fstest.MapFS{"taskdata.xml": {Data: task}, "grd00001.bin": {Data: data}}
		sets, _, err := iso11783.Open(t.Context(), set)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range sets {
			for _, task := range s.Tasks {
				g, err := s.ReadGrid(task)
				if err != nil || g == nil {
					continue
				}
				cells := g.Cols * g.Rows
				if len(g.Values) != cells*len(g.Layers) || g.Type == 1 && len(data) != cells || g.Type == 2 && len(data) != 4*len(g.Values) {
					t.Fatalf("%d x %d cells of type %d from %d bytes", g.Cols, g.Rows, g.Type, len(data))
				}
			}
		}
	})
}

// benchLog makes a log as wide and as dense as the 32-row sample: five values
// a record on average.
func benchLog(b *testing.B, records int) (string, int64) {
	dir := b.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(16), Log: iso11783.LogSeedRate | iso11783.LogSkips | iso11783.LogForce})
	if err != nil {
		b.Fatal(err)
	}
	rate, skips, force := fill(16, 8), fill(16, 0.01), fill(16, 400)
	for i := range records {
		for k := range 5 {
			r := (i*5 + k) % 48
			switch r / 16 {
			case 0:
				rate[r] = 8 + float64(i%100)/1000
			case 1:
				skips[r-16] = float64(i%90) / 1000
			case 2:
				force[r-32] = 400 + float64(i%77)
			}
		}
		f := fixAt(i, evenstand.Second/10)
		if err := w.Record(iso11783.Record{Fix: f, SeedRate: rate, Skips: skips, Force: force}); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	st, err := os.Stat(filepath.Join(dir, "TLG00001.BIN"))
	if err != nil {
		b.Fatal(err)
	}
	return dir, st.Size()
}

func BenchmarkScan(b *testing.B) {
	dir, size := benchLog(b, 200_000)
	head, err := os.ReadFile(filepath.Join(dir, "TLG00001.XML"))
	if err != nil {
		b.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, "TLG00001.BIN"))
	if err != nil {
		b.Fatal(err)
	}
	h, err := iso11783.ParseHeader("TLG00001.XML", bytes.NewReader(head))
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		for sc := iso11783.NewScanner(h, bytes.NewReader(data)); sc.Next(); {
			n++
		}
		if n != 200_000 {
			b.Fatal(n)
		}
	}
}

// drain counts and keeps nothing.
type drain struct{ fixes, readings int64 }

func (d *drain) Fixes(f []evenstand.Fix) error        { d.fixes += int64(len(f)); return nil }
func (d *drain) Seeds([]evenstand.Seed) error         { return nil }
func (d *drain) Readings(r []evenstand.Reading) error { d.readings += int64(len(r)); return nil }
func (d *drain) Entries([]evenstand.Entry) error      { return nil }
func (d *drain) Unused(evenstand.Unused)              {}
func (d *drain) Progress(int64)                       {}

func BenchmarkRead(b *testing.B) {
	dir, size := benchLog(b, 200_000)
	in := os.DirFS(dir)
	sources, _, _, err := iso11783.Format{}.Find(b.Context(), in)
	if err != nil || len(sources) != 1 {
		b.Fatal(sources, err)
	}
	b.SetBytes(size)
	b.ReportAllocs()
	var d drain
	for b.Loop() {
		d = drain{}
		if _, err := (iso11783.Format{}).Read(b.Context(), in, sources[0], &d); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(d.readings)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

// Memory does not grow with the log: what is allocated for a log ten times as
// long is less than twice as much.
func TestMemoryFlat(t *testing.T) {
	if testing.Short() {
		t.Skip("writes a log of 200,000 records")
	}
	measure := func(records int) int64 {
		r := testing.Benchmark(func(b *testing.B) {
			dir, _ := benchLog(b, records)
			in := os.DirFS(dir)
			sources, _, _, err := iso11783.Format{}.Find(b.Context(), in)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				if _, err := (iso11783.Format{}).Read(b.Context(), in, sources[0], &drain{}); err != nil {
					b.Fatal(err)
				}
			}
		})
		return r.AllocedBytesPerOp()
	}
	short, long := measure(20_000), measure(200_000)
	if long > 2*short {
		t.Errorf("%d bytes allocated for 20,000 records and %d for 200,000", short, long)
	}
}
