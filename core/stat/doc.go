// Package stat is the arithmetic of doubt: intervals, tests, change points,
// shrinkage, odds and seeded draws, as pure functions of their inputs.
//
// Counts are float64 because counts at coarse grades are fractions, and
// because a count is divided by its over-dispersion φ before it is believed
// (n/φ is the effective number). Probabilities are plain fractions, logs are
// natural. What cannot be computed is NaN.
//
// The choice of methods, their thresholds and their measured power stand in
// the methods document, sections 0, c, d, h, i and j; each file names its source.
package stat
