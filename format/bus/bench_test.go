package bus_test

import (
	"bytes"
	"fmt"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
)

// drop is a sink that counts and forgets.
type drop struct{ fixes, readings int64 }

func (d *drop) Fixes(x []evenstand.Fix) error        { d.fixes += int64(len(x)); return nil }
func (d *drop) Seeds([]evenstand.Seed) error         { return nil }
func (d *drop) Readings(x []evenstand.Reading) error { d.readings += int64(len(x)); return nil }
func (d *drop) Entries([]evenstand.Entry) error      { return nil }
func (d *drop) Unused(evenstand.Unused)              {}
func (d *drop) Progress(int64)                       {}

// capture is a bus log of a 16-row planter: places, speeds and values ten times
// a second, and as many frames of others, which no reader here knows.
func capture(t testing.TB, seconds int) []byte {
	t.Helper()
	own := write(t, bus.WriterOptions{Card: card(16), Log: everything}, 10*seconds, evenstand.Second/10, 0)
	var out bytes.Buffer
	n := 0
	for line := range bytes.Lines(own) {
		out.Write(line)
		n++
		fmt.Fprintf(&out, "%s can0 0CF00400#F07D84%02X%02X00F07D\n", line[:19], n>>8&0xff, n&0xff)
	}
	return out.Bytes()
}

func BenchmarkRead(b *testing.B) {
	data := capture(b, 600)
	lines := bytes.Count(data, []byte("\n"))
	in := fstest.MapFS{"candump.log": {Data: data}}
	sources, _, _, err := bus.Format{}.Find(b.Context(), in)
	if err != nil || len(sources) != 1 {
		b.Fatal(sources, err)
	}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	var d drop
	for b.Loop() {
		d = drop{}
		if _, err := (bus.Format{}).Read(b.Context(), in, sources[0], &d); err != nil || d.readings == 0 {
			b.Fatal(err, d)
		}
	}
	b.ReportMetric(float64(lines)*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
	b.ReportMetric(float64(d.readings)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkScan(b *testing.B) {
	data := capture(b, 60)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		n = 0
		for sc := bus.NewScanner(bytes.NewReader(data)); sc.Next(); {
			n++
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

// Memory does not grow with the capture: what is allocated for one ten times as
// long is less than twice as much.
func TestMemoryFlat(t *testing.T) {
	if testing.Short() {
		t.Skip("writes a capture of an hour")
	}
	measure := func(seconds int) int64 {
		in := fstest.MapFS{"candump.log": {Data: capture(t, seconds)}}
		sources, _, _, err := bus.Format{}.Find(t.Context(), in)
		if err != nil || len(sources) != 1 {
			t.Fatal(sources, err)
		}
		return testing.Benchmark(func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := (bus.Format{}).Read(b.Context(), in, sources[0], &drop{}); err != nil {
					b.Fatal(err)
				}
			}
		}).AllocedBytesPerOp()
	}
	short, long := measure(120), measure(1200)
	if long > 2*short {
		t.Errorf("%d bytes allocated for two minutes and %d for twenty", short, long)
	}
}
