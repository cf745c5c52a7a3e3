package iso11783_test

import (
	"io/fs"
	"testing"

	"evenstand"
	"evenstand/format/iso11783"
)

// catch keeps everything that a reader hands over.
type catch struct {
	fixes    []evenstand.Fix
	seeds    []evenstand.Seed
	readings []evenstand.Reading
	unused   []evenstand.Unused
	bytes    int64
}

func (c *catch) Fixes(f []evenstand.Fix) error  { c.fixes = append(c.fixes, f...); return nil }
func (c *catch) Seeds(s []evenstand.Seed) error { c.seeds = append(c.seeds, s...); return nil }
func (c *catch) Readings(r []evenstand.Reading) error {
	c.readings = append(c.readings, r...)
	return nil
}
func (c *catch) Entries([]evenstand.Entry) error { return nil }
func (c *catch) Unused(u evenstand.Unused)       { c.unused = append(c.unused, u) }
func (c *catch) Progress(n int64)                { c.bytes += n }

// readOne finds and reads the only source of an input.
func readOne(t testing.TB, in fs.FS, zone string) (evenstand.Source, *catch, []evenstand.Unused) {
	t.Helper()
	sources, _, unused, err := iso11783.Format{}.Find(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	if len(sources) != 1 {
		t.Fatalf("%d sources, want 1: %+v; unused %+v", len(sources), sources, unused)
	}
	src := sources[0]
	src.Zone = zone
	c := &catch{}
	src, err = iso11783.Format{}.Read(t.Context(), in, src, c)
	if err != nil {
		t.Fatal(err)
	}
	return src, c, unused
}

// values gives the readings of a quantity and part in order.
func (c *catch) values(q evenstand.Quantity, el evenstand.Element) []evenstand.Reading {
	var out []evenstand.Reading
	for _, r := range c.readings {
		if r.Quantity == q && r.Element == el {
			out = append(out, r)
		}
	}
	return out
}
