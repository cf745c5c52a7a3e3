// Package evenstand holds the words of the job: what a planter's boxes log
// (fixes, seeds, readings, entries), where it lies (passes, rows, stretches),
// and what is said about it (findings, causes, money).
//
// Everything is in SI units and on Unix time in microseconds unless a name or
// comment says otherwise; people's units live at the edges. A value that is
// not known is NaN, a count that is not known is -1, and an unknown name is
// the empty string. The package imports the standard library only and does no
// input or output, so every stage of the pipeline can be tested with literals.
package evenstand
