// Package score holds findings against the truth of simulated days: what was
// found, what was missed, what was said that is not so, how fast, why, and
// whether the money was right.
//
// A finding matches a fault when the kind is the same (blocked and weak cells
// are one family), the rows overlap by half or more (Jaccard), and its start
// lies within two minutes or a quarter of the fault's length, whichever is
// more; both are time at work, for a halt of more than two minutes between two
// passes tells nobody on which side of it a fault began. One fault matches one
// finding at most. Only raised findings count; upsets are kept apart. A fault
// that was weaker or shorter than tests demand a finding for is a bonus when
// found and no miss when not.
//
// Beside it stands what every fault and distractor was taken for: the kinds
// raised on its rows in its time. From that comes the table of what is mistaken
// for what, and how well two look-alikes are told apart.
//
// Rules: the project's simulator specification, section 9.
package score
