package table

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"

	"evenstand"
	"evenstand/format/unused"
)

// told is what a container tells of itself and of the row at hand.
type told struct {
	ctx   context.Context
	file  string // as the person knows it
	d     Dialect
	asked []string
	cols  []Column
	cells []Cell
	at    Place
	rep   unused.Report
}

func newTold(ctx context.Context, ref Ref) told {
	return told{ctx: ctx, file: ref.name(), rep: unused.Report{File: ref.name()}}
}

func (t *told) dialect() Dialect           { return t.d }
func (t *told) doubts() []string           { return t.asked }
func (t *told) columns() []Column          { return t.cols }
func (t *told) row() []Cell                { return t.cells }
func (t *told) place() Place               { return t.at }
func (t *told) unused() []evenstand.Unused { return t.rep.List() }

// add reports something of the row at hand.
func (t *told) add(why *reason, text string) { t.rep.Add(why, text, t.at.Line, t.at.Offset) }

// clear empties the cells, one for each column.
func (t *told) clear() {
	if len(t.cells) != len(t.cols) {
		t.cells = make([]Cell, len(t.cols))
	}
	clear(t.cells)
}

// each is called once a row; it tells whether the reading was called off.
func (t *told) each() error {
	if t.at.Line&0xff == 0 {
		return t.ctx.Err()
	}
	return nil
}

// fail makes the error of a container at a byte, -1 of the file as a whole.
func (t *told) fail(offset int64, do, format string, args ...any) error {
	return &Error{File: t.file, Offset: offset, Err: fmt.Errorf(format, args...), Do: do}
}

const (
	again     = "Copy or export the file again."
	openAgain = "Check that the file may be read."
)

// path is where the table's first file lies in its file system.
func (r Ref) path() string {
	if r.Inside != "" {
		return r.Inside
	}
	return r.Files[0]
}

// maxWhole bounds a file that lies packed in an archive and has to be read out
// of order, which takes memory of its size.
const maxWhole = 256 << 20

// section opens a file to be read out of order.
func section(in fs.FS, name string) (io.ReaderAt, int64, io.Closer, error) {
	f, err := in.Open(name)
	if err != nil {
		return nil, 0, nil, plainReason(err)
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = errors.New("it is a folder")
	}
	if err != nil {
		f.Close()
		return nil, 0, nil, plainReason(err)
	}
	if at, ok := f.(io.ReaderAt); ok {
		return at, info.Size(), f, nil
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxWhole+1))
	if err == nil && len(b) > maxWhole {
		err = fmt.Errorf("it is packed in an archive and takes more than %d MB unpacked; unpack the archive first", maxWhole>>20)
	}
	if err != nil {
		return nil, 0, nil, plainReason(err)
	}
	return bytesAt(b), int64(len(b)), io.NopCloser(nil), nil
}

// bytesAt are bytes in memory.
type bytesAt []byte

func (b bytesAt) ReadAt(p []byte, at int64) (int, error) {
	if at < 0 || at >= int64(len(b)) {
		return 0, io.EOF
	}
	n := copy(p, b[at:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// geometry are the places in the cells of what a geometry becomes; height is
// -1 without one.
type geometry struct{ lon, lat, height int }

// addGeometry puts the columns of a geometry behind the others.
func (t *told) addGeometry(height bool) geometry {
	n := len(t.cols)
	t.cols = append(t.cols, Column{Name: LongitudeColumn, Type: Number}, Column{Name: LatitudeColumn, Type: Number})
	g := geometry{n, n + 1, -1}
	if height {
		t.cols = append(t.cols, Column{Name: HeightColumn, Unit: "m", Type: Number})
		g.height = n + 2
	}
	return g
}

var (
	badEarth = reason{Why: "a place that is not on the earth, such as %s", Do: "Export the points in WGS 84 (EPSG:4326), longitude before latitude.", Of: "records"}
	badShape = reason{Why: "%s, which is no single point", Do: "Export points: one place for each row of values.", Of: "records", Each: true}
)

// set puts a point into the cells; z is NaN without a height.
func (t *told) set(g geometry, f frame, x, y, z float64) {
	lon, lat := f.place(x, y)
	if !(math.Abs(lon) <= 180 && math.Abs(lat) <= 90) {
		t.add(&badEarth, fmt.Sprintf("%.10g, %.10g", x, y))
		return
	}
	t.cells[g.lon] = Cell{Type: Number, Num: lon}
	t.cells[g.lat] = Cell{Type: Number, Num: lat}
	if g.height >= 0 && !math.IsNaN(z) && !math.IsInf(z, 0) {
		t.cells[g.height] = Cell{Type: Number, Num: z}
	}
}
