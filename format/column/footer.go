package column

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"
)

// The library believes what a footer states and asks the system for as much
// memory before it reads on. A damaged one may state hundreds of gigabytes,
// which ends the program, so what it states is first held against the bytes
// that are there.

// Sources: Apache Parquet, file format, "Parquet files" (footer, its length in
// four bytes, "PAR1") and parquet.thrift (fields, and which of them must be).
const (
	footerTail = 8         // bytes: the footer's length and the mark
	footerMost = 32 << 20  // bytes; a season's day needs some hundred kilobytes, and the library some forty times as much at worst
	schemaDeep = 64        // columns within one another
	schemaMost = 1<<16 - 1 // columns, with those that only hold others
	chunkLeast = 20        // bytes that a column's entry in a row group takes, with what must be there
)

// What a row group may hold by what it takes: a million rows, which is more
// than writers put into one unasked, and eight for each of its bytes, which is
// a bit for all columns of a row. Chosen well beyond real tables; no source.
const (
	rowsFree    = 1 << 20
	rowsPerByte = 8
)

var errFooter = errors.New("damaged footer")

// checkFooter tells whether the footer's lengths are ones that it can hold.
func checkFooter(f io.ReaderAt, size int64) error {
	var tail [footerTail]byte
	if size < footerTail+4 {
		return fmt.Errorf("%w: the file has %d bytes", errFooter, size)
	}
	if _, err := f.ReadAt(tail[:], size-footerTail); err != nil {
		return err
	}
	n := int64(binary.LittleEndian.Uint32(tail[:]))
	if string(tail[4:]) != "PAR1" {
		return fmt.Errorf("%w: the file does not end with PAR1", errFooter)
	}
	if n > size-footerTail-4 || n > footerMost {
		return fmt.Errorf("%w: it is said to be %d bytes long, of a file of %d", errFooter, n, size)
	}
	b := make([]byte, n)
	if _, err := f.ReadAt(b, size-footerTail-n); err != nil {
		return err
	}
	w := footerWalk{thrift: thrift{b: b}, least: schemaMost}
	w.footer()
	switch {
	case w.wrong != "":
		return fmt.Errorf("%w: %s", errFooter, w.wrong)
	case w.bad:
		return fmt.Errorf("%w: a length or a type in it is wrong, at byte %d of %d", errFooter, w.at, n)
	case w.groups > 0 && (w.least != w.leaves || w.most != w.leaves):
		return fmt.Errorf("%w: its row groups have %d to %d columns and its schema %d", errFooter, w.least, w.most, w.leaves)
	}
	return nil
}

// footerWalk goes over a footer and counts what the library makes tables of:
// one entry for each column of each row group, and each column's path.
type footerWalk struct {
	thrift
	elements    int // columns, with those that only hold others
	leaves      int // columns that hold values
	groups      int
	least, most int // columns of a row group
	wrong       string
}

func (w *footerWalk) fail(format string, args ...any) {
	if w.wrong == "" {
		w.wrong = fmt.Sprintf(format, args...)
	}
	w.bad = true
}

// footer goes over a FileMetaData.
func (w *footerWalk) footer() {
	w.fields(0, func(id int64, kind byte) bool {
		if kind != typeList || id != 2 && id != 4 {
			return false
		}
		each := w.rowGroup
		if id == 2 {
			each = w.schema()
		}
		w.structs(each)
		return true
	})
}

// structs goes over a list of structs.
func (w *footerWalk) structs(each func()) {
	n, kind := w.list()
	for ; n > 0 && !w.bad; n-- {
		if kind == typeStruct {
			each()
		} else {
			w.value(kind, 1)
		}
	}
}

// schema gives what goes over a SchemaElement; they stand in the order of the
// tree, each before its children.
func (w *footerWalk) schema() func() {
	var open []int64 // children still to come, from the root on
	w.leaves = 0
	return func() {
		leaf, children := false, int64(0)
		w.fields(1, func(id int64, kind byte) bool {
			if kind != typeI32 {
				return false
			}
			switch id {
			case 1: // type
				leaf = true
			case 5: // num_children
				children = w.number()
				return true
			}
			return false
		})
		w.elements++
		if leaf {
			w.leaves++
		}
		switch {
		case children < 0 || leaf && children > 0:
			w.fail("a column has values of its own and %d columns within", children)
		case w.elements > schemaMost:
			w.fail("it has more than %d columns, counting those that only hold others", schemaMost)
		case children > 0:
			if open = append(open, children); len(open) > schemaDeep {
				w.fail("its columns lie more than %d deep within one another", schemaDeep)
			}
			return
		}
		for len(open) > 0 {
			if open[len(open)-1]--; open[len(open)-1] > 0 {
				break
			}
			open = open[:len(open)-1]
		}
	}
}

// rowGroup goes over a RowGroup.
func (w *footerWalk) rowGroup() {
	w.groups++
	columns := 0
	w.fields(1, func(id int64, kind byte) bool {
		if id != 1 || kind != typeList {
			return false
		}
		w.structs(func() {
			columns++
			from := w.at
			if w.fields(2, nil); !w.bad && w.at-from < chunkLeast {
				w.fail("column %d of row group %d lacks what must be said of it", columns-1, w.groups-1)
			}
		})
		return true
	})
	if columns == 0 {
		w.fail("row group %d has no columns", w.groups-1)
	}
	w.least, w.most = min(w.least, columns), max(w.most, columns)
}

// checkChunks tells whether the column chunks lie in the file, beside one
// another, and hold as many values as their row groups have rows.
func checkChunks(pq *parquet.File, leaves []leaf) error {
	meta := pq.Metadata()
	free := pq.Size() - footerTail
	for g := range meta.RowGroups {
		group := &meta.RowGroups[g]
		bytes := int64(0)
		for i := range group.Columns {
			c := &group.Columns[i].MetaData
			at := chunkStart(c)
			none := group.NumRows == 0 && c.TotalCompressedSize == 0 // and so lies nowhere
			if !none && (at < 4 || c.TotalCompressedSize < 0 || c.TotalCompressedSize > pq.Size()-footerTail-at) {
				return fmt.Errorf("%w: row group %d, column %q is said to lie at byte %d with %d bytes, in a file of %d", errFooter, g, leaves[i].name, at, c.TotalCompressedSize, pq.Size())
			}
			if !leaves[i].lists && c.NumValues != group.NumRows {
				return fmt.Errorf("%w: row group %d is said to have %d rows, and its column %q %d values", errFooter, g, group.NumRows, leaves[i].name, c.NumValues)
			}
			bytes += c.TotalCompressedSize
			free -= c.TotalCompressedSize
		}
		if group.NumRows < 0 || group.NumRows > rowsFree+rowsPerByte*bytes {
			return fmt.Errorf("%w: row group %d is said to have %d rows in %d bytes", errFooter, g, group.NumRows, bytes)
		}
		if free < 0 {
			return fmt.Errorf("%w: by row group %d its columns are said to take more than the %d bytes of the file", errFooter, g, pq.Size())
		}
	}
	return nil
}
