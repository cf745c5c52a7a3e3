// Package table reads tables as they come: separated text in any common
// encoding, workbooks (XLSX), Parquet and GeoParquet, points in GeoJSON and
// shapefiles. It gives a header and rows of cells and knows nothing of what
// they mean; that is said by a recipe (package recipe).
//
// [List] names the tables of an input, [Open] streams one. A text table's
// dialect (encoding, separator, decimal sign, line of the header) is told by
// [Look] from its first lines, or said by the caller. Where a row cannot be
// read the rest still is, and what was left out is reported with its place.
package table
