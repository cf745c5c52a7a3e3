// Package recipe says what the columns of a table mean and reads tables by it:
// which column is the time and how it is written, which ones are a quantity of
// which part of the planter and in which unit, which a place.
//
// A [Recipe] is a TOML text that people can read, correct and pass on. It is
// stored in the logbook under recipes/ and matched to the next file by the
// names of the columns that it uses. [Guess] proposes one from a header and
// the first rows, by names in six languages, units and ranges; whatever is not
// certain is a [Question], and nothing is read until it is answered. [Format]
// reads tables by the recipes that a logbook has.
package recipe
