// Package column writes and reads tables of plain structs as Parquet files,
// column by column through typed pages.
//
// The writer makes the same bytes from the same rows: zstd at its fastest
// level, a fixed writer's name, one row group for each call of EndGroup. The
// reader takes files of other writers too: it looks values up where a page is
// coded by a dictionary, takes integers of any width, and puts the value that
// the caller names where the file holds none.
//
// Of the library it takes the writer, the footer and the decoders of single
// codings. Pages it takes apart itself: whatever a footer, a page's header or
// a coding states is held against the rows and the bytes that are there before
// memory is asked for, so that no file, damaged or made to harm, costs more
// than a multiple of what it holds. What cannot be read is a PageError, which
// names the row group, the column, the page and the byte.
package column
