package book_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/format/column"
)

type cellKey struct {
	day  evenstand.Day
	pass int32
	row  int
	k    int
}

// The dense accumulators against a map that adds up seed by seed.
func TestGroupByStretch(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 3)}))
	want := map[cellKey]book.SeedCell{}
	days, err := b.Days(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range days {
		for p := range int32(d.Passes) {
			seeds, err := b.Seeds(ctx, nil, d.Planter, d.Day, p)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range seeds {
				k := cellKey{d.Day, p, int(s.Row), int(s.S) / 15_000}
				c := want[k]
				c.Seeds++
				c.Skips += int32(s.Missing)
				if s.Double {
					c.Doubles++
				}
				if s.Gap >= 0 {
					c.Gaps++
					c.Sum += int64(s.Gap)
					c.Squares += int64(s.Gap) * int64(s.Gap)
				}
				want[k] = c
			}
		}
	}
	if len(want) != 3*(4*3+3*3) {
		t.Fatalf("%d cells", len(want))
	}
	for _, workers := range []int{1, 2, 5} {
		n := 0
		if err := b.GroupByStretch(ctx, workers, func(p *book.PassCells) error {
			for i, cells := range p.Rows {
				row := i + 1
				for k := range cells {
					c := &cells[k]
					if c.Seeds == 0 {
						continue
					}
					n++
					if w := want[cellKey{p.Day, p.Pass, row, k}]; *c != w {
						t.Errorf("%s pass %d row %d stretch %d: %+v, want %+v", p.Day, p.Pass, row, k, *c, w)
					}
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if n != len(want) {
			t.Errorf("%d cells, want %d", n, len(want))
		}
	}
	stop := errors.New("enough")
	if err := b.GroupByStretch(ctx, 2, func(*book.PassCells) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("stopped with %v", err)
	}
}

// By hand: gaps of 150 and 170 mm have sum 320, squares 22500 + 28900 = 51400,
// mean 160, M2 2*10^2 = 200, SD sqrt(200/1) = 14.14; a single gap has no SD.
func TestSeedCellMoments(t *testing.T) {
	c := book.SeedCell{Gaps: 2, Sum: 320, Squares: 51400}
	if c.M2() != 200 || math.Abs(c.SD()-14.1421356) > 1e-6 {
		t.Errorf("M2 %g, SD %g", c.M2(), c.SD())
	}
	one := book.SeedCell{Gaps: 1, Sum: 160, Squares: 25600}
	if one.M2() != 0 || !math.IsNaN(one.SD()) {
		t.Errorf("of one gap: M2 %g, SD %g", one.M2(), one.SD())
	}
}

type seedCols struct {
	Pass    int32 `parquet:"pass,delta"`
	Row     int16 `parquet:"row,delta"`
	S       int32 `parquet:"s_mm,delta"`
	Gap     int32 `parquet:"gap_mm,delta"`
	Missing uint8 `parquet:"missing,delta"`
	Double  bool  `parquet:"double"`
}

func BenchmarkGroupFiles(b *testing.B) {
	path := filepath.Join(b.TempDir(), "seeds.parquet")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	out := bufio.NewWriter(f)
	w := column.NewWriter[seedCols](out)
	r := rand.New(rand.NewPCG(1, 1))
	var rows []seedCols
	const passes, perRow = 16, 5000
	for p := range passes {
		rows = rows[:0]
		for row := range 24 {
			s := int32(0)
			for range perRow {
				gap := 160 + int32(r.NormFloat64()*15)
				s += gap
				rows = append(rows, seedCols{int32(p), int16(row + 1), s, gap, 0, false})
			}
		}
		w.Write(rows)
		w.EndGroup()
	}
	if err := errors.Join(w.Close(), out.Flush(), f.Close()); err != nil {
		b.Fatal(err)
	}
	n := w.Rows()
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := book.GroupFiles(context.Background(), []book.SeedFile{{Path: path}}, workers, func(*book.PassCells) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
		})
	}
}
