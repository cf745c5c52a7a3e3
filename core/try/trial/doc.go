// Package trial compares parts, or settings, between rows or passes of a
// planter: a row trial.
//
// The unit is the row, since stretches and passes of one row resemble each other
// (methods document, sections 0 and j). What a row did in a period, a time in
// which no row changed its part, is told beside the other rows of the same pass
// and zone. Of three ways to tell the part from the row the best that the data
// allow is taken: rows that changed parts both ways (swap), rows that were fitted
// with it (before and after), and rows beside rows. One row that always had the
// part is never judged: nothing tells it from its row.
//
// Rows that run in a wheel track or at the end of the bar are held against their
// own kind, or kept out and said.
package trial
