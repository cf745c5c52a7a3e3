// Package give hands out what a logbook holds as tables that other programs read:
// CSV with metadata (CSV on the Web), Parquet and GeoParquet 1.1, GeoJSON (RFC
// 7946) and shapefiles, all in WGS 84 and SI units, with the unit in the name of
// the column. Rows are written as they are read; only a shapefile is held whole
// until it is closed, and refuses what it has no room for.
package give
