package book

import (
	"bufio"
	"errors"
	"fmt"
	"path/filepath"

	"evenstand"
	"evenstand/core/measure/level"
	"evenstand/format/column"
)

// dayWriter takes what a machine-day gives into its Parquet files; it is the
// pipeline's Output. It holds a batch of rows and no more than one row group's
// packed pages of each file.
type dayWriter struct {
	dir       string
	passes    *table[passRow]
	track     *table[trackRow]
	seeds     *table[seedRow]
	readings  *table[readingRow]
	stretches *table[stretchRow]
	worked    *table[workedRow]
	n         int32 // passes so far
	lastTrack evenstand.Micros
	lastRead  evenstand.Micros
	work      []level.Span // the passes
}

// table is one Parquet file being written.
type table[T any] struct {
	name string
	o    *out
	b    *bufio.Writer
	w    *column.Writer[T]
	rows []T // the batch
	cap  int64
	in   int64 // rows in the open row group
}

// tableBatch is how many rows are turned into columns at a time; smallGroup is
// the size of the row groups of files that have no passes.
const (
	tableBatch = 4096
	smallGroup = 1 << 17
)

func newTable[T any](d *disk, dir, name string, groupRows int64) (*table[T], error) {
	o, err := d.create(filepath.Join(dir, name), true)
	if err != nil {
		return nil, err
	}
	b := bufio.NewWriterSize(o, 64<<10)
	return &table[T]{name: name, o: o, b: b, w: column.NewWriter[T](b, "evenstand.layout", tablesVersion), cap: groupRows}, nil
}

func (t *table[T]) add(row T) error {
	t.rows = append(t.rows, row)
	if len(t.rows) >= tableBatch {
		return t.flush()
	}
	return nil
}

func (t *table[T]) flush() error {
	err := t.w.Write(t.rows)
	t.in += int64(len(t.rows))
	t.rows = t.rows[:0]
	if err == nil && t.cap > 0 && t.in >= t.cap {
		t.in = 0
		err = t.w.EndGroup()
	}
	return err
}

// end closes a pass's row group.
func (t *table[T]) end() error {
	if err := t.flush(); err != nil {
		return err
	}
	t.in = 0
	return t.w.EndGroup()
}

// keep finishes the file and gives its entry.
func (t *table[T]) keep() (fileEntry, error) {
	err := t.flush()
	if err == nil {
		err = t.w.Close()
	}
	if err == nil {
		err = t.b.Flush()
	}
	if err != nil {
		return fileEntry{}, err
	}
	rows, groups := t.w.Rows(), t.w.Groups()
	e := fileEntry{Name: t.name, SHA256: t.o.hex(), Size: t.o.size, Rows: &rows, Groups: &groups}
	return e, t.o.keep()
}

func newDayWriter(d *disk, dir string) (w *dayWriter, err error) {
	w = &dayWriter{dir: dir, lastTrack: evenstand.NoTime, lastRead: evenstand.NoTime}
	defer func() {
		if err != nil {
			w.abort()
		}
	}()
	if w.passes, err = newTable[passRow](d, dir, passesName, smallGroup); err != nil {
		return w, err
	}
	if w.track, err = newTable[trackRow](d, dir, trackName, smallGroup); err != nil {
		return w, err
	}
	if w.seeds, err = newTable[seedRow](d, dir, seedsName, 0); err != nil {
		return w, err
	}
	if w.readings, err = newTable[readingRow](d, dir, readingsName, smallGroup); err != nil {
		return w, err
	}
	if w.stretches, err = newTable[stretchRow](d, dir, stretchesName, 0); err != nil {
		return w, err
	}
	w.worked, err = newTable[workedRow](d, dir, workedName, smallGroup)
	return w, err
}

// abort closes what is open; the folder is removed by the caller.
func (w *dayWriter) abort() {
	if w.passes != nil {
		w.passes.o.f.Close()
	}
	if w.track != nil {
		w.track.o.f.Close()
	}
	if w.seeds != nil {
		w.seeds.o.f.Close()
	}
	if w.readings != nil {
		w.readings.o.f.Close()
	}
	if w.stretches != nil {
		w.stretches.o.f.Close()
	}
	if w.worked != nil {
		w.worked.o.f.Close()
	}
}

