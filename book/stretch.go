package book

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"

	"evenstand"
	"evenstand/format/column"
)

// SeedCell is what one row's seeds did on one stretch of 15 m, from the seeds
// alone. Sums are in whole millimetres, so they are exact.
type SeedCell struct {
	Seeds   int32
	Skips   int32 // places before its seeds that should have held one
	Doubles int32
	Gaps    int32 // gaps that are known
	Sum     int64 // of the gaps, mm
	Squares int64 // of the gaps, mm2
}

// M2 gives the sum of squared deviations of the gaps from their mean, mm2.
func (c *SeedCell) M2() float64 {
	if c.Gaps == 0 {
		return 0
	}
	return float64(c.Squares) - float64(c.Sum)*float64(c.Sum)/float64(c.Gaps)
}

// SD gives the standard deviation of the gaps in mm; of a single gap there is
// none, which is NaN and never 0.
func (c *SeedCell) SD() float64 {
	if c.Gaps < 2 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, c.M2()) / float64(c.Gaps-1))
}

// PassCells are the cells of one pass: Rows[r-1][k] is row r on stretch k. A
// row is as long as its last stretch with seeds; cells without seeds are zero.
type PassCells struct {
	Planter string
	Day     evenstand.Day
	Pass    int32
	Rows    [][]SeedCell
}

// GroupByStretch groups all seeds of the book by row and stretch, pass by
// pass, with as many workers as said. yield is called for one pass at a time,
// in no particular order; the cells are only lent. Memory is that of one pass
// a worker.
func (b *Book) GroupByStretch(ctx context.Context, workers int, yield func(*PassCells) error) error {
	files, err := b.SeedFiles(ctx)
	if err != nil {
		return err
	}
	return b.spoilt(GroupFiles(ctx, files, workers, yield))
}

// SeedFiles gives the seeds.parquet of every machine-day, for who reads more
// than a pass and fewer than all columns (docs/book-format.md).
func (b *Book) SeedFiles(context.Context) ([]SeedFile, error) {
	man, _, err := b.snapshot()
	if err != nil {
		return nil, err
	}
	var files []SeedFile
	for _, e := range man.Days {
		files = append(files, SeedFile{Path: b.path(dataDir, e.Folder, seedsName), Planter: e.Planter, Day: e.Day})
	}
	return files, nil
}

// SeedFile is one seeds.parquet of a machine-day.
type SeedFile struct {
	Path    string
	Planter string
	Day     evenstand.Day
}

