// Package cover measures what ground was worked: how much, how much of it twice,
// what was left inside the boundary, how far neighbouring passes lie apart, and
// where rows went in and came out at the ends of passes.
//
// It takes swaths, ground worked by neighbouring rows in one go, in metres of a
// frame about the field, and gives square metres and polygons. Areas are those
// of exact unions of polygons; Scan gives the same along lines across, in a
// sixth of the time, and is held against it.
//
// What is narrower than the error of its place is not seen, and said so: a gap
// or an overlap of 5 cm beside 16 km of passes is 800 m2 that nobody missed.
//
// Source: methods document, section m, with its measured errors.
package cover
