// Package rhythm reads the disc's own rhythm from the seeds of one row.
//
// A seed meter drops at places: the disc turns, and every target spacing a
// cell comes by that should give one seed. Seeds are scattered around their
// places by the fall and the furrow, so a wide gap may be a missing seed or
// two seeds that drifted apart. The decoder keeps a few hypotheses of which
// place each seed fell from and settles each seed once the next six are known.
// What comes out is counted in places: how many were missed before the seed,
// whether it shared its place, and how far off its place it lay.
//
// It reads no files. The state of a row is a few hundred bytes.
//
// Method and power: a beam search over place numbers (Viterbi 1967, IEEE
// Trans. Inf. Theory 13, from memory) with a two-part normal scatter. Measured
// figures stand in docs/measured.md.
package rhythm