// Pass takes a pass with its seeds, in parts, its stretches and the ground that
// it worked. Passes come in the order of their index, from 0.
func (w *dayWriter) Pass(p evenstand.Pass, seeds [][]evenstand.PlacedSeed, stretches []evenstand.Stretch, worked []evenstand.Worked) error {
	w.work = append(w.work, level.Span{From: p.Start, To: p.End})
	if p.Index != w.n {
		return fmt.Errorf("pass %d came where pass %d was due", p.Index, w.n)
	}
	w.n++
	n := 0
	for _, part := range seeds {
		n += len(part)
	}
	if err := w.passes.add(toPassRow(&p, n, len(stretches))); err != nil {
		return err
	}
	var last *evenstand.PlacedSeed
	for _, part := range seeds {
		for i := range part {
			x := &part[i]
			if last != nil && (x.Row < last.Row || x.Row == last.Row && x.T < last.T) {
				return fmt.Errorf("pass %d: seed %d of row %d is out of the order of row and time", p.Index, i, x.Row)
			}
			if err := w.seeds.add(toSeedRow(p.Index, x)); err != nil {
				return err
			}
			last = x
		}
	}
	if err := w.seeds.end(); err != nil {
		return err
	}
	for i := range stretches {
		if stretches[i].Pass != p.Index {
			return fmt.Errorf("pass %d: stretch %d says it is of pass %d", p.Index, i, stretches[i].Pass)
		}
		if i > 0 && (stretches[i].Row < stretches[i-1].Row || stretches[i].Row == stretches[i-1].Row && stretches[i].K <= stretches[i-1].K) {
			return fmt.Errorf("pass %d: stretch %d is out of the order of row and place", p.Index, i)
		}
		if err := w.stretches.add(toStretchRow(&stretches[i])); err != nil {
			return err
		}
	}
	if err := w.stretches.end(); err != nil {
		return err
	}
	for i := range worked {
		if worked[i].Pass != p.Index {
			return fmt.Errorf("pass %d: ground %d says it is of pass %d", p.Index, i, worked[i].Pass)
		}
		if err := w.worked.add(toWorkedRow(&worked[i])); err != nil {
			return err
		}
	}
	return nil
}

// Track takes the next part of the track, in time order.
func (w *dayWriter) Track(ps []evenstand.TrackPoint) error {
	for i := range ps {
		if ps[i].T < w.lastTrack {
			return fmt.Errorf("the track goes back in time at %s", ps[i].T)
		}
		w.lastTrack = ps[i].T
		if err := w.track.add(toTrackRow(&ps[i])); err != nil {
			return err
		}
	}
	return nil
}

// Readings takes the next readings, in time order.
func (w *dayWriter) Readings(rs []evenstand.Reading) error {
	for i := range rs {
		r := &rs[i]
		if r.T < w.lastRead {
			return fmt.Errorf("the readings go back in time at %s", r.T)
		}
		w.lastRead = r.T
		if err := w.readings.add(readingRow{int64(r.T), r.Quantity.String(), elementName(r.Element), r.Value, int32(r.Code)}); err != nil {
			return err
		}
	}
	return nil
}

// rowNames saves making the same names millions of times.
var rowNames = func() (names [evenstand.MaxRows + 1]string) {
	for i := range names {
		names[i] = evenstand.RowElement(i).String()
	}
	return names
}()

func elementName(e evenstand.Element) string {
	if e.Scope == evenstand.ScopeRow && e.N >= 0 && int(e.N) < len(rowNames) {
		return rowNames[e.N]
	}
	return e.String()
}

// keep finishes the Parquet files and gives their entries.
func (w *dayWriter) keep() ([]fileEntry, error) {
	var es []fileEntry
	var errs []error
	for _, keep := range []func() (fileEntry, error){w.passes.keep, w.readings.keep, w.seeds.keep, w.stretches.keep, w.track.keep, w.worked.keep} {
		e, err := keep()
		es = append(es, e)
		errs = append(errs, err)
	}
	return es, errors.Join(errs...)
}
