// Package geo reads and writes field boundaries in GeoJSON (RFC 7946): a
// Polygon, a MultiPolygon, a Feature or a FeatureCollection of them, in WGS 84
// longitude and latitude.
//
// It takes what other programs write, as far as nothing has to be guessed:
// rings in either direction, an outer ring that does not come first, a ring
// that is not closed. What it mends it notes; what it cannot use, such as
// coordinates in metres or in the wrong order, it reports and leaves out. On
// writing, rings follow the RFC: closed, the outer one counterclockwise,
// holes clockwise.
package geo
