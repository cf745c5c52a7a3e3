// Package group sums stretches up, over a row, a place or a day, and gives the
// measures that people look at (skips, load, speed, …) with their intervals.
//
// A measure is a ratio of two sums over stretches, such as places without a
// seed over places due. Neighbouring stretches resemble each other, so the
// error of the ratio is taken from how twenty stretches in a row, 300 m,
// differ from one another, and never less than chance alone would give. Sums
// merge: those of two days are those of both.
//
// Sources: Cochran, Sampling Techniques, 3rd ed. 1977, sections 6.4 (error of a
// ratio) and 9A.2 (clusters); ISO 7256-1:1984 for the measures of spacing.
package group
