// Package tank tells what is in a tank or hopper from what was filled in, what
// the meter says went out and what a level sensor reads, how far it lasts, and
// whether tank and meter disagree, by their scale or by a leak.
//
// Amounts are in one unit of the caller's (m3, kg, seeds), areas in m2. It
// keeps a few numbers and reads no files.
//
// Source: methods document, sections m and o: a level L0 and a meter's scale κ
// under a Gaussian prior, conjugate updates; use to come as a mean with
// autocorrelation, acres by the delta method.
package tank
