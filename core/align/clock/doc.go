// Package clock finds by how much the clock of one box is off that of another.
//
// Boxes that log the same ground speed, or what follows it, wobble together.
// Both series go through the same smoother, and the shift and the drift at
// which they agree best are the offset of the clocks; a search over two
// minutes and over the zones of the world finds where to begin. Events that
// both boxes log, such as the lifting of the planter, are second evidence. The
// error comes with the estimate, and what the logs do not settle beyond doubt
// is not settled here: two shifts that fit about as well give none.
//
// Offsets are logged minus true, in seconds; errors are standard errors.
//
// Sources: the methods document, section k (table of measured errors there);
// Knapp and Carter, IEEE Transactions on Acoustics, Speech and Signal
// Processing 24(4), 1976, 320-327.
package clock