// GroupFiles is GroupByStretch over files that the caller names: seeds.parquet
// of a book or of another writer with the same columns, one row group a pass.
func GroupFiles(ctx context.Context, files []SeedFile, workers int, yield func(*PassCells) error) error {
	type job struct {
		file  *SeedFile
		f     *column.File
		group int
		done  *sync.WaitGroup // of the file's groups
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	jobs := make(chan job)
	var mu sync.Mutex // one yield at a time
	var wg sync.WaitGroup
	for range max(1, workers) {
		wg.Go(func() {
			cells := &PassCells{}
			for j := range jobs {
				err := ctx.Err()
				if err == nil {
					cells.Planter, cells.Day = j.file.Planter, j.file.Day
					err = cells.group(j.f, j.group)
				}
				if err == nil {
					mu.Lock()
					if err = ctx.Err(); err == nil {
						err = yield(cells)
					}
					mu.Unlock()
				}
				j.done.Done()
				var page *column.PageError // says where itself
				if err != nil && !errors.As(err, &page) {
					err = fmt.Errorf("%s, row group %d: %w", j.file.Path, j.group, err)
				}
				if err != nil {
					stop(err)
				}
			}
		})
	}
	for i := range files {
		f, err := column.Open(files[i].Path)
		if err != nil {
			stop(err)
			break
		}
		var done sync.WaitGroup
		for g := range f.Groups() {
			if ctx.Err() != nil {
				break
			}
			done.Add(1)
			jobs <- job{&files[i], f, g, &done}
		}
		wg.Go(func() { done.Wait(); f.Close() })
		if ctx.Err() != nil {
			break
		}
	}
	close(jobs)
	wg.Wait()
	return context.Cause(ctx)
}

// stretchMM is the length of a stretch.
const stretchMM = int32(evenstand.StretchLength * 1000)

// group fills the cells from one row group. The columns are walked page by
// page side by side, so nothing of a pass but its cells is held.
func (p *PassCells) group(f *column.File, g int) error {
	pass, err := passOf(f, g)
	if err != nil {
		return err
	}
	p.Pass = pass
	p.Rows = p.Rows[:0]
	row, err := column.Numbers[int32](f, g, "row", 0)
	if err != nil {
		return err
	}
	defer row.Close()
	s, err := column.Numbers[int32](f, g, "s_mm", 0)
	if err != nil {
		return err
	}
	defer s.Close()
	gap, err := column.Numbers[int32](f, g, "gap_mm", -1)
	if err != nil {
		return err
	}
	defer gap.Close()
	missing, err := column.Numbers[int32](f, g, "missing", 0)
	if err != nil {
		return err
	}
	defer missing.Close()
	double, err := column.Numbers[uint8](f, g, "double", 0)
	if err != nil {
		return err
	}
	defer double.Close()
	acc := accumulator{p: p, row: -1}
	var rows, ss, gaps, missings []int32
	var doubles []uint8
	for left := f.GroupRows(g); left > 0; {
		var errs [5]error
		rows, errs[0] = more(row, rows)
		ss, errs[1] = more(s, ss)
		gaps, errs[2] = more(gap, gaps)
		missings, errs[3] = more(missing, missings)
		doubles, errs[4] = more(double, doubles)
		for _, err := range errs {
			if errors.Is(err, io.EOF) {
				return fmt.Errorf("a column ends %d rows early: %w", left, io.ErrUnexpectedEOF)
			} else if err != nil {
				return err
			}
		}
		n := min(len(rows), len(ss), len(gaps), len(missings), len(doubles))
		if int64(n) > left {
			return errors.New("a column is longer than its row group")
		}
		if err := acc.add(rows[:n], ss[:n], gaps[:n], missings[:n], doubles[:n]); err != nil {
			return err
		}
		rows, ss, gaps, missings, doubles = rows[n:], ss[n:], gaps[n:], missings[n:], doubles[n:]
		left -= int64(n)
	}
	acc.flush()
	return nil
}

func more[V column.Number](p *column.Pages[V], rest []V) ([]V, error) {
	if len(rest) > 0 {
		return rest, nil
	}
	return p.Next()
}

// accumulator adds seeds to a pass's cells. Seeds come sorted by row and
// place, so the cell at hand is kept in registers and written when left.
type accumulator struct {
	p    *PassCells
	row  int32
	k    int32
	end  int32 // of the stretch at hand, mm
	cell SeedCell
}

// maxStretches bounds a pass to 150 km, far beyond any field, so that a
// damaged place cannot ask for all memory.
const maxStretches = 10_000

func (a *accumulator) add(rows, ss, gaps, missings []int32, doubles []uint8) error {
	c := a.cell
	for i, s := range ss {
		row := rows[i]
		if row != a.row || s >= a.end || s < a.end-stretchMM {
			a.cell = c
			a.flush()
			k := s / stretchMM
			if s < 0 || k >= maxStretches || row < 1 || row > evenstand.MaxRows {
				return fmt.Errorf("a seed at row %d, %d mm: outside what is possible", row, s)
			}
			a.row, a.k, a.end = row, k, (k+1)*stretchMM
			c = SeedCell{}
		}
		c.Seeds++
		c.Skips += missings[i]
		c.Doubles += int32(doubles[i])
		if g := gaps[i]; g >= 0 {
			c.Gaps++
			c.Sum += int64(g)
			c.Squares += int64(g) * int64(g)
		}
	}
	a.cell = c
	return nil
}

// flush adds the cell at hand to its row, which grows as need be.
func (a *accumulator) flush() {
	if a.cell.Seeds == 0 {
		return
	}
	p, row, k := a.p, int(a.row), int(a.k)
	for len(p.Rows) < row {
		if len(p.Rows) < cap(p.Rows) { // take up the memory of a pass before
			p.Rows = p.Rows[:len(p.Rows)+1]
			p.Rows[len(p.Rows)-1] = p.Rows[len(p.Rows)-1][:0]
		} else {
			p.Rows = append(p.Rows, nil)
		}
	}
	cells := p.Rows[row-1]
	for len(cells) <= k {
		cells = append(cells, SeedCell{})
	}
	p.Rows[row-1] = cells
	c := &cells[k]
	c.Seeds += a.cell.Seeds
	c.Skips += a.cell.Skips
	c.Doubles += a.cell.Doubles
	c.Gaps += a.cell.Gaps
	c.Sum += a.cell.Sum
	c.Squares += a.cell.Squares
	a.cell = SeedCell{}
}
