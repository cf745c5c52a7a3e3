// Package relation is what the trade has measured about corn, seed and time:
// yield against stand and date, what a missing plant costs, the arithmetic of
// seed and ground, each with the publication that it comes from.
//
// The figures stand in CSV files beside the code, embedded, one figure a line
// with low, likely and high, its source and its status; code asks for a line
// by id and name. Status V is read in the source, V2 read in a text that quotes
// the source, D derived from such figures, M from memory and J judgement. Lines
// of status M and J are working values and are never printed as a citation:
// Line.Cite gives nothing for them.
//
// Functions that restate a relation keep the units of the publication and say
// so in their names or comments: bushels of 56 lb per acre, thousand plants per
// acre, inches, days after April 30, percent of the best yield. Conversions to
// and from SI stand in units.go. The relations are corn's unless a line says
// otherwise; For tells which crops have a relation at all.
package relation
