// Package column writes and reads tables of plain structs as Parquet files,
// column by column through typed pages.
//
// The writer makes the same bytes from the same rows: zstd at its fastest
// level, a fixed writer's name, one row group for each call of EndGroup. The
// reader takes files of other writers too: it looks values up where a page is
// coded by a dictionary, takes integers of any width, and puts the value that
// the caller names where the file holds none.
package column
