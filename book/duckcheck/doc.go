// Package duckcheck compares the book's own reading of its Parquet files with
// DuckDB's, an independent reader and query engine.
//
// It is a module of its own, so that DuckDB, which needs a C compiler, never
// enters the program's graph. Its tests skip without a C compiler, saying so.
package duckcheck
