// Package verify tells whether what was done about a finding worked.
//
// A Test is handed, in order of time, what all rows did on one stretch after
// another. It learns what the rows did before the trouble, and while it lasted,
// and counts from the next lowering after the thing was done, beyond two turns
// of the disc. Shares (skips, doubles) have an interval that holds at all times
// at once (a beta-binomial mixture, counts divided by φ), faults that are there
// or gone Wald's test, and means (scatter, load, flow) a normal mixture whose
// spread knows that neighbouring stretches resemble each other. What the other
// rows do at the same time moves the line that must be passed, so that better
// soil is no cure. A verdict is watched ten times as long as it took, and taken
// back when the trouble is there again.
//
// Plan (kind.go) says for each kind of finding what tells, or why planting does
// not and what would. Sources: methods document, section i, and the places
// named there (Wald 1945; Robbins 1970; Howard, Ramdas, McAuliffe and Sekhon
// 2021). Error rates and seeds needed as measured stand in docs/measured.md.
package verify
