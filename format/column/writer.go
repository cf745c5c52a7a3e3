package column

import (
	"io"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"
)

// pageSize is the size in bytes of a page before it is packed. 256 KiB holds
// 65,536 values of four bytes, half a pass of a 24-row planter.
const pageSize = 256 << 10

// codec is shared: each of its encoders, of which it keeps a pool, holds
// several megabytes. The same bytes in give the same bytes out.
var codec = &zstd.Codec{Level: zstd.SpeedFastest}

// Writer writes rows of T to one Parquet file. A struct tag names each column
// and its encoding: `parquet:"t_us,delta"`. It holds no more than one row
// group's packed pages in memory.
type Writer[T any] struct {
	w      *parquet.GenericWriter[T]
	rows   int64
	groups int
	open   bool // rows were written since the last group's end
}

// NewWriter starts a file. The pairs of meta, key and value in turn, go into
// its footer.
func NewWriter[T any](out io.Writer, meta ...string) *Writer[T] {
	opts := []parquet.WriterOption{
		parquet.Compression(codec),
		parquet.CreatedBy("evenstand", "1", ""),
		parquet.PageBufferSize(pageSize),
		parquet.DataPageStatistics(false),
		parquet.MaxRowsPerRowGroup(1 << 40),
	}
	w := &Writer[T]{w: parquet.NewGenericWriter[T](out, opts...)}
	for i := 0; i+1 < len(meta); i += 2 {
		w.w.SetKeyValueMetadata(meta[i], meta[i+1])
	}
	return w
}

// Write adds rows to the row group that is open.
func (w *Writer[T]) Write(rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	n, err := w.w.Write(rows)
	w.rows += int64(n)
	w.open = w.open || n > 0
	return err
}

// EndGroup closes the row group; an empty one leaves no trace.
func (w *Writer[T]) EndGroup() error {
	if !w.open {
		return nil
	}
	w.open = false
	w.groups++
	return w.w.Flush()
}

// Rows gives the rows written so far.
func (w *Writer[T]) Rows() int64 { return w.rows }

// Groups gives the row groups ended so far.
func (w *Writer[T]) Groups() int { return w.groups }

// Close ends the last row group and writes the footer; it does not close out.
func (w *Writer[T]) Close() error {
	if err := w.EndGroup(); err != nil {
		return err
	}
	return w.w.Close()
}
